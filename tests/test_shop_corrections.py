"""Corrections of a value alone, and what *disregard* takes back."""

from __future__ import annotations

import pytest

from fieldlog.aftercare.plan import never_confirmed
from fieldlog.shop import events as ev
from tests.shop_bench import Bench, bench, language

__all__ = ["bench", "language"]


def test_a_correction_that_was_typed_supersedes(bench: Bench) -> None:
    bench.type("rear tread four thirty seconds")
    (event,) = bench.type("correction rear tread three thirty seconds")
    assert isinstance(event, ev.FindingCorrected)
    assert event.was.number == 1
    assert [each.stands for each in bench.inspecting.record.findings] == [False, True]


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
