"""What goes on where the next process, or another terminal, takes the inspection up."""

from __future__ import annotations

import pytest

from fieldlog.aftercare.plan import left_open, never_confirmed
from fieldlog.cli.event_lines import event_text
from fieldlog.errors import UsageError
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.understanding import Decision
from fieldlog.shop import events as ev
from tests.shop_bench import Bench, bench, language

__all__ = ["bench", "language"]


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
