"""Going through an inspection: every decision once, nothing lost, nobody overwritten."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fieldlog.audio.clip import RATE, Clip
from fieldlog.errors import ChangedError, UnsureError, UsageError
from fieldlog.hearing import Heard
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.context import Context
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.review.deciding import offers
from fieldlog.review.exchanges import Exchange, exchanges_of, placed_photos
from fieldlog.shop.reviewing import Reviewing
from fieldlog.shop.sheets import Sheets
from fieldlog.shop.workshop import Workshop
from fieldlog.store.records import NewPhoto
from fieldlog.store.reviews import Decided

SURE = {"margin": 8.0, "logprob": -0.05, "bend": 0.0, "tail": 0.0, "tokens": 10.0}


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


class Desk:
    """An inspection that was spoken, and somebody who goes through it."""

    def __init__(self, folder: Path, language: InspectionLanguage) -> None:
        self.shop = Workshop.open(folder, language=language)
        self.shop.add_vehicle("grey twin", {"rim": "steel"})
        head = self.shop.begin("grey twin", Context("US-VA"), inspector="A. Smith")
        self.inspecting = self.shop.inspecting(head.id)
        self.key, self.at = head.id, 0.0
        self.reviewing = self.sits("R. Jones")

    def sits(self, name: str) -> Reviewing:
        return self.shop.reviewing(self.key, name)

    def say(self, words: str, *others: str, refused: bool = False) -> None:
        self.at += 5.0
        clip = Clip(np.full(RATE // 10, self.at / 1_000, dtype=np.float32), self.at)
        typed = self.inspecting.conversation.typed(words)
        said = typed.understanding
        if refused:
            said = Understanding(Decision.REFUSE, Kind.NOTHING, "nothing fits", words)
        told = tuple(Hypothesis(text, 0.0, SURE) for text in (words, *others))
        heard = Heard(clip, Hearing("whisper", told, 1.0), said, others, 1.0, typed.complete,
                      answers=typed.answers)  # fmt: skip
        self.inspecting.say(heard, "microphone")

    @property
    def exchanges(self) -> tuple[Exchange, ...]:
        return exchanges_of(self.inspecting.record)

    def exchange(self, number: int = 0) -> tuple[str, str]:
        """What is handed over about a exchange."""
        one = self.exchanges[number]
        return one.id, one.state

    def standing(self) -> list[str]:
        return [f"{f.finding.position} {f.finding.component} "
                f"{f.finding.quantity.value if f.finding.quantity else f.finding.condition}"
                for f in self.inspecting.record.findings if f.stands]  # fmt: skip

    def decided(self) -> list[str]:
        return [each.decided.value for each in self.inspecting.record.decisions]


@pytest.fixture
def desk(tmp_path: Path, language: InspectionLanguage) -> Iterator[Desk]:
    made = Desk(tmp_path / "shop", language)
    yield made
    made.shop.close()


def test_the_list_tells_the_worst_of_a_breath(desk: Desk) -> None:
    desk.say("drive chain dry, rear tyre worn")
    (line,) = Sheets(desk.shop).sheet(desk.key).shown()["items"]
    assert (line["state"], line["severity"]) == ("faulty", "major")


def test_what_was_heard_right_stays_and_is_kept_as_decided(desk: Desk) -> None:
    desk.say("rear brake pads two millimetres")
    desk.reviewing.accept(*desk.exchange())
    assert desk.exchanges[0].decided is not None
    assert desk.decided() == ["as heard"]
    desk.reviewing.undo()
    assert [one.decided for one in desk.exchanges] == [None]
    assert [each.decided for each in desk.inspecting.record.reviews] == [
        Decided.AS_HEARD,
        Decided.UNDONE,
    ]
    assert desk.standing() == ["rear brake pads 2"]


def test_another_reading_takes_the_place_of_what_was_taken(desk: Desk) -> None:
    desk.say("rear brake pads two millimetres", "rear brake pads ten millimetres")
    desk.reviewing.take(*desk.exchange(), ["rear brake pads ten millimetres"])
    assert desk.standing() == ["rear brake pads 10"]
    exchange = desk.exchanges[0]
    assert len(desk.exchanges) == 1  # what the reviewer took is of the same exchange
    assert exchange.decided is not None
    assert exchange.decided.decided is Decided.CORRECTED
    desk.reviewing.undo()
    assert desk.standing() == ["rear brake pads 2"]
    assert desk.exchanges[0].decided is None
    assert len(desk.inspecting.record.findings) == 3  # nothing is overwritten


def test_what_means_the_same_corrects_nothing(desk: Desk) -> None:
    desk.say("rear brake pads two millimetres")
    desk.reviewing.take(*desk.exchange(), ["rear pads at 2 mm"])
    assert desk.decided() == ["as heard"]
    assert len(desk.inspecting.record.findings) == 1


def test_two_findings_are_made_of_one_and_back(desk: Desk) -> None:
    desk.say("front tyre pressure thirty four psi")
    lines = ["front tyre pressure thirty psi", "rear tyre pressure forty psi"]
    desk.reviewing.take(*desk.exchange(), lines)
    assert desk.standing() == ["front tyre 30", "rear tyre 40"]
    desk.reviewing.undo()
    assert desk.standing() == ["front tyre 34"]
    assert len(desk.exchanges) == 1


def test_a_breath_is_put_right_in_one_place_and_the_rest_stays(desk: Desk) -> None:
    desk.say("rear brake pads three millimetres then front two millimetres")
    before = [each.id for each in desk.inspecting.record.findings]
    lines = ["rear brake pads three millimetres", "front brake pads four millimetres"]
    desk.reviewing.take(*desk.exchange(), lines)
    assert desk.standing() == ["rear brake pads 3", "front brake pads 4"]
    assert before[0] in [each.id for each in desk.inspecting.record.findings if each.stands]


def test_half_of_a_breath_typed_does_not_lose_the_other_half(desk: Desk) -> None:
    desk.say("rear brake pads three millimetres then front two millimetres")
    with pytest.raises(UnsureError, match="leaves out rear brake pads"):
        desk.reviewing.take(*desk.exchange(), ["front brake pads five millimetres"])
    assert desk.standing() == ["rear brake pads 3", "front brake pads 2"]
    desk.reviewing.take(*desk.exchange(), ["front brake pads five millimetres"], sure=True)
    assert desk.standing() == ["front brake pads 5"]


def test_what_nobody_said_is_withdrawn_and_comes_back(desk: Desk) -> None:
    desk.say("rear brake pads three millimetres then front two millimetres")
    desk.reviewing.nothing(*desk.exchange())
    assert desk.standing() == []
    desk.reviewing.undo()
    assert desk.standing() == ["rear brake pads 3", "front brake pads 2"]
    assert len(desk.exchanges) == 1


def test_photos_of_what_is_withdrawn_come_back_with_it(desk: Desk) -> None:
    desk.say("rear brake pads three millimetres then front two millimetres")
    store, findings = desk.shop.store, [each.id for each in desk.inspecting.record.findings]
    for number, of in enumerate(findings):
        name = store.add_photo(
            desk.key, NewPhoto(f"{number}" * 64 + ".jpg", f"{number}.JPG", "jpeg")
        )
        store.attach(desk.key, name, of, reason="marked")

    def places() -> list[str | None]:
        record = desk.inspecting.record
        at = placed_photos(record)
        told = {f.id: str(f.finding.position) for f in record.findings}
        return [told.get(at[each.id] or "") for each in record.photos]

    assert places() == ["rear", "front"]
    desk.reviewing.nothing(*desk.exchange())
    assert places() == [None, None]
    desk.reviewing.undo()
    assert places() == ["rear", "front"]
    lines = ["rear brake pads five millimetres", "front brake pads six millimetres"]
    desk.reviewing.take(*desk.exchange(), lines)
    assert places() == ["rear", "front"]
    desk.reviewing.undo()
    assert places() == ["rear", "front"]
    assert sorted(desk.standing()) == ["front brake pads 2", "rear brake pads 3"]


def test_an_open_question_wants_a_reading(desk: Desk) -> None:
    desk.say("brake pads two millimetres")  # which end?
    with pytest.raises(UsageError):
        desk.reviewing.accept(*desk.exchange())
    offered = offers(desk.exchanges[0], desk.inspecting.conversation.understand)
    with pytest.raises(ChangedError):
        desk.reviewing.choose(*desk.exchange(), "never offered")
    desk.reviewing.choose(*desk.exchange(), offered[0].mark)
    assert desk.standing() == ["front brake pads 2"]
    assert desk.decided() == ["added"]
    assert len(desk.exchanges) == 1
    desk.reviewing.undo()
    assert desk.standing() == []
    assert desk.exchanges[0].decided is None


def test_a_question_that_was_nothing_is_open_no_more(desk: Desk) -> None:
    desk.say("brake pads two millimetres")
    assert desk.inspecting.before_signing() is not None
    from fieldlog.aftercare.plan import never_confirmed

    assert never_confirmed(desk.inspecting.record) == 1
    desk.reviewing.take(*desk.exchange(), ["front brake pads two millimetres"])
    assert never_confirmed(desk.inspecting.record) == 0
    desk.reviewing.undo()  # what was asked is asked again: it must not be gone
    assert never_confirmed(desk.inspecting.record) == 1
    desk.reviewing.nothing(*desk.exchange())
    assert never_confirmed(desk.inspecting.record) == 0
    desk.reviewing.undo()
    assert never_confirmed(desk.inspecting.record) == 1


def test_what_was_not_understood_is_typed_at_its_instant(desk: Desk) -> None:
    desk.say("mumble", refused=True)
    desk.reviewing.take(*desk.exchange(), ["left fork seal leaking"])
    record = desk.inspecting.record
    assert desk.standing() == ["left fork seal leaking"]
    assert record.utterances[1].said_at == record.utterances[0].said_at
    assert len(desk.exchanges) == 1


def test_words_that_are_asked_about_count_only_when_sure(desk: Desk) -> None:
    desk.say("rear tread four thirty seconds")
    odd = ["rear tread forty three thirty seconds"]
    with pytest.raises(UsageError):
        desk.reviewing.take(*desk.exchange(), odd)
    with pytest.raises(UsageError):
        desk.reviewing.take(*desk.exchange(), ["blah blah"])
    with pytest.raises(UsageError):
        desk.reviewing.take(*desk.exchange(), ["  "])
    with pytest.raises(UsageError):
        desk.reviewing.take(*desk.exchange(), ["front pads"], sure=True)
    assert desk.decided() == []
    desk.reviewing.take(*desk.exchange(), odd, sure=True)
    assert desk.standing() == ["rear tyre 43/32"]


def test_two_people_do_not_overwrite_each_other(desk: Desk) -> None:
    desk.say("rear brake pads two millimetres")
    seen = desk.exchange()
    other = desk.sits("B. Brown")
    other.take(*seen, ["rear brake pads five millimetres"])
    late: tuple[Callable[[], object], ...] = (
        lambda: desk.reviewing.accept(*seen),
        lambda: desk.reviewing.take(*seen, ["rear brake pads nine millimetres"]),
        lambda: desk.reviewing.nothing(*seen),
    )
    for decide in late:
        with pytest.raises(ChangedError, match="Brown decided about this meanwhile"):
            decide()
    assert desk.standing() == ["rear brake pads 5"]
    with pytest.raises(UsageError):
        desk.reviewing.undo()  # what somebody else decided is theirs to take back


def test_what_changes_elsewhere_is_seen(desk: Desk) -> None:
    desk.say("rear brake pads two millimetres")
    desk.say("left fork seal leaking")
    pads, seal = desk.exchange(0), desk.exchange(1)
    desk.inspecting.type("correction rear brake pads six millimetres")
    with pytest.raises(ChangedError, match="changed meanwhile"):
        desk.reviewing.accept(*pads)
    desk.reviewing.accept(*seal)  # of that nothing changed


def test_a_write_between_looking_and_saving_is_looked_at_anew(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk.say("rear brake pads two millimetres")
    seen = desk.exchange()
    save = desk.shop.store.save
    between: list[Callable[[], object]] = [lambda: desk.inspecting.type("left fork seal leaking")]

    def overtaken(*args: Any, **more: Any) -> Any:
        if between:
            between.pop()()
        return save(*args, **more)

    monkeypatch.setattr(desk.shop.store, "save", overtaken)
    desk.reviewing.accept(*seen)
    assert desk.decided() == ["as heard"]
    between.append(lambda: desk.sits("B. Brown").nothing(*desk.exchange()))
    monkeypatch.undo()
    monkeypatch.setattr(desk.shop.store, "save", overtaken)
    with pytest.raises(ChangedError):
        desk.reviewing.take(*desk.exchange(), ["rear brake pads nine millimetres"])
    assert desk.standing() == ["left fork seal leaking"]


def test_a_correction_afterwards_asks_for_a_decision_again(desk: Desk) -> None:
    desk.say("brake pads two millimetres")
    desk.reviewing.take(*desk.exchange(), ["front brake pads two millimetres"])
    number = desk.inspecting.record.findings[-1].number
    later = desk.inspecting.conversation.understand("front brake pads three millimetres")
    desk.inspecting.correct(number, later, "by another hand")
    assert desk.standing() == ["front brake pads 3"]


def test_photos_move_and_come_back(desk: Desk) -> None:
    desk.say("rear brake pads two millimetres")
    desk.say("left fork seal leaking")
    store = desk.shop.store
    photo = store.add_photo(desk.key, NewPhoto("0" * 64 + ".jpg", "IMG_1.JPG", "jpeg"))

    def at() -> tuple[str | None, str | None]:
        kept = desk.inspecting.record.photos[0].attachment
        return (kept.id, kept.finding_id) if kept else (None, None)

    findings = [each.id for each in desk.inspecting.record.findings]
    desk.reviewing.move(photo, 1, None)
    assert at()[1] == findings[0]
    with pytest.raises(ChangedError):
        desk.reviewing.move(photo, 2, None)
    desk.reviewing.move(photo, 2, at()[0])
    desk.reviewing.undo()
    assert at()[1] == findings[0]
    with pytest.raises(UsageError):
        desk.reviewing.move(photo, 9, at()[0])


def test_a_remark_is_kept_and_is_no_decision(desk: Desk) -> None:
    desk.say("rear brake pads two millimetres")
    desk.reviewing.remark(*desk.exchange(), "looked at it again: it pulls")
    assert [each.text for each in desk.inspecting.record.remarks] == [
        "looked at it again: it pulls"
    ]
    with pytest.raises(UsageError):
        desk.reviewing.remark(*desk.exchange(), " ")
    assert desk.exchanges[0].decided is None


def test_decisions_of_two_copies_merge(
    desk: Desk, tmp_path: Path, language: InspectionLanguage
) -> None:
    desk.say("rear brake pads two millimetres")
    desk.say("left fork seal leaking")
    shutil.copytree(desk.shop.store.folder, tmp_path / "copy")
    with Workshop.open(tmp_path / "copy", language=language) as copy:
        there = copy.reviewing(desk.key, "B. Brown")
        there.take(*desk.exchange(0), ["rear brake pads five millimetres"])
    desk.reviewing.accept(*desk.exchange(0))
    desk.reviewing.accept(*desk.exchange(1))
    desk.shop.store.merge(tmp_path / "copy")
    assert sorted(desk.decided()) == ["as heard", "as heard", "corrected"]
    assert desk.standing() == ["left fork seal leaking", "rear brake pads 5"]
    assert desk.shop.store.verify().agrees
