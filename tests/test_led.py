"""Led through what is open, questions that wait through interruptions, "read back" of what is named."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from fieldlog.cli.event_lines import events_text
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.context import Context
from fieldlog.shop import events as ev
from fieldlog.shop.events import Event
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.workshop import Workshop

NOW = datetime(2026, 5, 4, 8, 30, tzinfo=UTC)
Kinds = list[type[object]]


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


@pytest.fixture
def talk(tmp_path: Path, language: InspectionLanguage) -> Iterator[Inspecting]:
    with Workshop.open(tmp_path, now=lambda: NOW, language=language) as shop:
        yield shop.inspecting(shop.begin("roadster", Context("US-VA")).id)


def kinds(events: tuple[Event, ...]) -> Kinds:
    return [type(each) for each in events]


def next_in(events: tuple[Event, ...]) -> str | None:
    (told,) = (each for each in events if isinstance(each, ev.NextTold))
    return told.item


# --- led -------------------------------------------------------------------------------------------


def test_go_ahead_leads_through_the_walk_until_it_is_told_not_to(talk: Inspecting) -> None:
    assert kinds(talk.type("front tyre pressure thirty three psi")) == [ev.FindingSaved]
    assert next_in(talk.type("go ahead")) == "battery"
    assert next_in(talk.type("battery twelve six volts")) == "rear tyre"
    assert kinds(talk.type("horn works")) == [ev.FindingSaved]  # what comes next is the same still
    assert next_in(talk.type("rear tyre pressure thirty six psi")) == "registration"
    assert next_in(talk.type("skip the registration no time")) == "insurance"
    assert kinds(talk.type("on my own")) == [ev.OnYourOwn]
    assert kinds(talk.type("odometer fifteen thousand miles")) == [ev.FindingSaved]


def test_standing_by_leads_nowhere_and_go_ahead_takes_it_up_again(talk: Inspecting) -> None:
    talk.type("go ahead")
    talk.type("stand by")
    assert kinds(talk.type("battery twelve six volts")) == [ev.HeldBack]
    assert kinds(talk.type("go ahead")) == [ev.GoingAhead, ev.NextTold]


def test_go_ahead_after_standing_by_does_not_lead_who_was_not_led(talk: Inspecting) -> None:
    talk.type("stand by")
    (ahead,) = talk.type("go ahead")
    assert isinstance(ahead, ev.GoingAhead)
    assert not ahead.led


def test_the_next_process_goes_on_leading(
    talk: Inspecting, tmp_path: Path, language: InspectionLanguage
) -> None:
    talk.type("go ahead")
    with Workshop.open(tmp_path, now=lambda: NOW, language=language) as shop:
        assert next_in(shop.inspecting("last").type("battery twelve six volts")) == "front tyre"


def test_nobody_is_led_on_while_a_question_waits(talk: Inspecting) -> None:
    talk.type("go ahead")
    assert kinds(talk.type("battery twelve six")) in ([ev.Asked], [ev.FindingSaved, ev.NextTold])
    assert kinds(talk.type("pads two millimetres")) == [ev.Asked]
    assert kinds(talk.type("take photo")) == [ev.Marked]
    assert kinds(talk.type("front"))[0] is ev.FindingSaved


def test_what_is_left_is_the_next_item_and_a_count(talk: Inspecting) -> None:
    events = talk.type("what is left")
    (told,) = events
    assert isinstance(told, ev.OpenTold)
    line = events_text(events).plain
    assert f"{len(told.left)} to look at" in line
    assert "next: battery (charge) (before start)" in line
    assert len(line) < 160


# --- questions through interruptions ---------------------------------------------------------------


def test_a_finding_in_between_does_not_lose_the_question(talk: Inspecting) -> None:
    talk.type("rear tyre pressure thirty six")
    saved, again = talk.type("horn works")
    assert isinstance(saved, ev.FindingSaved)
    assert isinstance(again, ev.AskedAgain)
    assert again.asked.question_text in events_text((again,)).plain
    (event,) = talk.type("psi")
    assert isinstance(event, ev.FindingSaved)
    assert (event.kept.finding.component, event.kept.finding.position) == ("tyre", "rear")
    assert event.said.answers == again.asked


def test_say_again_repeats_the_question_that_was_told_again(talk: Inspecting) -> None:
    talk.type("pads two millimetres")
    talk.type("horn works")
    (event,) = talk.type("say again")
    assert isinstance(event, ev.SaidAgain)
    assert kinds(event.told) == [ev.FindingSaved, ev.AskedAgain]


def test_a_question_is_told_again_once(talk: Inspecting) -> None:
    talk.type("pads two millimetres")
    talk.type("horn works")
    assert kinds(talk.type("left mirror cracked")) == [ev.FindingSaved]
    assert kinds(talk.type("front")) == [ev.Refused]


def test_the_question_before_comes_back_when_the_later_one_is_answered(talk: Inspecting) -> None:
    talk.type("pads three millimetres")
    talk.type("rear tread four")
    first, again = talk.type("affirm")
    assert isinstance(first, ev.FindingSaved)
    assert first.kept.finding.component == "tyre"
    assert isinstance(again, ev.AskedAgain)
    (event,) = talk.type("front")
    assert isinstance(event, ev.FindingSaved)
    assert event.kept.finding.component == "brake pads"


def test_disregard_after_a_question_told_again_is_of_the_finding_said_last(
    talk: Inspecting,
) -> None:
    talk.type("pads two millimetres")
    talk.type("horn works")
    (event,) = talk.type("disregard that")
    assert isinstance(event, ev.FindingWithdrawn)
    assert event.was.finding.component == "horn"
    assert kinds(talk.type("front")) == [ev.FindingSaved]


def test_a_bare_correction_after_a_question_told_again_changes_nothing_unasked(
    talk: Inspecting,
) -> None:
    talk.type("rear pads two")
    talk.type("front pads three millimetres")
    (event,) = talk.type("correction four millimetres")
    assert isinstance(event, ev.Asked)
    (found,) = talk.record.findings
    assert found.finding.quantity is not None
    assert found.finding.quantity.value == 3


def test_what_is_open_tells_the_question_that_nobody_answered(talk: Inspecting) -> None:
    for words in ("pads two millimetres", "horn works", "left mirror cracked"):
        talk.type(words)
    told, again = talk.type("what is left")
    assert isinstance(told, ev.OpenTold)
    assert isinstance(again, ev.AskedAgain)
    (event,) = talk.type("the rear one")
    assert isinstance(event, ev.FindingSaved)
    assert event.kept.finding.position == "rear"


def test_negative_closes_what_was_told_again_and_nothing_else(talk: Inspecting) -> None:
    talk.type("pads two millimetres")
    talk.type("horn works")
    assert kinds(talk.type("negative")) == [ev.QuestionClosed]
    assert [each.stands for each in talk.record.findings] == [True]
    assert kinds(talk.type("what is left")) == [ev.OpenTold]


# --- read back -------------------------------------------------------------------------------------


def test_read_back_of_what_is_named_is_of_that(talk: Inspecting) -> None:
    for words in ("rear tread four thirty seconds", "rear tyre pressure thirty six psi"):
        talk.type(words)
    talk.type("front tread five thirty seconds")
    (event,) = talk.type("read back the rear tyre")
    assert isinstance(event, ev.ReadBack)
    assert event.kept is not None
    assert [each.number for each in (*event.before, event.kept)] == [1, 2]
    line = events_text((event,)).plain
    assert "4/32 in" in line
    assert "36 psi" in line
    assert "5/32" not in line


def test_read_back_of_what_nobody_found_says_so(talk: Inspecting) -> None:
    talk.type("horn works")
    (event,) = talk.type("read back the front tyre")
    assert isinstance(event, ev.ReadBack)
    assert event.kept is None
    assert "no finding stands" in events_text((event,)).plain
