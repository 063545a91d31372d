"""The service: typed as spoken, every command an event, all of an utterance or nothing of it."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fieldlog import config
from fieldlog.cli.event_lines import event_text, events_text
from fieldlog.errors import StoreError, UsageError
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.listeners.replay import ReplayListener
from fieldlog.model.command import Command
from fieldlog.model.state import State
from fieldlog.review.deciding import offers
from fieldlog.review.exchanges import exchanges_of
from fieldlog.shop import events as ev
from fieldlog.shop.ears import Ears
from fieldlog.shop.events import Event
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.workshop import grammar_fingerprint
from fieldlog.store.repository import Repository
from fieldlog.words import tell
from tests.broken_connection import BrokenConnection
from tests.shop_bench import TALK, Bench, bench, content, language

__all__ = ["bench", "language"]


@pytest.mark.uncounted
def test_typed_words_end_exactly_as_spoken_ones(
    tmp_path: Path, language: InspectionLanguage
) -> None:
    contents = []
    for way in ("say", "type"):
        bench = Bench(tmp_path / way, language)
        for words in TALK:
            getattr(bench, way)(words)
        contents.append(content(bench.inspecting.record))
        bench.shop.close()
    assert contents[0] == contents[1]


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


def test_what_was_typed_and_asked_about_is_offered_to_a_reviewer(bench: Bench) -> None:
    bench.type("front pads two")
    desk = bench.shop.reviewing("last", "R. Jones")
    (one,) = exchanges_of(desk.record)
    (offered,) = offers(one, bench.inspecting.conversation.language.understand)
    desk.choose(one.id, one.state, offered.mark)
    (kept,) = desk.record.findings
    assert tell.finding(kept.finding) == "front brake pads, thickness: 2 mm"


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
