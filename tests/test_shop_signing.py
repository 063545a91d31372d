"""The signature, and what is told of everything that comes after it."""

from __future__ import annotations

import pytest

from fieldlog.cli.event_lines import events_text
from fieldlog.report.lines import after_signature
from fieldlog.review.exchanges import exchanges_of
from fieldlog.shop import events as ev
from fieldlog.shop.events import Event
from fieldlog.store.records import NewPhoto
from tests.shop_bench import Bench, bench, language

__all__ = ["bench", "language"]


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
