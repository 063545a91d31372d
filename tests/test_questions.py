"""Questions as types: what can settle each, what the record keeps of it, and who may answer later."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from fieldlog.aftercare.plan import left_open, never_confirmed
from fieldlog.audio.clip import RATE, Clip
from fieldlog.doubt.question import telling_more, waits, what_to_ask
from fieldlog.errors import UsageError
from fieldlog.hearing import Heard
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.context import Context
from fieldlog.model.hearing import Hearing
from fieldlog.model.question import Asks, Question, Rest, Settled
from fieldlog.model.understanding import Decision, Flag, Understanding
from fieldlog.report.export import record_json
from fieldlog.shop import events as ev
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.workshop import Workshop
from fieldlog.store.kept_question import KeptQuestion
from fieldlog.store.rows import flags_cell, flags_from
from tests.test_no_prose_decides import NONSENSE, fresh_language, speak_nonsense

START = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)
PADS = "pads two millimetres"


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


ASKED = {
    "front axle nut torque 1 5 newton metres": Asks.WHICH,
    PADS: Asks.PLACE,
    "front tyre pressure thirty six": Asks.UNIT,
    "tyre pressure thirty six": Asks.PLACE_AND_UNIT,
    "front pads two": Asks.ASSUMED_UNIT,
    "front pads two nineteen millimetres": Asks.SLIP,
    "front pads fifty millimetres": Asks.HARDLY_POSSIBLE,
    "rear tyre date code five four two five": Asks.HARDLY_POSSIBLE,
    "battery 12. 6 volts": Asks.FIGURES,
    "front bread three millimetres": Asks.DID_YOU_MEAN,
    "no play in the steering head": Asks.SOUND,
    "no nail in the tyre": Asks.IN_FULL,
    "correction four millimetres": Asks.OF_WHAT,
    "skip the horn": Asks.WHY_SKIPPED,
    "sign off the inspection": Asks.SIGN_OFF,
    "front pads two, rear three": Asks.ALL_OF_IT,
}


@pytest.mark.parametrize(("text", "kind"), ASKED.items())
def test_what_is_asked_and_what_settles_it(
    language: InspectionLanguage, text: str, kind: Asks
) -> None:
    asked = language.breath(text).whole
    assert asked.question is not None
    assert asked.question.kind is kind
    assert asked.question.text
    assert waits(asked) is (kind.settled is not Settled.IN_FULL)
    taken = language.answer(asked, "affirm").decision is Decision.ACCEPT
    assert taken is (kind.settled is Settled.BY_YES)


def test_every_kind_says_what_settles_it(language: InspectionLanguage) -> None:
    finding, command = (
        language.understand("front pads two millimetres"),
        language.understand("take photo"),
    )
    corrected = language.understand("correction front pads two millimetres")
    of_doubt = {
        what_to_ask(*pair).kind
        for pair in (
            (finding, ()),
            (command, (finding,)),
            (finding, (corrected,)),
            (replace(command, text=""), ()),
        )
    }
    assert of_doubt == {Asks.HEARD, Asks.HEARD_WORDS, Asks.NEW_OR_CORRECTION, Asks.AGAIN}
    of_the_record = {Asks.NOT_AS_KNOWN, Asks.INSTEAD}  # tests/test_odometer.py, test_said_last.py
    assert {*ASKED.values(), *of_doubt, *of_the_record} == set(Asks)
    assert {each.settled for each in Asks} == set(Settled)


def test_yes_does_not_say_which_of_a_finding_and_a_command(language: InspectionLanguage) -> None:
    finding, command = (
        language.understand("front pads two millimetres"),
        language.understand("take photo"),
    )
    assert finding.finding is not None
    for best, other in ((finding, command), (command, finding)):
        asked = replace(
            best,
            decision=Decision.ASK,
            question=what_to_ask(best, (other,)),
            candidates=(finding.finding,),
            finding=None,
        )
        assert waits(asked)
        assert language.answer(asked, "affirm").decision is Decision.ASK
        again = language.answer(asked, "two millimetres")
        assert (again.decision, again.finding and again.finding.position) == (
            Decision.ACCEPT,
            "front",
        )


@pytest.mark.parametrize("words", ["", "front "])
def test_readings_without_a_unit_are_never_taken_by_a_short_answer(
    language: InspectionLanguage, words: str
) -> None:
    asked = language.understand(f"{words}brake disc run out readings nought then point two")
    assert asked.decision is Decision.ASK
    for answer in ("front", "affirm", "the rear one"):
        found = language.answer(asked, answer)
        assert found.decision is not Decision.ACCEPT
        assert language.answer(found, "affirm").decision is not Decision.ACCEPT


def test_what_goes_on_is_told_once(language: InspectionLanguage) -> None:
    for text, rest in ((PADS, Rest.AGAIN), ("correction four millimetres", Rest.ALL_AGAIN)):
        once = telling_more(language.understand(text))
        assert once.question is not None
        assert once.question.rest is rest
        assert telling_more(once) == once


# -- what the record keeps --------------------------------------------------------------------------


@pytest.mark.parametrize("text", [*ASKED, "front pads two millimetres", "what"])
def test_what_was_asked_comes_back_from_the_flags(language: InspectionLanguage, text: str) -> None:
    for said in (language.understand(text), telling_more(language.understand(text))):
        asked = KeptQuestion.of(said)
        assert (asked is not None) is (said.decision is Decision.ASK)
        assert flags_from(flags_cell(said.flags, asked)) == (said.flags, asked)
    assert flags_from('["unsure"]') == (("unsure",), None)


def test_a_kind_that_a_later_version_asks_is_left_aside() -> None:
    cell = flags_cell((Flag.UNSURE,), KeptQuestion(Asks.PLACE)).replace("place", "colour")
    assert flags_from(cell) == ((Flag.UNSURE,), None)


class Bench:
    def __init__(self, folder: Path, language: InspectionLanguage) -> None:
        self.folder, self.language = folder, language
        self.shop = Workshop.open(folder, language=language)
        vehicle = self.shop.add_vehicle("grey twin", {"rim": "steel"})
        head = self.shop.begin(vehicle.name, Context("US"), started_at=START, inspector="A. Smith")
        self.id = head.id
        self.inspecting = self.shop.inspecting(head.id)

    def again(self, grammar: str = "") -> Inspecting:
        """The inspection as the next program meets it, with its own language."""
        self.shop.close()
        self.shop = Workshop.open(self.folder, language=fresh_language())
        self.inspecting = self.shop.inspecting(self.id)
        if grammar:
            self.inspecting._questions._grammar = grammar
        return self.inspecting


@pytest.fixture
def bench(tmp_path: Path, language: InspectionLanguage) -> Iterator[Bench]:
    made = Bench(tmp_path / "shop", language)
    yield made
    made.shop.close()


def test_a_question_of_the_record_is_answered_whatever_language_it_was_asked_in(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.inspecting.type(PADS)
    bench.inspecting.type("remark cold morning")
    (asked, _) = bench.inspecting.record.utterances
    assert asked.question == "Which end: front or rear?"
    speak_nonsense(monkeypatch)
    (event,) = bench.again().answer(asked.id, "rear")
    assert isinstance(event, ev.FindingSaved)
    assert event.kept.finding.position == "rear"
    assert bench.inspecting.record.utterances[-1].answers == asked.id
    assert bench.inspecting._understand(PADS).question_text == NONSENSE


def test_what_else_would_be_offered_now_is_not_answered(bench: Bench) -> None:
    """The same words of a bare correction mean another thing once another finding is the last."""
    bench.inspecting.type("front pads three millimetres")
    bench.inspecting.type("correction four")
    (*_, asked) = bench.inspecting.record.utterances
    assert asked.asked == KeptQuestion(
        Asks.ASSUMED_UNIT, (("brake pads", "front"),), asked.asked.offered if asked.asked else ""
    )
    bench.inspecting.type("rear tread three millimetres")
    with pytest.raises(UsageError, match="asks nothing that is still open"):
        bench.again().answer(asked.id, "affirm")


def test_another_thing_said_of_the_same_part_settles_no_value(bench: Bench) -> None:
    bench.inspecting.type("pads two millimetres")
    (asked,) = bench.inspecting.record.utterances
    for words, stays in (("rear pads worn", True), ("rear pads two millimetres", False)):
        bench.inspecting.type(words)
        assert left_open(bench.inspecting.record, asked) is stays


@pytest.mark.parametrize(
    ("words", "stays"),
    [
        ("correction front pads four millimetres", False),
        ("rear pads four millimetres", True),
    ],
)
def test_a_correction_of_what_is_settled_by_saying_of_what(
    bench: Bench, words: str, stays: bool
) -> None:
    bench.inspecting.type("front pads three millimetres")
    bench.inspecting.type("correction rear")
    (_, asked) = bench.inspecting.record.utterances
    assert never_confirmed(bench.inspecting.record) == 1
    bench.inspecting.type(words)
    bench.inspecting.type("correction front pads two millimetres")
    assert left_open(bench.inspecting.record, asked) is stays


def test_what_was_heard_unclearly_stays_so_over_a_pause(bench: Bench) -> None:
    said = bench.language.understand(PADS)
    unclear = replace(said, flags=(Flag.UNCLEAR,))
    clip = Clip(np.zeros(RATE // 10, dtype=np.float32), 5.0)
    bench.inspecting.say(Heard(clip, Hearing("told", (), 0.0), unclear, (), 0.0, True, None), "m")
    (asked,) = bench.inspecting.record.utterances
    (event,) = bench.again().answer(asked.id, "front")
    assert isinstance(event, ev.Asked)
    question = event.said.understanding.question
    assert question is not None
    assert question.kind is Asks.HEARD


def test_the_kind_shows_in_no_output(bench: Bench) -> None:
    bench.inspecting.type("front pads two")
    told = json.dumps(record_json(bench.inspecting.record))
    assert '"flags": ["unit assumed"]' in told
    assert "asked " not in told


class TestRowsOfEarlierVersions:
    """They hold no more of a question than how it read."""

    @pytest.fixture(autouse=True)
    def _as_before(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr("fieldlog.store.entries.KeptQuestion.of", lambda said: None)

    def test_they_are_answered_under_the_same_grammar(
        self, bench: Bench, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        bench.inspecting.type(PADS)
        (asked,) = bench.inspecting.record.utterances
        assert asked.asked is None
        with pytest.raises(UsageError):
            bench.again(grammar="another").answer(asked.id, "front")
        (event,) = bench.again().answer(asked.id, "front")
        assert isinstance(event, ev.FindingSaved)

    def test_a_later_finding_of_the_thing_settles_them(self, bench: Bench) -> None:
        bench.inspecting.type("front pads two")
        (asked,) = bench.inspecting.record.utterances
        for words, stays in (
            ("rear pads two millimetres", True),
            ("front pads two millimetres", False),
        ):
            bench.inspecting.type(words)
            assert left_open(bench.inspecting.record, asked) is stays

    @pytest.mark.parametrize(
        ("question", "count"),
        [("Did you say 'take photo'?", 0), ("Take photo or front pads two millimetres?", 1)],
    )
    def test_a_question_about_a_command_alone_is_of_no_value(
        self, bench: Bench, question: str, count: int
    ) -> None:
        said = bench.language.understand("take photo")
        asked = replace(said, decision=Decision.ASK, question=Question(Asks.HEARD, question))
        self._say(bench, asked)
        assert never_confirmed(bench.inspecting.record) == count

    @staticmethod
    def _say(bench: Bench, said: Understanding) -> None:
        clip = Clip(np.zeros(RATE // 10, dtype=np.float32), 5.0)
        bench.inspecting.say(Heard(clip, Hearing("told", (), 0.0), said, (), 0.0, True, None), "m")
