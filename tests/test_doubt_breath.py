"""Several findings in one breath: which hypotheses are no rivals of it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
import pytest

from fieldlog.audio.clip import FRAME, FRAME_S, Clip
from fieldlog.doubt.breath import BROKEN_OFF, CONTRAST, as_a_breath
from fieldlog.doubt.decide import judge_for
from fieldlog.doubt.files import shipped_rules
from fieldlog.grammar.language import Language
from fieldlog.hearing import hear_clip
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.understanding import Decision, Flag

_INSPECTION = lru_cache(load_language)
_WORD = 10
"""Frames of a word."""


@pytest.fixture
def language() -> InspectionLanguage:
    return _INSPECTION()


def clip_of(text: str, quiet_from: int | None = None, gain: float = 0.001) -> Clip:
    """Each word so many frames of speech; from the word ``quiet_from`` on somebody who is far away."""
    words = len(text.split())
    samples = np.random.default_rng(1).normal(0.0, 0.1, words * _WORD * FRAME).astype(np.float32)
    if quiet_from is not None:
        samples[quiet_from * _WORD * FRAME :] *= gain
    return Clip(samples, voice=(1.0,) * (words * _WORD))


def heard(text: str, *others: tuple[str, float], margin: float, unfinished: float) -> Hearing:
    """``text`` as well as can be, the others so many nats behind; nobody speaks behind its last word."""
    evidence = {"margin": margin, "unfinished": unfinished, "tokens": 9.0, "logprob": -0.3}
    words = range(len(text.split()))
    times = tuple((n * _WORD * FRAME_S, (n + 1) * _WORD * FRAME_S) for n in words)
    rivals = (Hypothesis(other, -behind, {}) for other, behind in others)
    return Hearing("whisper", (Hypothesis(text, 0.0, evidence), *rivals), 1.0, times, behind_s=0.0)


def margin_of(language: InspectionLanguage, hearing: Hearing, clip: Clip | None = None) -> float:
    text = hearing.hypotheses[0].text
    weighed = as_a_breath(language.understand(text), hearing, clip or clip_of(text))
    return weighed.hypotheses[0].evidence["margin"]


TWO = "front pads five millimetres rear three and a half"
ITS_BEGINNING = ("front pads five millimetres", 0.07)


def test_its_own_beginning_is_no_rival_where_its_speaker_spoke_on(
    language: InspectionLanguage,
) -> None:
    hearing = heard(TWO, ITS_BEGINNING, margin=0.07, unfinished=7.0)
    assert margin_of(language, hearing) >= 7.0
    judged = judge_for(language, shipped_rules())(language.understand(TWO), hearing, clip_of(TWO))
    assert judged.decision is Decision.ACCEPT
    assert len(judged.parts) == 2


def test_its_own_beginning_is_a_rival_where_somebody_else_spoke_on(
    language: InspectionLanguage,
) -> None:
    hearing = heard(TWO, ITS_BEGINNING, margin=0.07, unfinished=7.0)
    assert margin_of(language, hearing, clip_of(TWO, quiet_from=4)) == 0.07
    silent = replace(clip_of(TWO), voice=(1.0,) * 4 * _WORD + (0.0,) * 5 * _WORD)
    assert margin_of(language, hearing, silent) == 0.07
    assert margin_of(language, replace(hearing, times=())) == 0.07
    judged = judge_for(language, shipped_rules())(language.understand(TWO), hearing, silent)
    assert judged.decision is Decision.ASK


def test_another_meaning_stays_a_rival(language: InspectionLanguage) -> None:
    other = ("front pads five millimetres rear three", 1.0)
    assert margin_of(language, heard(TWO, other, margin=1.0, unfinished=7.0)) == 1.0
    first = ("front pads nine millimetres", 1.0)
    assert margin_of(language, heard(TWO, first, margin=1.0, unfinished=7.0)) == 1.0


def test_half_a_sentence_is_a_little_less_likely_behind_a_whole_one(
    language: InspectionLanguage,
) -> None:
    text = "left fork gaiter missing right torn"
    assert margin_of(language, heard(text, margin=1.9, unfinished=1.9)) == 1.9 + BROKEN_OFF
    # not where it was heard better, nor where somebody speaks on, nor of one finding alone
    assert margin_of(language, heard(text, margin=0.0, unfinished=-0.1)) == 0.0
    speaks = replace(heard(text, margin=1.9, unfinished=1.9), behind_s=0.3)
    assert margin_of(language, speaks) == 1.9
    unknown = replace(speaks, behind_s=None)
    assert margin_of(language, unknown) == 1.9
    one = heard("front pads worn", margin=1.9, unfinished=1.9)
    assert margin_of(language, one) == 1.9


def test_right_begins_nothing_where_left_stands_beside_it(language: InspectionLanguage) -> None:
    text, other = "right grip missing and the left one fine", "grip missing and the left one fine"
    hearing = heard(text, (other, 2.5), margin=2.5, unfinished=8.0)
    assert margin_of(language, hearing) == 2.5 + CONTRAST
    alone, rest = "right grip missing and horn weak", "grip missing and horn weak"
    hearing = heard(alone, (rest, 2.5), margin=2.5, unfinished=8.0)
    assert margin_of(language, hearing) == 2.5
    elsewhere = "right grip missing left mirror cracked right mirror fine"
    hearing = heard(elsewhere, (elsewhere.removeprefix("right "), 2.5), margin=2.5, unfinished=8.0)
    assert margin_of(language, hearing) == 2.5


def test_the_margin_never_shrinks_and_needs_the_listeners_figure(
    language: InspectionLanguage,
) -> None:
    hearing = heard(TWO, margin=3.0, unfinished=1.0)
    assert margin_of(language, replace(hearing, behind_s=1.0)) == 3.0
    best = hearing.hypotheses[0]
    told = {name: value for name, value in best.evidence.items() if name != "unfinished"}
    hearing = replace(hearing, hypotheses=(replace(best, evidence=told),))
    assert as_a_breath(language.understand(TWO), hearing, clip_of(TWO)) is hearing


@pytest.mark.parametrize(
    ("text", "decision"),
    [
        ("chain rusty and horn are weak", Decision.ASK),  # "horn not weak" is heard so
        ("chain are rusty and seat fine", Decision.ASK),
        ("chain rusty and horn is weak", Decision.ACCEPT),
        ("chain rusty and horn are fine", Decision.ACCEPT),
        ("chain rusty and front pads are worn", Decision.ACCEPT),
        ("both tyres are worn", Decision.ACCEPT),
        ("mirrors left and right are loose", Decision.ACCEPT),
        ("chain rusty and brake pads front are worn", Decision.ACCEPT),
        ("chain is dry and tyres front and rear are worn", Decision.ACCEPT),
        ("front tyre thirty six p s i rear four kilo", Decision.ASK),  # "forty two" was heard so
        ("front tyre thirty six p s i rear tyre forty two p s i", Decision.ACCEPT),
        ("front tyre thirty six p s i front tread four millimetres", Decision.ACCEPT),
    ],
)
def test_what_nobody_says_so_is_asked_about(
    language: InspectionLanguage, text: str, decision: Decision
) -> None:
    hearing = heard(text, margin=8.0, unfinished=8.0)
    judged = judge_for(language, shipped_rules())(language.understand(text), hearing, clip_of(text))
    assert judged.decision is decision


VALUES = "chain slack thirteen millimetres and rear axle nut one hundred newton metres"


@dataclass
class Scripted:
    """Hears a breath as it is written, and whatever is shorter as the next of ``alone``."""

    whole: Hearing
    alone: list[Hearing]
    lengths: list[float] = field(default_factory=list)
    name: str = "whisper"

    def load(self, language: Language) -> None:
        """Nothing to load."""

    def hear(self, clip: Clip) -> Hearing:
        self.lengths.append(clip.duration_s)
        return self.whole if len(self.lengths) == 1 else self.alone[len(self.lengths) - 2]

    def close(self) -> None:
        """Nothing to free."""


def alone(text: str, *others: tuple[str, float]) -> Hearing:
    return heard(text, *others, margin=min(behind for _, behind in others), unfinished=8.0)


THIRTEEN, THIRTY = "chain slack thirteen millimetres", "chain slack thirty millimetres"


@pytest.mark.parametrize(
    ("one", "decision"),
    [
        (alone(THIRTEEN, (THIRTY, 3.1)), Decision.ASK),
        (alone(THIRTY, (THIRTEEN, 3.1)), Decision.ASK),
        (alone(THIRTEEN, (THIRTY, 6.0)), Decision.ACCEPT),
        (alone(THIRTEEN, ("chain good", 0.1)), Decision.ACCEPT),
        (
            alone("tail light good", ("tail light dirty", 0.4)),
            Decision.ACCEPT,
        ),  # it leant on another
        (Hearing("whisper", (), 1.0), Decision.ACCEPT),
    ],
)
def test_a_value_in_a_breath_that_has_a_twin_is_heard_alone_as_well(
    language: InspectionLanguage, one: Hearing, decision: Decision
) -> None:
    listener = Scripted(heard(VALUES, margin=8.0, unfinished=8.0), [one])
    judge = judge_for(language, shipped_rules())
    found = hear_clip(clip_of(VALUES), listener, language, judge)
    assert found.understanding.decision is decision
    of_the_value = 4 * _WORD * FRAME_S
    assert listener.lengths[1:] == [pytest.approx(of_the_value, abs=0.2)]
    if decision is Decision.ASK:
        assert Flag.TWIN in found.understanding.flags
        values = {one.quantity.value for one in found.understanding.offered if one.quantity}
        assert {13, 30, 100} <= values


def test_nothing_is_heard_twice_where_no_value_has_a_twin(language: InspectionLanguage) -> None:
    listener = Scripted(heard(TWO, margin=8.0, unfinished=8.0), [])
    judge = judge_for(language, shipped_rules())
    assert hear_clip(clip_of(TWO), listener, language, judge).accepted
    assert len(listener.lengths) == 1
    timeless = replace(heard(VALUES, margin=8.0, unfinished=8.0), times=())
    listener = Scripted(timeless, [])
    assert hear_clip(clip_of(VALUES), listener, language, judge).accepted
    assert len(listener.lengths) == 1
