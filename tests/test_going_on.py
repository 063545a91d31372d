"""A live session ends an utterance soon behind a whole finding: what follows may still be said of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fieldlog.audio.capture import Spoken
from fieldlog.audio.clip import FRAME_S, RATE, Clip, SoundFlag
from fieldlog.doubt.decide import asked_instead
from fieldlog.grammar.language import endings, expected
from fieldlog.hearing import Heard, Judge
from fieldlog.language.breath import Breath
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.context import Context
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.understanding import Decision, Flag, Understanding
from fieldlog.shop import events as ev
from fieldlog.shop.ears import Ears
from fieldlog.shop.going_on import going_on, silence_between
from fieldlog.shop.live import LiveInspection
from fieldlog.shop.silence import Silences, silence_s
from fieldlog.shop.workshop import Workshop
from fieldlog.store.repository import Repository

START = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)
SPOKEN_S = 1.0
EDGE = 10
"""Silent frames at either end of a clip."""
VOICE = (0.0,) * EDGE + (0.9,) * (round(SPOKEN_S / FRAME_S) - 2 * EDGE + 1) + (0.0,) * EDGE


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


def as_parsed(understanding: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
    return understanding


@dataclass
class Remembers:
    """Hears what it was told of each clip, and of two joined clips the words of both."""

    name: str = "remembers"
    said: dict[float, str] = field(default_factory=dict)
    apart: bool = False
    """Whether two joined clips are not understood together."""

    def load(self, language: object) -> None:
        """Nothing to load."""

    def hear(self, clip: Clip) -> Hearing:
        within = [words for at, words in self.said.items() if clip.start_s <= at < clip.end_s]
        joined = SoundFlag.JOINED in clip.flags
        words = "" if joined and self.apart else " ".join(filter(None, within))
        return Hearing(self.name, (Hypothesis(words, 0.0),) if words else (), 1.0)

    def close(self) -> None:
        """Nothing to close."""


class Session:
    """A live session that is told what was said after which silence."""

    def __init__(
        self, store: Repository, language: InspectionLanguage, judge: Judge = as_parsed
    ) -> None:
        self.store = store
        self.listener = Remembers()
        shop = Workshop(store, language=language)
        vehicle = shop.add_vehicle("grey twin", {})
        self.id = shop.begin(vehicle.name, Context("US-VA"), started_at=START).id
        ears = Ears(language, self.listener, judge)
        self.inspecting = shop.inspecting(self.id, ears)
        self.live = LiveInspection(self.inspecting)
        self.at = 0.0

    def say(self, words: str, silence_s: float = 10.0) -> tuple[ev.Event, ...]:
        """``silence_s``: without voice, before it."""
        self.at += max(0.0, silence_s - 2 * EDGE * FRAME_S)
        self.listener.said[self.at] = words
        clip = Clip(np.full(RATE, 0.1, dtype=np.float32), self.at, voice=VOICE)
        (told,) = self.live.spoken(Spoken(clip, 0.0, START + timedelta(seconds=self.at), "mic"))
        self.at += SPOKEN_S
        return told.events

    def standing(self) -> list[str]:
        found = (
            each.finding for each in self.store.inspection_record(self.id).findings if each.stands
        )
        return [
            f"{one.position} {one.component}: "
            + (
                one.condition
                or (f"{one.quantity.value} {one.quantity.unit}" if one.quantity else "")
            )
            for one in found
        ]


@pytest.fixture
def session(tmp_path: Path, language: InspectionLanguage) -> Iterator[Session]:
    with Repository.open(tmp_path / "record") as store:
        yield Session(store, language)


def test_what_is_left_out_is_carried_over_from_the_utterance_before(session: Session) -> None:
    session.say("left mirror cracked")
    (told,) = session.say("right loose", 0.5)
    assert isinstance(told, ev.FindingSaved)
    assert told.said.text == "right loose"
    assert session.standing() == ["left mirror: cracked", "right mirror: loose"]


def test_three_that_follow_each_other_are_three(session: Session) -> None:
    session.say("front disc four point five millimetres")
    session.say("rear four", 0.6)
    session.say("left mirror loose", 0.6)
    session.say("right cracked", 0.5)
    assert session.standing() == [
        "front brake disc: 9/2 mm",
        "rear brake disc: 4 mm",
        "left mirror: loose",
        "right mirror: cracked",
    ]


def test_the_third_may_lean_on_the_second(session: Session) -> None:
    session.say("left mirror cracked")
    session.say("right tight", 0.5)
    session.say("and loose brake lever", 0.5)
    assert session.standing()[:2] == ["left mirror: cracked", "right mirror: sound"]


def test_a_repair_behind_a_short_silence_is_a_correction(session: Session) -> None:
    session.say("rear pads five millimetres")
    (told,) = session.say("no I meant six", 0.5)
    assert isinstance(told, ev.FindingCorrected)
    assert session.standing() == ["rear brake pads: 6 mm"]


def test_words_that_make_the_last_finding_another_one_correct_it(session: Session) -> None:
    session.say("front tyre thirty two p s i")
    (told,) = session.say("hot", 0.6)
    assert isinstance(told, ev.FindingCorrected)
    assert told.kept.finding.meaning != told.was.finding.meaning
    assert len(session.standing()) == 1


def test_what_limits_a_finding_takes_it_back_until_it_is_answered(session: Session) -> None:
    session.say("horn works")
    told = session.say("now and then", 0.5)
    assert [type(each) for each in told] == [ev.FindingWithdrawn, ev.Asked]
    assert session.standing() == []


def test_behind_a_short_silence_what_nobody_understood_takes_back_what_it_may_change(
    session: Session,
) -> None:
    session.listener.apart = True
    session.say("left mirror cracked, right mirror loose")
    told = session.say("", 0.5)
    withdrawn, again, asked = told
    assert isinstance(withdrawn, ev.FindingWithdrawn)
    assert isinstance(again, ev.FindingWithdrawn)
    assert isinstance(asked, ev.Asked)
    assert Flag.MORE_SAID in asked.said.understanding.flags
    assert session.standing() == []
    session.say("affirm", 3.0)
    assert session.standing() == ["left mirror: cracked", "right mirror: loose"]


def test_behind_a_longer_silence_it_is_an_utterance_of_its_own(session: Session) -> None:
    session.listener.apart = True
    session.say("left mirror cracked")
    (told,) = session.say("", 1.4)
    assert isinstance(told, ev.Refused)
    assert session.standing() == ["left mirror: cracked"]


def test_a_finding_by_itself_changes_nothing_before_it(session: Session) -> None:
    session.say("left mirror cracked")
    session.say("chain slack thirty millimetres", 0.45)
    assert session.standing() == ["left mirror: cracked", "None drive chain: 30 mm"]


def test_another_reading_of_the_first_words_changes_nothing(session: Session) -> None:
    session.say("front pads four millimetres")
    session.listener.said = dict.fromkeys(session.listener.said, "front pads fourteen millimetres")
    (told,) = session.say("chattering", 1.4)
    assert isinstance(told, ev.Refused)
    assert session.standing() == ["front brake pads: 4 mm"]


def remarks(session: Session) -> list[tuple[str, bool]]:
    found = session.store.inspection_record(session.id).remarks
    return [(each.text, each.taken_back) for each in found]


def test_a_remark_that_goes_on_is_one_remark_with_the_sound_of_both(session: Session) -> None:
    """It is kept and told before whoever makes it has surely ended: it paused to think."""
    session.say("remark the owner says")
    (told,) = session.say("it pulls to the left", 1.1)
    (last,) = session.say("under braking", 1.1)
    assert isinstance(told, ev.RemarkKept)
    assert isinstance(last, ev.RemarkKept)
    assert remarks(session) == [
        ("the owner says", True),
        ("the owner says it pulls to the left", True),
        ("the owner says it pulls to the left under braking", False),
    ]
    kept = session.store.inspection_record(session.id).utterances[-1]
    assert kept.end_s - kept.start_s > 3 * SPOKEN_S
    (gone,) = session.say("disregard that")
    assert isinstance(gone, ev.RemarkTakenBack)
    assert [taken_back for _, taken_back in remarks(session)] == [True] * 3


@pytest.mark.parametrize(
    ("words", "silence_s", "counts"),
    [
        ("left mirror cracked", 1.1, False),
        ("left mirror cracked and horn works", 1.1, False),
        ("take photo", 1.1, False),
        ("left mirror cracked", 1.3, True),
        ("remark the horn is new", 1.1, True),
    ],
)
def test_what_is_said_within_a_remark_counts_for_nothing_unasked(
    session: Session, words: str, silence_s: float, counts: bool
) -> None:
    """As long a silence as before still belongs to free speech, whenever its tone sounds."""
    session.say("remark the owner dropped it")
    told = session.say(words, silence_s)
    assert all(isinstance(each, ev.Asked) for each in told) is not counts
    assert bool(session.standing()) is (counts and not words.startswith("remark"))
    session.say("affirm", 3.0)
    assert remarks(session)[0] == ("the owner dropped it", False)
    assert bool(session.standing()) is ("mirror" in words)


def test_a_remark_whose_words_come_later_takes_no_other_ones_place(session: Session) -> None:
    listener: Any = session.listener
    listener.transcribe = lambda clip: listener.hear(clip).hypotheses[0].text
    session.say("remark the owner dropped it")
    (told,) = session.say("remark")
    assert isinstance(told, ev.Refused)
    (told,) = session.say("it pulls to the left", 1.1)
    assert isinstance(told, ev.RemarkKept)
    assert remarks(session) == [("the owner dropped it", False), ("it pulls to the left", False)]


def test_what_is_no_phrase_later_behind_a_remark_is_not_understood(session: Session) -> None:
    session.say("remark the owner says")
    (told,) = session.say("it pulls to the left", 1.3)
    assert isinstance(told, ev.Refused)
    assert remarks(session) == [("the owner says", False)]


def test_a_whole_finding_that_answers_ends_as_soon_as_any_other(
    language: InspectionLanguage,
) -> None:
    asked = language.understand("front pads four")
    whole = replace(heard(language, "left mirror cracked"), answers=asked)
    assert silence_s(whole, language) == Silences().settled
    short = replace(whole, hearing=Hearing("whisper", (Hypothesis("four", 0.0),), 1.0))
    assert silence_s(short, language) == Silences().usual


def test_the_silence_between_two_clips_is_what_has_no_voice(session: Session) -> None:
    one = Clip(np.zeros(RATE, np.float32), 0.0, voice=VOICE)
    other = replace(one, start_s=1.2)
    assert silence_between(one, other) == pytest.approx(0.2 + 2 * EDGE * FRAME_S, abs=0.05)


def heard(language: InspectionLanguage, words: str, margin: float = 3.0) -> Heard:
    found = (Hypothesis(words, 0.0, {"margin": margin}),) if words else ()
    clip = Clip(np.zeros(RATE, np.float32), 0.0, voice=VOICE)
    return Heard(clip, Hearing("whisper", found, 1.0), language.understand(words), (), 1.0)


@pytest.mark.parametrize(
    ("words", "silence"),
    [
        ("left mirror cracked", "settled"),
        ("horn works and left mirror loose", "settled"),
        ("disregard that", "settled"),
        ("front tyre thirty two p s i", "goes_on"),
        ("front pads four millimetres", "settled"),
        ("front tyre tread four thirty seconds", "settled"),
        ("battery twelve point four volts", "goes_on"),
        ("exhaust loose", "goes_on"),
        ("rear sprocket tooth count is fifty", "usual"),
        ("front pads four", "unfinished"),
        ("pads two millimetres", "unfinished"),
        ("front pads four point", "usual"),
        ("remark the owner says it pulls", "usual"),
        ("remark", "free"),
        ("", "unfinished"),
    ],
)
def test_what_may_still_follow_says_how_long_the_silence_lasts(
    language: InspectionLanguage, words: str, silence: str
) -> None:
    wanted = getattr(Silences(), silence)
    assert silence_s(heard(language, words), language) == wanted


def test_half_a_phrase_that_fits_as_well_makes_the_silence_long(
    language: InspectionLanguage,
) -> None:
    said = heard(language, "front pads", margin=0.0)
    assert said.understanding.decision is not Decision.ACCEPT
    assert silence_s(said, language) == Silences().unfinished


def test_what_may_follow_is_read_off_the_grammar(language: InspectionLanguage) -> None:
    graph = language.word_graph()
    assert expected(graph, ["front", "pads"]) is None
    assert expected(graph, ["left", "mirror", "cracked"]) == frozenset()
    assert "hot" in (expected(graph, ["front", "tyre", "thirty", "two", "p", "s", "i"]) or ())
    assert expected(graph, []) is None


def test_all_that_may_still_be_said_is_gone_through_or_it_is_said_that_there_is_more(
    language: InspectionLanguage,
) -> None:
    graph = language.word_graph()
    pads = endings(graph, ["front", "pads", "four", "millimetres"]) or ()
    assert {("left",), ("remaining",), ("thick",)} <= set(pads)
    assert endings(graph, ["left", "mirror", "cracked"]) == ()
    assert endings(graph, ["front"]) is None


def as_one(language: InspectionLanguage, words: str, *parts: str) -> Heard:
    """A breath as it would be understood: ``parts``, whatever ``words`` read as."""
    said = tuple(language.understand(part) for part in parts)
    whole = Breath(words, said).whole
    one = heard(language, words)
    return replace(one, understanding=replace(whole, text=words))


def test_more_findings_whose_first_is_another_one_are_asked_about(
    language: InspectionLanguage,
) -> None:
    """Words as before and then more: what was taken of them changed, so none of it counts unasked."""
    first = heard(language, "rear pads five millimetres")
    second = heard(language, "")
    words = "rear pads five millimetres no six left mirror loose"
    whole = as_one(language, words, "rear pads six millimetres", "left mirror loose")
    found = going_on(first, second, whole)
    assert found is not None
    assert found.takes_back
    assert found.understanding.decision is Decision.ASK
    assert {one.component for one in found.understanding.offered} == {"brake pads", "mirror"}


def test_words_that_are_not_those_before_say_nothing_of_them(language: InspectionLanguage) -> None:
    first = heard(language, "front pads four millimetres")
    apart = replace(heard(language, ""), clip=replace(first.clip, start_s=2.5))
    whole = as_one(
        language,
        "front pads fourteen millimetres left mirror loose",
        "front pads four millimetres",
        "left mirror loose",
    )
    assert going_on(first, apart, whole) is None


def test_each_finding_of_a_breath_keeps_its_place_and_a_retry_tells_it(
    session: Session, language: InspectionLanguage
) -> None:
    words = "left mirror cracked right mirror loose"
    times = tuple((0.1 * n, 0.1 * n + 0.1) for n in range(6))
    one = heard(language, words)
    one = replace(one, hearing=replace(one.hearing, times=times, left_over=((0.7, 0.9),)))
    id = session.inspecting.new_id()
    for _ in range(2):
        told = session.inspecting.say(one, "mic", id=id)
        spans = [(e.said.start_s, e.said.end_s) for e in told if isinstance(e, ev.FindingSaved)]
        assert spans == [(0.0, pytest.approx(0.3)), (pytest.approx(0.3), one.clip.end_s)]
    (kept,) = session.store.inspection_record(session.id).utterances
    assert [(each.part, round(each.start_s, 1)) for each in kept.stretches] == [
        (0, 0.0),
        (1, 0.3),
        (None, 0.7),
    ]


@pytest.mark.parametrize(
    "words", ["rear tyre is worn", "rear tyre is worn and the sidewall is cracked"]
)
def test_what_was_asked_about_for_its_sound_is_affirmed_by_a_button_too(
    tmp_path: Path, language: InspectionLanguage, words: str
) -> None:
    """The page names the question; a breath of two was told to ask nothing that is still open."""

    def unsure(said: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
        return asked_instead(said, (), "sound is missing", Flag.UNSURE)

    with Repository.open(tmp_path / "record") as store:
        session = Session(store, language, unsure)
        (asked,) = session.say(words)
        assert isinstance(asked, ev.Asked)
        session.inspecting.answer(asked.said.id, "affirm")
        assert len(session.standing()) == words.count(" and ") + 1
