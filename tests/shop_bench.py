"""A workshop with one inspection, spoken and typed into, for the tests of the service."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fieldlog.audio.clip import RATE, Clip
from fieldlog.hearing import Heard
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.context import Context
from fieldlog.model.hearing import Hearing
from fieldlog.shop.events import Event
from fieldlog.shop.workshop import Workshop

START = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


class Bench:
    """A workshop with one inspection, spoken and typed into."""

    def __init__(self, folder: Path, language: InspectionLanguage) -> None:
        self.shop = Workshop.open(folder, language=language)
        vehicle = self.shop.add_vehicle("grey twin", {"rim": "steel", "cooling": "air"})
        context = Context("US-VA", {"charge": "charged"})
        head = self.shop.begin(vehicle.name, context, started_at=START, inspector="A. Smith")
        self.inspecting = self.shop.inspecting(head.id)
        self.at = 0.0

    def heard(self, words: str) -> Heard:
        self.at += 5.0
        clip = Clip(np.full(RATE // 10, self.at / 1_000, dtype=np.float32), self.at)
        typed = self.inspecting.conversation.typed(words)
        return replace(typed, clip=clip, hearing=Hearing("told", (), 0.0))

    def say(self, words: str) -> tuple[Event, ...]:
        return self.inspecting.say(self.heard(words), "microphone")

    def type(self, words: str) -> tuple[Event, ...]:
        return self.inspecting.type(words)

    def anew(self) -> None:
        """As the next process meets it."""
        self.inspecting = self.shop.inspecting(self.inspecting.head.id)

    def standing(self) -> list[str]:
        return [
            f"{each.finding.position} {each.finding.component}"
            for each in self.inspecting.record.findings
            if each.stands
        ]


@pytest.fixture
def bench(tmp_path: Path, language: InspectionLanguage) -> Iterator[Bench]:
    made = Bench(tmp_path / "shop", language)
    yield made
    made.shop.close()


TALK = (
    "rear tread four thirty seconds",
    "correction rear tread three thirty seconds",
    "pads two millimetres",
    "front",
    "left fork seal leaking",
    "disregard",
    "skip the horn because no time",
    "remark pulls to the left",
    "take photo",
    "lovely weather",
    "battery cell one one point two two",
    "battery cell two one point two six",
    "correction battery cell one one point two six",
)


def content(record: Any) -> list[object]:
    """What a record says, without the names, instants and sound of its rows."""
    return [
        [(u.text, u.decision, u.kind, u.question, u.dialogue) for u in record.utterances],
        [
            (
                f.number,
                f.finding,
                f.stands,
                f.reason,
                f.verdict and (f.verdict.state, f.verdict.gate),
            )
            for f in record.findings
        ],
        [(r.text) for r in record.remarks],
        [(m.name, m.finding_id is None) for m in record.marks],
        [(e.name, e.text, dict(e.data)) for e in record.events],
    ]
