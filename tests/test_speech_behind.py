"""A bent end and speech behind it: what decides in a grammar that is not ours, and whether a question is asked."""

from __future__ import annotations

import numpy as np
import pytest

from fieldlog.audio.behind import behind_s
from fieldlog.audio.clip import FRAME_S, RATE, Clip
from fieldlog.doubt.decide import doubted
from fieldlog.doubt.files import shipped_rules
from fieldlog.doubt.rules import SPEECH_BEHIND_S
from fieldlog.grammar.language import is_said
from fieldlog.grammar.tagged import TaggedLanguage
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.understanding import Decision


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


DIGITS = TaggedLanguage.from_text(
    "#JSGF V1.0;\ngrammar digits;\npublic <digit> = (one | two | four) {digit};\n"
)


def heard(tail: float, behind: float | None, *, left: bool = False) -> Hearing:
    evidence = {
        "bend": tail / 3, "margin": 8.0, "tokens": 3.0, "logprob": tail, "worst": tail, "tail": tail,
    }  # fmt: skip
    left_over = ((0.5, 1.0),) if left else ()
    best = Hypothesis("four", 0.0, evidence)
    return Hearing("whisper", (best,), 1.0, ((0.0, 0.4),), left_over, behind_s=behind)


@pytest.mark.parametrize(
    ("hearing", "decision"),
    [
        (heard(-3.0, 0.1), Decision.ACCEPT),  # a list goes on with a comma, nobody speaks
        (heard(-3.0, SPEECH_BEHIND_S), Decision.ASK),  # a second word was said
        (heard(-3.0, None), Decision.ASK),  # not known
        (heard(-4.5, 0.0), Decision.ASK),  # bent too far to be a comma
        (heard(0.0, 0.1, left=True), Decision.ASK),
    ],
)
def test_a_bent_end_of_a_lone_word_counts_where_somebody_speaks_behind_it(
    hearing: Hearing, decision: Decision
) -> None:
    said = DIGITS.understand("four")
    assert doubted(said, hearing, frozenset(), shipped_rules()).decision is decision


def test_what_is_ours_is_held_to_its_bent_end_whoever_speaks_behind_it(
    language: InspectionLanguage,
) -> None:
    said = language.understand("rear brake pads worn")
    hearing = heard(-3.0, 0.0)
    assert doubted(said, hearing, frozenset(), shipped_rules()).decision is Decision.ASK


def test_speech_behind_the_last_word_is_counted_in_frames() -> None:
    voice = (0.9,) * 20
    clip = Clip(np.zeros(round(20 * FRAME_S * RATE), np.float32), voice=voice)
    assert behind_s(clip, ((0.0, 10 * FRAME_S),)) == pytest.approx(10 * FRAME_S)
    assert behind_s(clip, ()) is None
    assert behind_s(Clip(clip.samples), ((0.0, 0.1),)) is None


@pytest.mark.parametrize(
    "words",
    [
        "front tyre tread two decimal five millimetres",
        "battery voltage twelve decimal six volts",
        "front tyre pressure two decimal five bar",
        "front brake pad thickness three decimal two five millimetres",
    ],
)
def test_decimal_may_be_said_where_point_may(language: InspectionLanguage, words: str) -> None:
    graph = language.word_graph()
    assert is_said(graph, words.split())
    assert is_said(graph, words.replace("decimal", "point").split())
    assert language.meaning(words) == language.meaning(words.replace("decimal", "point"))
