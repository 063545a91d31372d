"""Read-backs that ask for "affirm": the finding is kept whatever is answered, but for "negative"."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from fieldlog.audio.tones import Tone
from fieldlog.language.files import load_language
from fieldlog.model.context import Context
from fieldlog.report.lines import NOT_AFFIRMED, not_settled
from fieldlog.shop import events as ev
from fieldlog.shop.events import Event
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.saying import Say, saying
from fieldlog.shop.workshop import Workshop
from fieldlog.store.affirmed import unaffirmed
from fieldlog.store.records import EventName
from fieldlog.store.repository import Repository

LANGUAGE = load_language()


@pytest.fixture
def inspecting(tmp_path: Path) -> Iterator[Inspecting]:
    with Repository.open(tmp_path / "record") as store:
        shop = Workshop(store, language=LANGUAGE)
        vehicle = shop.add_vehicle("grey twin", {})
        made = shop.inspecting(shop.begin(vehicle.name, Context("US-VA")).id)
        made.affirming.asks = True
        yield made


def standing(inspecting: Inspecting) -> list[str]:
    return [each.finding.component for each in inspecting.record.findings if each.stands]


def kinds(events: tuple[Event, ...]) -> list[type[Event]]:
    return [type(each) for each in events]


def said(events: tuple[Event, ...], how: Say = Say.VALUES) -> str:
    return saying(events, how).words


def test_what_is_dangerous_is_in_the_record_before_it_is_asked_about(
    inspecting: Inspecting,
) -> None:
    told = inspecting.type("front pads zero millimetres")
    assert kinds(told) == [ev.FindingSaved, ev.ToAffirm]
    assert said(told) == "confirm, dangerous, front brake pads, thickness, zero millimetres."
    assert standing(inspecting) == ["brake pads"]
    assert [each.finding.component for each in unaffirmed(inspecting.record)] == ["brake pads"]
    (line,) = not_settled(inspecting.record)
    assert line == (
        "not affirmed",
        "1, front brake pads, thickness: 0 mm: to be affirmed, and nobody did",
    )


def test_affirm_is_kept_and_changes_nothing_else(inspecting: Inspecting) -> None:
    inspecting.type("front pads zero millimetres")
    before = inspecting.record.findings
    told = inspecting.type("affirm")
    assert kinds(told) == [ev.Affirmed]
    assert said(told) == "affirmed."
    assert inspecting.record.findings == before
    assert unaffirmed(inspecting.record) == ()
    assert kinds(inspecting.type("affirm")) == [ev.NothingToTake]  # it is said once


def test_negative_takes_it_back_and_says_so(inspecting: Inspecting) -> None:
    inspecting.type("left mirror cracked")
    inspecting.type("frame cracked")
    told = inspecting.type("negative")
    assert kinds(told) == [ev.FindingWithdrawn]
    assert said(told) == "not affirmed, taken back. say it again."
    assert standing(inspecting) == ["mirror"]
    assert unaffirmed(inspecting.record) == ()
    assert kinds(inspecting.type("negative")) == [ev.NothingToTake]


def test_who_goes_on_without_an_answer_loses_nothing(inspecting: Inspecting) -> None:
    inspecting.type("front pads zero millimetres")
    inspecting.type("left mirror cracked")
    assert kinds(inspecting.type("negative")) == [ev.NothingToTake]  # of the mirror nobody asked
    assert standing(inspecting) == ["brake pads", "mirror"]
    assert [each.finding.component for each in unaffirmed(inspecting.record)] == ["brake pads"]


def test_a_correction_takes_its_place_and_is_said_back(inspecting: Inspecting) -> None:
    inspecting.type("front pads zero millimetres")
    told = inspecting.type("correction five millimetres")
    assert kinds(told) == [ev.FindingCorrected]
    assert said(told) == "corrected, front brake pads, thickness, five millimetres."
    assert unaffirmed(inspecting.record) == ()


def test_of_a_breath_each_is_asked_about_in_its_turn(inspecting: Inspecting) -> None:
    told = inspecting.type("front pads zero millimetres and frame cracked")
    assert said(told) == "confirm, dangerous, front brake pads, thickness, zero millimetres."
    told = inspecting.type("affirm")
    assert said(told) == "affirmed. confirm, dangerous, frame, cracked."
    inspecting.type("negative")
    assert standing(inspecting) == ["brake pads"]
    assert unaffirmed(inspecting.record) == ()


def test_where_a_question_waits_affirm_is_to_that(inspecting: Inspecting) -> None:
    inspecting.type("pads two millimetres")
    told = inspecting.type("frame cracked")
    assert said(told).startswith("dangerous, frame, cracked. which end")
    assert kinds(inspecting.type("front")) == [ev.FindingSaved]
    assert [each.finding.component for each in unaffirmed(inspecting.record)] == ["frame"]


def test_a_face_that_says_nothing_asks_for_nothing(inspecting: Inspecting) -> None:
    inspecting.affirming.asks = False
    assert kinds(inspecting.type("frame cracked")) == [ev.FindingSaved]
    assert kinds(inspecting.type("affirm")) == [ev.NothingToTake]
    assert not [each for each in inspecting.record.events if each.name == EventName.READ_BACK]


def test_a_twin_that_would_stand_otherwise_is_said_digit_by_digit(inspecting: Inspecting) -> None:
    """Thirty is within (common practice), thirteen would not be."""
    told = inspecting.type("vent hose length below frame thirty millimetres")
    assert saying(told, Say.VALUES).tone is Tone.ASKED
    assert said(told) == (
        "confirm, within its limit, vent hose, length below frame, three zero millimetres."
    )
    assert standing(inspecting) == ["vent hose"]
    told = inspecting.type("left mirror tight")
    assert not any(isinstance(each, ev.ToAffirm) for each in told)


@pytest.mark.parametrize(
    ("how", "words", "tone", "text"),
    [
        (Say.NOTHING, "frame cracked", None, ""),
        (Say.TONES, "frame cracked", Tone.BEYOND, ""),
        (Say.VALUES, "rear pads five millimetres", Tone.SAVED, ""),
        (Say.VALUES, "left mirror cracked", Tone.SAVED, "faulty, left mirror, cracked."),
        (Say.VALUES, "pads two millimetres", Tone.ASKED, "which end, front or rear?"),
        (Say.VALUES, "what a lovely morning", Tone.NOT_UNDERSTOOD, ""),
        (
            Say.EVERYTHING,
            "what a lovely morning",
            Tone.NOT_UNDERSTOOD,
            "not understood, say again.",
        ),
        (
            Say.EVERYTHING,
            "rear pads five millimetres",
            Tone.SAVED,
            "saved, rear brake pads, thickness, five millimetres.",
        ),
        (Say.VALUES, "stand by", Tone.SAVED, "standing by."),
        (Say.VALUES, "read back", Tone.SAVED, "no finding stands."),
    ],
)
def test_how_much_is_said(
    inspecting: Inspecting, how: Say, words: str, tone: Tone | None, text: str
) -> None:
    told = saying(inspecting.type(words), how)
    assert (told.tone, told.words) == (tone, text)


def test_what_is_left_is_the_next_item_and_a_count(inspecting: Inspecting) -> None:
    words = said(inspecting.type("what is left"))
    assert words.startswith("next, ")
    assert words.endswith("things are left.")
    assert len(words.split()) < 16


def test_the_report_marks_what_was_to_be_affirmed_and_was_not(
    inspecting: Inspecting, tmp_path: Path
) -> None:
    """Of a breath the others count too, though nobody heard them: the first got no answer."""
    inspecting.type("left mirror cracked")
    inspecting.type("front pads zero millimetres and frame cracked")
    inspecting.type("horn works")
    assert [each.finding.component for each in unaffirmed(inspecting.record)] == [
        "brake pads",
        "frame",
    ]
    with Workshop.open(inspecting.store_folder) as shop:
        page = shop.report("last", tmp_path / "out", ("html",)).files[0].read_text("utf-8")
    assert page.count(f'<p class="notes">{NOT_AFFIRMED}') == 2
    inspecting.type("front pads zero millimetres and frame cracked")
    for left in (1, 0):
        inspecting.type("affirm")
        assert len(unaffirmed(inspecting.record)) == 2 + left


@pytest.mark.parametrize("word", ["disregard that", "negative"])
def test_what_is_brought_back_is_to_be_affirmed_again(inspecting: Inspecting, word: str) -> None:
    inspecting.type("frame cracked")
    inspecting.type("correction frame bent")
    told = inspecting.type(word)
    assert kinds(told) == [ev.FindingBroughtBack, ev.ToAffirm]
    assert [each.finding.condition for each in unaffirmed(inspecting.record)] == ["cracked"]
    assert kinds(inspecting.type("affirm")) == [ev.Affirmed]
    assert unaffirmed(inspecting.record) == ()


def test_what_it_owed_it_owes_where_nothing_is_read_back(inspecting: Inspecting) -> None:
    """In a later session, without a voice: it is among what is open, and asked before signing."""
    inspecting.type("frame cracked")
    inspecting.affirming.asks = False
    inspecting.type("correction frame rusted")
    assert unaffirmed(inspecting.record) == ()
    inspecting.type("disregard that")
    (owed,) = unaffirmed(inspecting.record)
    assert (owed.number, owed.finding.condition) == (3, "cracked")
    assert next(iter(not_settled(inspecting.record)))[0] == "not affirmed"
    assert [each.number for each in inspecting.before_signing().unaffirmed] == [3]


def test_what_was_affirmed_before_owes_nothing_brought_back(inspecting: Inspecting) -> None:
    for words in ("frame cracked", "affirm"):
        inspecting.type(words)
    inspecting.affirming.asks = False
    for words in ("correction frame rusted", "disregard that"):
        inspecting.type(words)
    assert unaffirmed(inspecting.record) == ()


def test_a_breath_that_is_taken_back_is_asked_about_no_more(inspecting: Inspecting) -> None:
    inspecting.type("front pads zero millimetres and frame cracked")
    assert kinds(inspecting.type("disregard that")) == [ev.FindingWithdrawn] * 2
