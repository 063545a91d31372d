"""A mechanic's own words in an inspection: sides, work that was done, remarks without a word."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from fieldlog.aftercare.done import everything_done
from fieldlog.aftercare.files import load_care
from fieldlog.language.files import load_language
from fieldlog.model.context import Context
from fieldlog.model.state import State
from fieldlog.shop import events as ev
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.workshop import Workshop

START = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)


@pytest.fixture
def begun(tmp_path: Path) -> Iterator[Callable[[str | None], Inspecting]]:
    """An inspection in a jurisdiction, to be typed into."""
    shop = Workshop.open(tmp_path / "shop", language=load_language())

    def begin(jurisdiction: str | None) -> Inspecting:
        head = shop.begin("grey twin", Context(jurisdiction), started_at=START)
        return shop.inspecting(head.id)

    yield begin
    shop.close()


Begun = Callable[[str | None], Inspecting]


def test_nearside_is_taken_in_britain_and_asked_about_elsewhere(begun: Begun) -> None:
    (saved,) = begun("GB").type("nearside mirror cracked")
    assert isinstance(saved, ev.FindingSaved)
    assert saved.kept.finding.position == "left"
    for elsewhere in ("US-VA", "DE", None):
        inspecting = begun(elsewhere)
        (asked,) = inspecting.type("nearside mirror cracked")
        assert isinstance(asked, ev.Asked)
        (answered,) = inspecting.type("right")
        assert isinstance(answered, ev.FindingSaved)
        assert answered.kept.finding.position == "right"


@pytest.mark.parametrize("words", ["remark", "remark.", "make a note"])
def test_a_remark_without_a_word_is_refused(begun: Begun, words: str) -> None:
    inspecting = begun("GB")
    (refused,) = inspecting.type(words)
    assert isinstance(refused, ev.Refused)
    assert not inspecting.record.remarks


@pytest.mark.parametrize(
    ("words", "unsure", "sure"),
    [
        ("front tyre 36", "psi?", "psi"),
        ("front tyre 36", "36 psi?", "36 psi"),
        ("mirror cracked", "left?", "left"),
        ("battery twelve six", "yes?", "yes"),
    ],
)
def test_an_answer_that_asks_settles_nothing(
    begun: Begun, words: str, unsure: str, sure: str
) -> None:
    inspecting = begun("GB")
    inspecting.type(words)
    (asked,) = inspecting.type(unsure)
    assert isinstance(asked, ev.Asked)
    assert not inspecting.record.findings
    (saved,) = inspecting.type(sure)
    assert isinstance(saved, ev.FindingSaved)


def test_a_yes_that_asks_takes_no_breath(begun: Begun) -> None:
    inspecting = begun("GB")
    inspecting.type("battery twelve six, horn works")
    (refused,) = inspecting.type("yes?")
    assert isinstance(refused, (ev.Refused, ev.Asked))
    assert not inspecting.record.findings


def test_skip_without_a_reason_asks_for_it(begun: Begun) -> None:
    (asked,) = begun("GB").type("skip the horn")
    assert isinstance(asked, ev.Asked)


def test_work_is_kept_and_judged_by_nothing(begun: Begun) -> None:
    inspecting = begun("GB")
    open_before = inspecting.scene.progress
    (saved,) = inspecting.type("oil changed")
    assert isinstance(saved, ev.FindingSaved)
    verdict = saved.kept.verdict
    assert verdict is not None
    assert (verdict.state, verdict.severity) == (State.UNDECIDED, None)
    assert "work that was done" in verdict.reason
    assert inspecting.scene.progress == open_before  # nobody looked at the oil


def test_work_that_was_typed_feeds_what_comes_due(begun: Begun) -> None:
    inspecting = begun("GB")
    for words in ("oil changed", "front pads replaced", "chain lubed", "air filter replaced"):
        inspecting.type(words)
    inspecting.type("rear tyre worn")
    store, care = inspecting._store, load_care()
    vehicle = inspecting.head.vehicle_id
    done = everything_done(care.intervals, (), (), store.history(vehicle), (), date(2026, 12, 31))
    known = {(each.interval, each.position) for each in done}
    assert {("engine oil", None), ("new pads", "front"), ("air filter", None)} <= known
    assert ("chain lubrication", None) in known
    assert not any(interval == "new tyre" for interval, _ in known)
