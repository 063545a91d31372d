"""The service: typed as spoken, every command an event, all of an utterance or nothing of it."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from rich.text import Text

from fieldlog import config
from fieldlog.aftercare.plan import left_open, never_confirmed
from fieldlog.audio.clip import RATE, Clip
from fieldlog.cli.event_lines import event_text, events_behind, events_text
from fieldlog.errors import StoreError, UsageError
from fieldlog.hearing import Heard
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.listeners.replay import ReplayListener
from fieldlog.model.command import Command
from fieldlog.model.context import Context
from fieldlog.model.hearing import Hearing
from fieldlog.model.state import State
from fieldlog.model.understanding import Decision
from fieldlog.report.lines import after_signature
from fieldlog.review.deciding import offers
from fieldlog.review.exchanges import exchanges_of
from fieldlog.shop import events as ev
from fieldlog.shop.ears import Ears
from fieldlog.shop.events import Event
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.workshop import Workshop, grammar_fingerprint
from fieldlog.store.records import NewPhoto
from fieldlog.store.repository import Repository
from fieldlog.words import tell
from tests.broken_connection import BrokenConnection

START = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


class Bench:
    """A workshop with one inspection, spoken and typed into."""

    def __init__(self, folder: Path, language: InspectionLanguage) -> None:
        self.shop = Workshop.open(folder, language=language)
        vehicle = self.shop.add_vehicle("grey twin", {"rim": "steel", "cooling": "air"})
        context = Context("US-VA", {"charge": "charged"})
        head = self.shop.begin(vehicle.name, context, started_at=START, inspector="A. Smith")
        self.inspecting = self.shop.inspecting(head.id)
        self.at = 0.0

    def heard(self, words: str) -> Heard:
        self.at += 5.0
        clip = Clip(np.full(RATE // 10, self.at / 1_000, dtype=np.float32), self.at)
        typed = self.inspecting.conversation.typed(words)
        return replace(typed, clip=clip, hearing=Hearing("told", (), 0.0))

    def say(self, words: str) -> tuple[Event, ...]:
        return self.inspecting.say(self.heard(words), "microphone")

    def type(self, words: str) -> tuple[Event, ...]:
        return self.inspecting.type(words)

    def anew(self) -> None:
        """As the next process meets it."""
        self.inspecting = self.shop.inspecting(self.inspecting.head.id)

    def standing(self) -> list[str]:
        return [
            f"{each.finding.position} {each.finding.component}"
            for each in self.inspecting.record.findings
            if each.stands
        ]


@pytest.fixture
def bench(tmp_path: Path, language: InspectionLanguage) -> Iterator[Bench]:
    made = Bench(tmp_path / "shop", language)
    yield made
    made.shop.close()


TALK = (
    "rear tread four thirty seconds",
    "correction rear tread three thirty seconds",
    "pads two millimetres",
    "front",
    "left fork seal leaking",
    "disregard",
    "skip the horn because no time",
    "remark pulls to the left",
    "take photo",
    "lovely weather",
    "battery cell one one point two two",
    "battery cell two one point two six",
    "correction battery cell one one point two six",
)


def _content(record: Any) -> list[object]:
    """What a record says, without the names, instants and sound of its rows."""
    return [
        [(u.text, u.decision, u.kind, u.question, u.dialogue) for u in record.utterances],
        [
            (
                f.number,
                f.finding,
                f.stands,
                f.reason,
                f.verdict and (f.verdict.state, f.verdict.gate),
            )
            for f in record.findings
        ],
        [(r.text) for r in record.remarks],
        [(m.name, m.finding_id is None) for m in record.marks],
        [(e.name, e.text, dict(e.data)) for e in record.events],
    ]


def test_typed_words_end_exactly_as_spoken_ones(
    tmp_path: Path, language: InspectionLanguage
) -> None:
    contents = []
    for way in ("say", "type"):
        bench = Bench(tmp_path / way, language)
        for words in TALK:
            getattr(bench, way)(words)
        contents.append(_content(bench.inspecting.record))
        bench.shop.close()
    assert contents[0] == contents[1]


def test_a_breath_is_one_utterance_with_a_finding_for_each_part(bench: Bench) -> None:
    events = bench.type("left mirror cracked, right loose and the rear tread one thirty-second")
    assert [type(each) for each in events] == [ev.FindingSaved] * 3
    record = bench.inspecting.record
    (utterance,) = record.utterances
    assert utterance.text == "left mirror cracked, right loose and the rear tread one thirty-second"
    assert bench.standing() == ["left mirror", "right mirror", "rear tyre"]
    assert [each.number for each in record.findings] == [1, 2, 3]
    assert {each.utterance_id for each in record.findings} == {utterance.id}
    assert [each.kept.id for each in events if isinstance(each, ev.FindingSaved)] == [
        each.id for each in record.findings
    ]
    assert [event_text(each).plain.split(":")[0] for each in events] == [
        "left mirror",
        "right mirror",
        "rear tyre, tread depth",
    ]
    assert record.findings[2].verdict is not None
    assert record.findings[2].verdict.state is State.BEYOND
    assert bench.shop.store.verify().agrees


def test_every_finding_of_a_breath_is_a_line_below_the_first(bench: Bench) -> None:
    events = bench.type("left mirror cracked, right loose")
    first, second = events_behind(Text("  4.9 s  ", "dim"), events).plain.split("\n")
    assert first.startswith("  4.9 s  left mirror")
    assert second.startswith("         right mirror")


def test_a_breath_is_judged_as_its_findings_one_after_the_other(
    tmp_path: Path, language: InspectionLanguage
) -> None:
    """Cells that were said in one breath are held together as those said one by one."""
    cells = [f"battery cell {one}" for one in ("one one point two two", "two one point two six")]
    records = []
    for way, said in (("breath", [", ".join(cells)]), ("single", cells)):
        bench = Bench(tmp_path / way, language)
        for words in said:
            bench.type(words)
        records.append([(f.finding.subject, f.verdict) for f in bench.inspecting.record.findings])
        bench.shop.close()
    assert records[0] == records[1]
    assert len(records[0]) == 2


def test_a_breath_is_saved_once_however_often_it_is_tried(bench: Bench) -> None:
    name = bench.inspecting.new_id()
    heard = bench.heard("left mirror cracked, right loose")
    first = bench.inspecting.say(heard, "microphone", id=name)
    after = _content(bench.inspecting.record)
    again = bench.inspecting.say(heard, "microphone", id=name)
    kept = [
        [each.kept for each in events if isinstance(each, ev.FindingSaved)]
        for events in (first, again)
    ]
    assert len(kept[0]) == 2
    assert kept[0] == kept[1]
    assert _content(bench.inspecting.record) == after


def test_no_part_of_a_breath_is_taken_where_another_is_not_understood(bench: Bench) -> None:
    for words, kind in (
        ("left mirror cracked disregard that", ev.Asked),
        ("left mirror cracked and the bloke wants it back", ev.Asked),
        ("chain dry, sprocket worn", ev.Asked),
        ("seat good apart from a tear", ev.Asked),
    ):
        (event,) = bench.type(words)
        assert isinstance(event, kind)
        assert event_text(event).plain
    assert bench.standing() == []
    assert len(bench.inspecting.record.utterances) == 4


def test_disregard_takes_back_every_finding_of_a_breath(bench: Bench) -> None:
    """All that one utterance made; each is told."""
    bench.type("left mirror cracked, right loose")
    events = bench.type("disregard")
    assert [type(each) for each in events] == [ev.FindingWithdrawn] * 2
    assert bench.standing() == []


def test_a_bare_correction_behind_a_breath_is_of_its_last_finding(bench: Bench) -> None:
    bench.type("front pads two millimetres, rear three")
    (event,) = bench.type("no, I meant four millimetres")
    assert isinstance(event, ev.FindingCorrected)
    assert event.was.number == 2
    assert bench.standing() == ["front brake pads", "rear brake pads"]


@pytest.mark.parametrize("anew", [False, True])
@pytest.mark.parametrize(
    "asked",
    [
        "rear pads fifty millimetres, chain dry",
        "rear pads three millimetres, horn works, wait",
        "rear pads three millimetres, rear pads four millimetres",
        "rear pads three millimetres, banana",
    ],
)
def test_a_bare_correction_behind_a_breath_that_is_asked_about_leaves_what_was_before(
    bench: Bench, asked: str, anew: bool
) -> None:
    """It is of what was said last, of which nothing was taken: not of the front pads."""
    bench.type("front pads two millimetres")
    bench.type(asked)
    if anew:
        bench.anew()
    for _ in range(2):
        (event,) = bench.type("correction five millimetres")
        assert isinstance(event, ev.Asked)
    (kept,) = bench.inspecting.record.findings
    assert kept.stands
    assert kept.finding.quantity is not None
    assert kept.finding.quantity.value == 2


def test_a_breath_that_holds_the_answer_answers(bench: Bench) -> None:
    bench.type("pads two millimetres")
    events = bench.type("front pads two millimetres, chain dry")
    assert [type(each) for each in events] == [ev.FindingSaved] * 2
    asked, said = bench.inspecting.record.utterances
    assert said.answers == asked.id
    assert bench.inspecting.conversation.waiting is None


@pytest.mark.parametrize("words", ["yes", "affirm"])
def test_yes_takes_all_of_a_breath_that_was_asked_about(bench: Bench, words: str) -> None:
    (asked,) = bench.type("front disc four and a half, rear five")
    assert isinstance(asked, ev.Asked)
    events = bench.type(words)
    assert [type(each) for each in events] == [ev.FindingSaved] * 2
    kept = [each.finding for each in bench.inspecting.record.findings]
    assert [(one.position, one.quantity and one.quantity.unit) for one in kept] == [
        ("front", "mm"),
        ("rear", "mm"),
    ]
    assert bench.inspecting.record.utterances[1].answers == asked.said.id
    assert bench.inspecting.conversation.waiting is None
    assert "answers" in event_text(events[0]).plain


@pytest.mark.parametrize(
    "words",
    ["front", "millimetres", "four and a half", "five millimetres", "no", "disregard"],
)
def test_no_short_word_takes_a_part_of_a_breath_that_was_asked_about(
    bench: Bench, words: str
) -> None:
    bench.type("front disc four and a half, rear five")
    bench.type(words)
    assert bench.standing() == []


def test_one_finding_of_a_breath_that_was_asked_about_leaves_it_asked(bench: Bench) -> None:
    """It counts by itself; the question stays in the record as one that nobody settled."""
    bench.type("front disc four and a half, rear five")
    bench.type("front disc four and a half millimetres")
    assert bench.standing() == ["front brake disc"]
    assert bench.inspecting.record.utterances[1].answers is None


def test_a_breath_with_one_of_them_leaves_it_asked(bench: Bench) -> None:
    bench.type("front disc four and a half, rear five")
    bench.type("front disc four and a half millimetres, chain dry")
    assert bench.standing() == ["front brake disc", "None drive chain"]
    assert bench.inspecting.record.utterances[1].answers is None


def test_all_of_a_breath_said_in_full_answers_it(bench: Bench) -> None:
    bench.type("front disc four and a half, rear five")
    bench.type("front disc four and a half millimetres, rear five millimetres")
    asked, said = bench.inspecting.record.utterances
    assert said.answers == asked.id
    assert len(bench.standing()) == 2


def test_a_breath_that_asks_can_be_answered_in_another_program(bench: Bench) -> None:
    bench.type("front disc four and a half, rear five")
    asked = bench.inspecting.record.utterances[0]
    other = bench.shop.inspecting(bench.inspecting.head.id)
    events = other.answer(asked.id, "yes")
    assert [type(each) for each in events] == [ev.FindingSaved] * 2


def test_a_second_other_breath_ends_the_wait_for_an_answer(bench: Bench) -> None:
    bench.type("pads two millimetres")
    bench.type("left mirror cracked, chain dry")
    before = bench.inspecting.conversation.waiting
    bench.type("right mirror cracked, horn works")
    after = bench.inspecting.conversation.waiting
    assert (before is None, after is None) == (False, True)
    assert bench.inspecting.record.utterances[1].answers is None


def test_nothing_of_a_breath_counts_while_standing_by(bench: Bench) -> None:
    bench.type("stand by")
    (event,) = bench.type("left mirror cracked, chain dry")
    assert isinstance(event, ev.HeldBack)
    assert bench.standing() == []


def test_a_breath_after_the_signature_is_told_once(bench: Bench) -> None:
    bench.inspecting.sign_off("A. Smith", as_it_stands=True)
    events = bench.type("left mirror cracked, chain dry")
    assert [type(each) for each in events] == [ev.FindingSaved, ev.FindingSaved, ev.AfterSignature]


def test_a_correction_that_was_typed_supersedes(bench: Bench) -> None:
    bench.type("rear tread four thirty seconds")
    (event,) = bench.type("correction rear tread three thirty seconds")
    assert isinstance(event, ev.FindingCorrected)
    assert event.was.number == 1
    assert [each.stands for each in bench.inspecting.record.findings] == [False, True]


COMMANDS: tuple[tuple[str, type[object]], ...] = (
    ("say again", ev.SaidAgain),
    ("read back", ev.ReadBack),
    ("stand by", ev.StandingBy),
    ("read back the rear pads", ev.ReadBack),
    ("go ahead", ev.GoingAhead),
    ("on my own", ev.OnYourOwn),
    ("take photo", ev.Marked),
    ("next item", ev.NextTold),
    ("what is left", ev.OpenTold),
    ("how do i check that", ev.HowToCheckTold),
    ("how to check the brake pads", ev.HowToCheckTold),
    ("tell me why", ev.WhyTold),
    ("skip the horn because no time", ev.ItemSkipped),
    ("sign off the inspection", ev.Asked),
    ("affirm", ev.NothingToTake),
    ("negative", ev.NothingToTake),
    ("correction rear pads four millimetres", ev.FindingCorrected),
    ("disregard that", ev.FindingWithdrawn),
)


@pytest.mark.parametrize(("words", "kind"), COMMANDS)
def test_every_word_of_the_dialogue_does_what_it_says(
    bench: Bench, words: str, kind: type[object]
) -> None:
    bench.say("rear pads three millimetres")
    first, *_ = bench.say(words)
    assert isinstance(first, kind)
    assert event_text(first).plain.strip()


def test_no_word_of_the_dialogue_is_left_out_above(language: InspectionLanguage) -> None:
    said = {language.understand(words).dialogue for words, _ in COMMANDS}
    assert said == set(Command)


def test_say_again_repeats_what_was_asked_or_found_and_saves_nothing_twice(bench: Bench) -> None:
    bench.say("pads two millimetres")
    (again,) = bench.say("say again")
    assert isinstance(again, ev.SaidAgain)
    assert [type(each) for each in again.told] == [ev.Asked]
    bench.say("front")
    for _ in range(2):
        (again,) = bench.say("say again")
        assert isinstance(again, ev.SaidAgain)
        assert [type(each) for each in again.told] == [ev.FindingSaved]
    assert bench.standing() == ["front brake pads"]


def test_read_back_and_why_tell_what_is_in_the_record(bench: Bench) -> None:
    for words in ("read back", "tell me why"):
        (nothing,) = bench.say(words)
        assert "no finding stands" in event_text(nothing).plain
    bench.say("front pads one millimetre")
    (read,) = bench.say("read back")
    assert isinstance(read, ev.ReadBack)
    assert read.kept is not None
    assert (read.kept.number, read.kept.verdict and read.kept.verdict.state) == (1, State.BEYOND)
    (why,) = bench.say("tell me why")
    assert "19VAC30-70" in event_text(why).plain


def test_nothing_counts_while_standing_by_and_nothing_is_lost(bench: Bench) -> None:
    bench.say("stand by")
    for words in ("front pads two millimetres", "left mirror cracked", "disregard", "lovely"):
        (held,) = bench.say(words)
        assert isinstance(held, ev.HeldBack)
    assert bench.standing() == []
    kept = bench.inspecting.record.utterances[1]
    assert (kept.text, kept.decision) == ("front pads two millimetres", Decision.REFUSE)
    assert kept.clip is not None
    bench.say("go ahead")
    bench.say("front pads two millimetres")
    assert bench.standing() == ["front brake pads"]


def test_a_spoken_signature_is_agreed_to_and_tells_what_is_open(bench: Bench) -> None:
    asked, open_ = bench.say("sign off the inspection")
    assert isinstance(asked, ev.Asked)
    assert isinstance(open_, ev.BeforeSigning)
    assert "horn" in open_.items
    assert [event.name for event in bench.inspecting.record.events] == []
    (signed,) = bench.say("affirm")
    assert isinstance(signed, ev.SignedOff)
    assert (signed.name, signed.open_items, signed.again) == ("A. Smith", len(open_.items), False)
    event, witness = bench.inspecting.record.events
    assert (event.name, event.text) == ("signed off", "A. Smith")
    assert (witness.name, witness.data["of"]) == ("checkpoint", event.id)
    (again,) = bench.inspecting.sign_off("B. Jones", as_it_stands=True)
    assert isinstance(again, ev.SignedOff)
    assert again.again


@pytest.mark.parametrize("way", ["say", "type"])
def test_what_comes_after_the_signature_says_so_until_it_is_signed_again(
    bench: Bench, way: str
) -> None:
    take = bench.say if way == "say" else bench.type
    take("rear tread four thirty seconds")
    take("left fork seal leaking")
    bench.inspecting.sign_off("A. Smith", as_it_stands=True)
    told: list[Event] = []
    bench.inspecting.subscribe(told.append)
    for words, kind in (
        ("front pads two millimetres", ev.FindingSaved),
        ("correction rear tread three thirty seconds", ev.FindingCorrected),
        ("disregard", ev.FindingBroughtBack),
        ("skip battery because sealed", ev.ItemSkipped),
    ):
        first, *_, last = events = take(words)
        assert isinstance(first, kind), words
        assert isinstance(last, ev.AfterSignature)
        assert last.said is first.said
        assert "not covered until it is signed again" in str(events_text(events))
    assert sum(isinstance(each, ev.AfterSignature) for each in told) == 4
    for words in ("what is open", "read back", "pads two millimetres", "negative", "lovely"):
        assert not any(isinstance(each, ev.AfterSignature) for each in take(words)), words
    record = bench.inspecting.record
    assert after_signature(record) == (
        "added no. 3",
        "corrected no. 1 (now no. 4), no. 4 (now no. 5)",
        "1 item left out",
    )
    (signed,) = bench.inspecting.sign_off("A. Smith", as_it_stands=True)
    assert isinstance(signed, ev.SignedOff)
    assert signed.again
    assert after_signature(bench.inspecting.record) == ()


def test_a_decision_after_the_signature_is_not_covered_by_it(bench: Bench) -> None:
    bench.type("rear tread four thirty seconds")
    bench.inspecting.sign_off("A. Smith", as_it_stands=True)
    assert after_signature(bench.inspecting.record) == ()
    desk = bench.shop.reviewing("last", "R. Jones")
    (one,) = exchanges_of(desk.record)
    desk.accept(one.id, one.state)
    assert after_signature(desk.record) == ("1 decision on what was heard",)
    bench.inspecting.sign_off("A. Smith", as_it_stands=True)
    assert after_signature(bench.inspecting.record) == ()


def test_what_was_typed_and_asked_about_is_offered_to_a_reviewer(bench: Bench) -> None:
    bench.type("front pads two")
    desk = bench.shop.reviewing("last", "R. Jones")
    (one,) = exchanges_of(desk.record)
    (offered,) = offers(one, bench.inspecting.conversation.language.understand)
    desk.choose(one.id, one.state, offered.mark)
    (kept,) = desk.record.findings
    assert tell.finding(kept.finding) == "front brake pads, thickness: 2 mm"


def test_nothing_that_came_after_the_signature_goes_unsaid(bench: Bench) -> None:
    bench.inspecting.sign_off("A. Smith", as_it_stands=True)
    bench.type("pads two millimetres")
    assert len(bench.inspecting.record.uncovered) == 1
    assert after_signature(bench.inspecting.record) == ("1 row of the record",)


def test_what_is_done_by_hand_after_the_signature_says_so(bench: Bench) -> None:
    bench.type("rear tread four thirty seconds")
    bench.type("left fork seal leaking")
    hands = bench.inspecting
    photo = bench.shop.store.add_photo(hands.head.id, NewPhoto("0" * 64 + ".jpg", "a.jpg", "jpeg"))
    hands.sign_off("A. Smith", as_it_stands=True)
    said = hands.conversation.language.understand("rear tread three thirty seconds")
    for events in (
        hands.correct(1, said),
        hands.withdraw(2, "wrong side"),
        hands.skip("battery", "sealed"),
        hands.remark("pulls to the left"),
        hands.attach(photo, 3, "by hand"),
        hands.attach(photo, None, "of nothing"),
    ):
        assert isinstance(events[-1], ev.AfterSignature)
        assert sum(isinstance(each, ev.AfterSignature) for each in events) == 1
    assert after_signature(hands.record) == (
        "corrected no. 1 (now no. 3)",
        "withdrawn no. 2",
        "1 remark",
        "1 item left out",
        "1 photo",
    )


@pytest.mark.parametrize("answer", ["negative", "disregard"])
def test_a_signature_that_is_not_agreed_to_is_none(bench: Bench, answer: str) -> None:
    bench.say("sign off the inspection")
    bench.say(answer)
    bench.say("affirm")
    assert bench.inspecting.record.events == ()


def test_a_question_of_the_record_can_be_answered_by_its_id_and_after_a_new_start(
    bench: Bench,
) -> None:
    (asked,) = bench.type("pads two millimetres")
    assert isinstance(asked, ev.Asked)
    bench.type("left fork seal leaking")
    anew = bench.shop.inspecting(bench.inspecting.head.id)
    (event,) = anew.answer(asked.said.id, "rear")
    assert isinstance(event, ev.FindingSaved)
    assert bench.standing() == ["left fork seal", "rear brake pads"]
    with pytest.raises(UsageError, match="asks nothing"):
        anew.answer(asked.said.id, "front")
    bench.type("brake disc cracked")
    (event,) = bench.shop.inspecting(bench.inspecting.head.id).type("front")
    assert isinstance(event, ev.FindingSaved)


def test_what_another_terminal_changed_is_what_is_corrected(
    bench: Bench, language: InspectionLanguage
) -> None:
    bench.say("front pads three millimetres")
    bench.say("rear pads three millimetres")
    other = bench.shop.inspecting(bench.inspecting.head.id)
    other.correct(2, language.understand("rear pads four millimetres"), "read again")
    (event,) = bench.say("correction rear pads five millimetres")
    assert isinstance(event, ev.FindingCorrected)
    assert event.was.number == 3
    other.withdraw(4, "wrong wheel")
    (event,) = bench.say("disregard that")
    assert isinstance(event, ev.GoneAlready)  # and takes no other finding along
    (event,) = bench.say("disregard that")
    assert isinstance(event, ev.FindingWithdrawn)
    assert event.was.number == 1
    assert bench.standing() == []


def test_a_context_that_contradicts_the_reading_keeps_the_finding(bench: Bench) -> None:
    bench.shop.store.set_facts(bench.inspecting.record.vehicle.id, {"uncertainty": "1 V"})
    (event,) = bench.say("front pads three millimetres")
    assert isinstance(event, ev.FindingSaved)
    assert event.assessment.verdict.state is State.UNDECIDED
    assert event.assessment.verdict.reason


def test_a_setting_nobody_can_mean_ends_no_session_and_loses_no_finding(bench: Bench) -> None:
    bench.say("front pads three millimetres")
    vehicle = bench.inspecting.record.vehicle.id
    bench.shop.store.set_facts(vehicle, {"rim": "wood"})
    (event,) = bench.say("rear pads three millimetres")
    assert isinstance(event, ev.FindingSaved)
    assert event.assessment.verdict.state is State.UNDECIDED
    assert "'wood' is none of its values" in event.assessment.verdict.reason
    bench.shop.store.set_facts(vehicle, {"rim": "steel"})
    (event,) = bench.say("correction rear pads three millimetres")
    assert isinstance(event, ev.FindingCorrected)
    assert event.assessment.verdict.state is State.WITHIN


def test_an_utterance_is_kept_with_what_heard_it_and_its_grammar(
    bench: Bench, language: InspectionLanguage
) -> None:
    ears = Ears(language, ReplayListener({}), lambda said, hearing, clip: said)
    spoken = bench.shop.inspecting(bench.inspecting.head.id, ears)
    spoken.say(bench.heard("front pads three millimetres"), "microphone")
    (kept,) = bench.inspecting.record.utterances
    assert (kept.model, kept.grammar) == ("replay", grammar_fingerprint(config.grammars()))
    assert len(kept.grammar) == 16


def test_subscribers_are_told_after_it_is_in_the_record(bench: Bench) -> None:
    seen: list[tuple[type[Event], int]] = []
    bench.inspecting.subscribe(
        lambda event: seen.append((type(event), len(bench.inspecting.record.findings)))
    )
    bench.say("front pads three millimetres")
    bench.inspecting.remark("cold")
    assert seen == [(ev.FindingSaved, 1), (ev.RemarkKept, 1)]


class Breaks(Exception):
    """A fault between two writes."""


def _rows(store: Repository) -> int:
    with sqlite3.connect(store.folder / "fieldlog.db") as connection:
        tables = connection.execute(
            "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
        ).fetchall()
        return sum(
            connection.execute(f"SELECT count(*) FROM {name}").fetchone()[0] for (name,) in tables
        )


@pytest.mark.parametrize("words", ["front pads three millimetres", TALK[-1]])
@pytest.mark.uncounted
def test_a_fault_at_any_write_leaves_nothing_and_a_retry_doubles_nothing(
    bench: Bench, words: str
) -> None:
    for said in TALK[-3:-1]:
        bench.say(said)
    heard, id, before = bench.heard(words), bench.inspecting.new_id(), _rows(bench.shop.store)
    engine = bench.shop.store.engine
    sound = engine.connection
    for failing in range(200):
        broken = BrokenConnection(sound, failing)
        engine.connection = broken
        try:
            bench.inspecting.say(heard, "microphone", id=id)
        except StoreError:
            assert broken.failed
            assert _rows(bench.shop.store) == before, f"halved at write {failing}"
        else:
            break
        finally:
            engine.connection = sound
    assert failing > 4
    after = _rows(bench.shop.store)
    assert after > before
    (event, *_) = bench.inspecting.say(heard, "microphone", id=id)
    corrects = heard.understanding.dialogue is Command.CORRECTION
    assert isinstance(event, ev.FindingCorrected if corrects else ev.FindingSaved)
    assert event.kept.finding == heard.understanding.finding
    assert _rows(bench.shop.store) == after
    assert bench.shop.store.verify().agrees


def test_by_hand_every_verb_is_told_and_kept(bench: Bench) -> None:
    bench.say("front pads three millimetres")
    assert events_text(bench.inspecting.skip("horn", "no time")).plain == "left out: horn (no time)"
    with pytest.raises(UsageError, match="reason"):
        bench.inspecting.skip("horn", " ")
    (marked,) = bench.inspecting.mark("photo", 1)
    assert isinstance(marked, ev.Marked)
    (kept,) = bench.inspecting.record.marks
    assert marked.at is not None
    assert (kept.name, kept.finding_id) == ("photo", marked.at.id)
    with pytest.raises(UsageError, match="no finding 9 stands"):
        bench.inspecting.withdraw(9, "x")
    with pytest.raises(UsageError, match="name"):
        bench.inspecting.sign_off(" ")
    (event,) = bench.inspecting.withdraw(1, "wrong wheel")
    assert isinstance(event, ev.FindingWithdrawn)
    assert bench.inspecting.record.findings[0].reason == "wrong wheel"


@pytest.mark.parametrize(
    ("first", "correction", "value"),
    [
        ("front pads 3 mm", "correction 4 mm", "4 mm"),
        ("Front Pads 3mm.", "Correction: 4mm", "4 mm"),
        ("FRONT PADS THREE MM", "correction four millimetres", "4 mm"),
        ("3 mm on the front pads", "correction 4 mm", "4 mm"),
        ("correction front pads 3 mm", "correction 4 mm", "4 mm"),
        ("front pads about 3 mm", "correction 2,5 mm", "5/2 mm"),
        ("rear tread 4/32 in", "correction 3/32 in", "3/32 in"),
        ("rear tread four thirty-seconds", "correction three thirty-seconds", "3/32 in"),
        ("battery cell 1 1.22", "correction 1.26", "63/50 1"),
    ],
)
def test_a_bare_correction_puts_the_new_value_in_however_the_old_one_was_typed(
    bench: Bench, first: str, correction: str, value: str
) -> None:
    bench.type(first)
    (event, *_) = bench.type(correction)
    assert isinstance(event, ev.FindingCorrected)
    (stands,) = (each.finding.quantity for each in bench.inspecting.record.findings if each.stands)
    assert stands is not None
    assert f"{stands.value} {stands.unit}" == value


@pytest.mark.parametrize("words", ["correction rear", "correction front pads", "correction worn"])
def test_what_is_no_value_never_says_the_old_one_anew(bench: Bench, words: str) -> None:
    bench.type("front pads 3 mm")
    (event,) = bench.type(words)
    assert isinstance(event, ev.Asked)
    assert [each.stands for each in bench.inspecting.record.findings] == [True]


@pytest.mark.parametrize("first", ["front pads 3 mm", "front pads 3"])
def test_figures_with_a_gap_are_asked_about_in_a_correction_too(bench: Bench, first: str) -> None:
    bench.type(first)
    (event,) = bench.type("correction 2 5 mm")
    assert isinstance(event, ev.Asked)
    assert {
        str(one.quantity and one.quantity.value) for one in event.said.understanding.offered
    } == {
        "2",
        "5",
    }


@pytest.mark.parametrize("way", ["say", "type"])
def test_the_question_of_a_bare_correction_is_answered_by_a_short_word(
    bench: Bench, way: str
) -> None:
    take = getattr(bench, way)
    take("front pads three millimetres")
    (asked,) = take("correction four")
    assert isinstance(asked, ev.Asked)
    (event,) = take("affirm")
    assert isinstance(event, ev.FindingCorrected)
    assert event.kept.finding.quantity is not None
    assert event.kept.finding.quantity.value == 4
    assert bench.inspecting.record.utterances[-1].answers == asked.said.id


@pytest.mark.parametrize("way", ["say", "type"])
@pytest.mark.parametrize(
    "asking", ["correction four", "correction worn", "skip the horn", "no oil in the engine"]
)
def test_disregard_after_a_question_withdraws_no_finding(
    bench: Bench, way: str, asking: str
) -> None:
    take = getattr(bench, way)
    take("front pads three millimetres")
    assert isinstance(take(asking)[0], ev.Asked)
    (closed,) = take("disregard that")
    assert isinstance(closed, ev.QuestionClosed)
    assert bench.standing() == ["front brake pads"]
    assert never_confirmed(bench.inspecting.record) == 0
    (event,) = take("disregard that")
    assert isinstance(event, ev.FindingWithdrawn)


class TestStandingBy:
    def test_what_was_held_back_asks_nothing(self, bench: Bench) -> None:
        for words in ("stand by", "pads two millimetres", "go ahead"):
            bench.say(words)
        (event,) = bench.say("front")
        assert isinstance(event, ev.Refused)
        assert bench.standing() == []

    @pytest.mark.parametrize("way", ["say", "type"])
    def test_a_question_is_not_answered_by_what_was_held_back(self, bench: Bench, way: str) -> None:
        take = getattr(bench, way)
        for words in ("pads two millimetres", "stand by", "front", "disregard", "negative"):
            take(words)
        record = bench.inspecting.record
        assert left_open(record, record.utterances[0])
        assert never_confirmed(record) == 1
        take("go ahead")
        (event,) = take("front")
        assert isinstance(event, ev.FindingSaved)
        assert never_confirmed(bench.inspecting.record) == 0

    def test_said_again_it_goes_on(self, bench: Bench) -> None:
        for words in ("stand by", "stand by"):
            (event,) = bench.say(words)
            assert isinstance(event, ev.StandingBy)
        (held,) = bench.say("front pads two millimetres")
        assert isinstance(held, ev.HeldBack)

    def test_it_goes_on_in_the_next_process(self, bench: Bench) -> None:
        bench.type("stand by")
        bench.anew()
        (held,) = bench.type("front pads two millimetres")
        assert isinstance(held, ev.HeldBack)
        assert "go ahead" in event_text(held).plain
        bench.anew()
        bench.type("go ahead")
        bench.anew()
        bench.type("front pads two millimetres")
        assert bench.standing() == ["front brake pads"]


class TestTheNextProcess:
    """`fieldlog inspection enter` is one process for each utterance."""

    def test_takes_the_answer_though_something_was_said_in_between(self, bench: Bench) -> None:
        for words in (
            "pads two millimetres",
            "lovely weather",
            "what is left",
            "say again",
            "front",
        ):
            bench.anew()
            events = bench.type(words)
        assert isinstance(events[0], ev.FindingSaved)

    @pytest.mark.parametrize("words", ["pads two millimetres", "correction worn"])
    def test_repeats_the_question(self, bench: Bench, words: str) -> None:
        bench.type(words)
        bench.anew()
        (again,) = bench.type("say again")
        assert isinstance(again, ev.SaidAgain)
        assert [type(each) for each in again.told] == [ev.Asked]

    def test_repeats_the_finding(self, bench: Bench) -> None:
        bench.type("front pads two millimetres")
        for _ in range(2):
            bench.anew()
            (again,) = bench.type("say again")
            assert isinstance(again, ev.SaidAgain)
            (told,) = again.told
            assert isinstance(told, ev.FindingSaved)
            assert told.kept.number == 1
            assert "2 mm" in event_text(again).plain
        bench.inspecting.withdraw(1, "wrong wheel")
        bench.anew()
        (again,) = bench.type("say again")
        assert isinstance(again, ev.SaidAgain)
        assert again.told == ()

    def test_drops_the_question_and_not_the_finding_before(self, bench: Bench) -> None:
        for words in ("left mirror cracked", "pads two millimetres", "lovely weather", "disregard"):
            bench.anew()
            events = bench.type(words)
        assert isinstance(events[0], ev.QuestionClosed)
        assert bench.standing() == ["left mirror"]

    def test_takes_the_answer_to_what_an_answer_left_open(self, bench: Bench) -> None:
        for words in ("tyre pressure thirty six", "front", "psi"):
            bench.anew()
            events = bench.type(words)
        assert isinstance(events[0], ev.FindingSaved)
        assert events[0].kept.finding.quantity is not None
        assert events[0].kept.finding.quantity.unit == "psi"
        assert never_confirmed(bench.inspecting.record) == 0

    def test_answers_nothing_that_two_findings_ended(self, bench: Bench) -> None:
        for words in ("pads two millimetres", "left mirror cracked", "horn works", "front"):
            bench.anew()
            events = bench.type(words)
        assert isinstance(events[0], ev.Refused)

    def test_takes_the_answer_to_what_was_told_again(self, bench: Bench) -> None:
        for words in ("pads two millimetres", "left mirror cracked", "front"):
            bench.anew()
            events = bench.type(words)
        assert isinstance(events[0], ev.FindingSaved)

    def test_takes_the_answer_to_what_was_told_with_what_is_open(self, bench: Bench) -> None:
        findings = ("left mirror cracked", "horn works", "right mirror cracked")
        for words in ("pads two millimetres", *findings, "what is left", "front"):
            bench.anew()
            events = bench.type(words)
        assert isinstance(events[0], ev.FindingSaved)


def test_an_answer_that_could_not_be_taken_can_be_given_again(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    for error, told in ((ValueError("odd"), None), (StoreError("full"), "full")):
        bench.type("pads two millimetres")
        with monkeypatch.context() as patch:
            patch.setattr("fieldlog.shop.inspecting.step_of", _raising(error))
            if told is None:
                (event,) = bench.type("front")
                assert isinstance(event, ev.Faulted)
            else:
                with pytest.raises(StoreError, match=told):
                    bench.type("front")
        (event,) = bench.type("front")
        assert isinstance(event, ev.FindingSaved)


def _raising(error: Exception) -> Callable[..., Any]:
    def fails(*_: object) -> Any:
        raise error

    return fails


def test_a_photo_of_something_is_for_that_and_not_for_what_was_said_last(bench: Bench) -> None:
    for words in (
        "front pads two millimetres",
        "rear tread four thirty seconds",
        "left mirror cracked",
    ):
        bench.type(words)
    for words, number in (
        ("photo of the brake pads", 1),
        ("photo of the rear tyre", 2),
        ("photo of the front tyre", None),
        ("photo", 3),
    ):
        (marked,) = bench.type(words)
        assert isinstance(marked, ev.Marked)
        assert (marked.at.number if marked.at else None) == number, words
    ids = [each.id for each in bench.inspecting.record.findings]
    assert [each.finding_id for each in bench.inspecting.record.marks] == [
        ids[0],
        ids[1],
        None,
        ids[2],
    ]


@pytest.mark.parametrize("words", ["read back", "tell me why"])
def test_what_was_withdrawn_elsewhere_is_told_and_not_that_nothing_stands(
    bench: Bench, words: str
) -> None:
    bench.type("front pads three millimetres")
    bench.type("rear pads three millimetres")
    bench.shop.inspecting(bench.inspecting.head.id).withdraw(2, "wrong wheel")
    (gone,) = bench.type(words)
    assert isinstance(gone, ev.GoneAlready)
    (event,) = bench.type(words)
    assert isinstance(event, (ev.ReadBack, ev.WhyTold))
    assert event.kept is not None
    assert event.kept.number == 1


def test_what_is_skipped_is_what_is_no_longer_open(bench: Bench) -> None:
    (event,) = bench.type("skip front left brake disc because no time")
    assert isinstance(event, ev.NothingToTake)
    assert "on the list" in event_text(event).plain
    vehicle = bench.inspecting.record.vehicle.id
    for do, item in (
        ("add", "front left brake disc"),
        ("add", "front right brake disc"),
        ("remove", "front brake disc"),
    ):
        bench.shop.store.add_log(vehicle, "checklist", {"do": do, "item": item})
    before = {item.key for item in bench.inspecting.scene.progress.open}
    (event,) = bench.type("skip front brake disc because no time")
    assert isinstance(event, ev.ItemSkipped)
    assert event.items == ("front left brake disc", "front right brake disc")
    assert before - {item.key for item in bench.inspecting.scene.progress.open} == set(event.items)


@pytest.mark.parametrize("key", ["grey twin", " grey twin ", "1"])
def test_an_inspection_is_begun_of_the_vehicle_that_is_there(bench: Bench, key: str) -> None:
    known = bench.inspecting.record.vehicle
    assert bench.shop.begin(key).vehicle_id == known.id
    assert [each.id for each in bench.shop.store.vehicles()] == [known.id]
    assert bench.shop.begin("2").vehicle_name == "2"


def test_nothing_is_kept_without_its_words(bench: Bench) -> None:
    bench.type("front pads three millimetres")
    hands = bench.inspecting
    with pytest.raises(UsageError, match="reason"):
        hands.withdraw(1, " ")
    with pytest.raises(UsageError, match="words"):
        hands.remark(" ")
    with pytest.raises(UsageError, match="no photo"):
        hands.attach("none", 1, "by hand")
    assert bench.standing() == ["front brake pads"]
    assert (hands.record.remarks, hands.record.photos) == ((), ())


def test_an_inspection_that_is_not_there_is_named(bench: Bench) -> None:
    with pytest.raises(UsageError, match="there is no inspection '99'"):
        bench.shop.inspecting("99")


def test_the_verbs_of_an_inspection_are_those_of_the_docs() -> None:
    verbs = {name for name in dir(Inspecting) if not name.startswith("_")}
    assert {
        "say", "type", "answer", "correct", "withdraw", "skip", "remark", "mark", "attach", "sign_off",
    } <= verbs  # fmt: skip
