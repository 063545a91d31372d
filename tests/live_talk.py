"""A live session that is typed into, and doubt as the product words it, for the tests of turns."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from fieldlog.aftercare.plan import left_open
from fieldlog.audio.capture import Spoken
from fieldlog.audio.clip import RATE, Clip
from fieldlog.cli.event_lines import events_text
from fieldlog.doubt.decide import doubted
from fieldlog.doubt.files import shipped_rules
from fieldlog.hearing import Judge
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.listeners.typed import TypedListener
from fieldlog.model.context import Context
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.understanding import Decision, Flag, Understanding
from fieldlog.shop.ears import Ears
from fieldlog.shop.live import LiveInspection
from fieldlog.shop.workshop import Workshop
from fieldlog.store.records import InspectionRecord
from fieldlog.store.repository import Repository

START = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


def as_parsed(understanding: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
    return understanding


def unsure(understanding: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
    """Doubt as the doubt module words it, about every finding."""
    from fieldlog.doubt.decide import asked_instead

    if understanding.decision is not Decision.ACCEPT or understanding.finding is None:
        return understanding
    return asked_instead(understanding, (), "not heard clearly enough", Flag.UNSURE)


def clip_at(at: float) -> Clip:
    return Clip(np.full(RATE, 0.1 + at / 10_000, dtype=np.float32), at)


class Talk:
    """A live session that is typed into, ten seconds between two utterances."""

    def __init__(self, store: Repository, language: InspectionLanguage) -> None:
        self.store, self.language = store, language
        self.listener = TypedListener()
        self.listener.load(language)
        self.ears = Ears(language, self.listener, as_parsed)
        shop = Workshop(store, language=language)
        vehicle = shop.add_vehicle("grey twin", {"rim": "steel"})
        self.id = shop.begin(vehicle.name, Context("US-VA"), started_at=START).id
        self.inspecting = shop.inspecting(self.id, self.ears)
        self.live = LiveInspection(self.inspecting)
        self.at = 0.0

    def say(self, words: str, after: float = 10.0) -> str:
        """One utterance of a second; returns the line that is shown."""
        self.at += after
        self.listener.type(words)
        clip = clip_at(self.at)
        spoken = Spoken(clip, 0.0, START + timedelta(seconds=self.at), "microphone")
        (told,) = self.live.spoken(spoken)
        line = events_text(told.events).plain
        self.live.ready()
        self.at += 1.0
        return line

    @property
    def record(self) -> InspectionRecord:
        return self.store.inspection_record(self.id)

    def standing(self) -> list[tuple[str, str | None, object]]:
        return [
            (f.finding.component, f.finding.position,
             (f.finding.quantity.value, f.finding.quantity.unit) if f.finding.quantity else
             f.finding.condition)
            for f in self.record.findings if f.stands
        ]  # fmt: skip

    def open(self) -> list[str]:
        record = self.record
        return [
            u.text for u in record.utterances
            if u.decision is Decision.ASK and left_open(record, u)
        ]  # fmt: skip

    def joins(self) -> list[tuple[int, int]]:
        """Numbers of (answer, question)."""
        numbers = {u.id: u.number for u in self.record.utterances}
        return [(u.number, numbers[u.answers]) for u in self.record.utterances if u.answers]


@pytest.fixture
def talk(tmp_path: Path, language: InspectionLanguage) -> Iterator[Talk]:
    with Repository.open(tmp_path / "record") as store:
        yield Talk(store, language)


def goes_on(*texts: str) -> Judge:
    """Doubt about the end of these utterances: something was said behind their words."""
    rules = shipped_rules()
    tail = rules.more_said["whisper"] - 1.0

    def judge(understanding: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
        said = hearing.hypotheses[0].text if hearing.hypotheses else ""
        sure = {"bend": 0.0, "margin": 8.0, "tokens": 4.0, "logprob": -0.1}
        evidence = {**sure, "tail": tail if said in texts else 0.0}
        heard = Hearing("whisper", (Hypothesis(said, 0.0, evidence),) if said else (), 0.0)
        return doubted(understanding, heard, frozenset(), rules)

    return judge


def doubting(talk: Talk, *texts: str) -> None:
    object.__setattr__(talk.ears, "judge", goes_on(*texts))
