"""A session in words: what each utterance puts into the record, and what a correction withdraws."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from fieldlog.audio.clip import RATE, Clip
from fieldlog.hearing import Heard
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.context import Context
from fieldlog.model.hearing import Hearing
from fieldlog.model.understanding import Decision
from fieldlog.shop import events as ev
from fieldlog.shop.events import Event
from fieldlog.shop.happened import understood_by
from fieldlog.shop.workshop import Workshop
from fieldlog.store.records import InspectionRecord
from fieldlog.store.repository import Repository

START = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


class Spoken:
    """A session that is typed into, with a record of its own."""

    def __init__(self, store: Repository, language: InspectionLanguage) -> None:
        self.store, self.language = store, language
        shop = Workshop(store, language=language)
        vehicle = shop.add_vehicle("grey twin", {"rim": "steel"})
        self.id = shop.begin(vehicle.name, Context("US-VA"), started_at=START).id
        self.inspecting = shop.inspecting(self.id)
        self.at = 0.0

    def say(self, words: str) -> Event:
        self.at += 5.0
        sound = np.full(RATE, self.at / 1_000, dtype=np.float32)
        understood = self.language.understand(words)
        heard = Heard(Clip(sound, self.at), Hearing("typed", (), 0.0), understood, (), 0.0)
        return self.inspecting.say(heard, "file")[0]

    @property
    def record(self) -> InspectionRecord:
        return self.store.inspection_record(self.id)

    def standing(self) -> list[tuple[str, str | None, Fraction | None]]:
        return [
            (f.finding.component, f.finding.position,
             f.finding.quantity.value if f.finding.quantity else None)
            for f in self.record.findings if f.stands
        ]  # fmt: skip


@pytest.fixture
def spoken(tmp_path: Path, language: InspectionLanguage) -> Iterator[Spoken]:
    with Repository.open(tmp_path / "record") as store:
        yield Spoken(store, language)


def test_a_finding_is_saved_with_its_verdict_and_its_clip(spoken: Spoken) -> None:
    event = spoken.say("front pads two millimetres")
    assert isinstance(event, ev.FindingSaved)
    (kept,) = spoken.record.findings
    assert kept.finding.quantity is not None
    assert (kept.finding.quantity.value, kept.finding.quantity.unit) == (2, "mm")
    (utterance,) = spoken.record.utterances
    assert utterance.clip is not None
    assert spoken.store.media.fault(utterance.clip) is None
    assert utterance.said_at == datetime(2026, 3, 14, 9, 0, 5, tzinfo=UTC)


@pytest.mark.parametrize(
    ("words", "decision"),
    [("pads two millimetres", Decision.ASK), ("the weather is nice", Decision.REFUSE)],
)
def test_what_is_asked_or_refused_is_kept_but_is_no_finding(
    spoken: Spoken, words: str, decision: Decision
) -> None:
    event = spoken.say(words)
    assert understood_by([event]).decision is decision
    assert spoken.record.findings == ()
    (utterance,) = spoken.record.utterances
    assert (utterance.text, utterance.decision) == (words, decision)
    assert utterance.clip is not None


def test_a_correction_supersedes_the_same_thing(spoken: Spoken) -> None:
    spoken.say("rear pads three millimetres")
    spoken.say("front disc four point two millimetres")
    event = spoken.say("correction rear pads four millimetres")
    assert isinstance(event, ev.FindingCorrected)
    assert ("brake pads", "rear", 4) in spoken.standing()
    assert len(spoken.standing()) == 2
    assert len(spoken.record.findings) == 3  # nothing is ever overwritten


def test_a_bare_correction_takes_the_last_subject(spoken: Spoken) -> None:
    spoken.say("front disc four point two millimetres")
    spoken.say("rear pads three millimetres")
    event = spoken.say("correction four millimetres")
    assert isinstance(event, ev.FindingCorrected)
    assert event.said.text == "correction four millimetres"
    assert spoken.standing() == [
        ("brake disc", "front", Fraction(21, 5)),
        ("brake pads", "rear", 4),
    ]


def test_a_bare_correction_that_does_not_fit_is_asked(spoken: Spoken) -> None:
    spoken.say("rear pads three millimetres")
    event = spoken.say("correction twelve volts")
    assert isinstance(event, ev.Asked)
    assert spoken.standing() == [("brake pads", "rear", 3)]


def test_a_correction_of_something_else_withdraws_nothing(spoken: Spoken) -> None:
    spoken.say("rear tyre sidewall cracked")
    event = spoken.say("correction rear pads four millimetres")
    assert isinstance(event, ev.FindingSaved)
    assert len(spoken.standing()) == 2


def test_a_wrong_end_is_put_right(spoken: Spoken) -> None:
    spoken.say("front pads three millimetres")
    event = spoken.say("correction rear pads three millimetres")
    assert isinstance(event, ev.FindingCorrected)
    assert spoken.standing() == [("brake pads", "rear", 3)]


def test_disregard_withdraws_the_last_and_only_as_a_whole_utterance(spoken: Spoken) -> None:
    spoken.say("front pads three millimetres")
    spoken.say("rear pads four millimetres")
    spoken.say("disregard that itch please")
    assert len(spoken.standing()) == 2
    spoken.say("disregard")
    assert spoken.standing() == [("brake pads", "front", 3)]
    spoken.say("disregard")
    assert spoken.standing() == []
    event = spoken.say("disregard")  # nothing left: kept, does nothing
    assert isinstance(event, ev.NothingToTake)
    assert len(spoken.record.findings) == 2


def test_a_mark_belongs_to_the_finding_before_it(spoken: Spoken) -> None:
    first = spoken.say("left fork seal leaking")
    assert isinstance(first, ev.FindingSaved)
    spoken.say("take photo")
    (mark,) = spoken.record.marks
    assert (mark.name, mark.finding_id) == ("photo", first.kept.id)


def test_a_remark_is_kept_and_never_judged(spoken: Spoken) -> None:
    event = spoken.say("remark the owner says it pulls to the left")
    assert isinstance(event, ev.RemarkKept)
    assert event.text == "the owner says it pulls to the left"
    assert spoken.record.findings == ()
