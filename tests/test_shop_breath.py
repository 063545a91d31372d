"""Several findings in one breath: each is kept, or all of it is asked about."""

from __future__ import annotations

from pathlib import Path

import pytest
from rich.text import Text

from fieldlog.cli.event_lines import event_text, events_behind
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.state import State
from fieldlog.shop import events as ev
from tests.shop_bench import Bench, bench, content, language

__all__ = ["bench", "language"]


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
    after = content(bench.inspecting.record)
    again = bench.inspecting.say(heard, "microphone", id=name)
    kept = [
        [each.kept for each in events if isinstance(each, ev.FindingSaved)]
        for events in (first, again)
    ]
    assert len(kept[0]) == 2
    assert kept[0] == kept[1]
    assert content(bench.inspecting.record) == after


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
