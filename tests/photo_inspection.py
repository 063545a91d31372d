"""An invented inspection in a store, with spoken findings and marks at known instants."""

from __future__ import annotations

import random
from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction
from pathlib import Path

from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.store.records import NewEntry, NewUtterance
from fieldlog.store.repository import Repository
from tests.photo_files import save
from tests.store_samples import START, ticking

CAMERA_BEHIND = timedelta(hours=1, minutes=2, seconds=7)
"""The invented camera's clock is this much behind the session clock."""


@dataclass(frozen=True)
class Invented:
    """The store, its inspection, and when each finding was said (session clock)."""

    store: Repository
    inspection_id: str
    findings: tuple[tuple[str, datetime], ...]
    """(id, end of the utterance)."""


def invent(folder: Path, count: int = 12, *, zone: str = "+00:00", seed: int = 1) -> Invented:
    """Open a store with ``count`` findings, each followed by the mark "photo"."""
    rng = random.Random(seed)
    store = Repository.open(folder, now=ticking())
    vehicle = store.add_vehicle("blue roadster", facts={"year": "2012"})
    inspection = store.start_inspection(vehicle.id, started_at=START, zone=zone)
    at = START
    found = []
    for number in range(count):
        at += timedelta(seconds=rng.uniform(15, 70))
        finding = Finding(
            "brake pads", ("front", "rear")[number % 2], "thickness", Quantity(Fraction(3), "mm")
        )
        saved = store.save(
            inspection.id, NewEntry(_utterance(f"pads {number}", at, 2.0), finding=finding)
        )
        at += timedelta(seconds=2)
        assert saved.finding_id is not None
        found.append((saved.finding_id, at))
        at += timedelta(seconds=1)
        store.save(
            inspection.id,
            NewEntry(_utterance("photo", at, 0.6), mark="photo", marks=saved.finding_id),
        )
    return Invented(store, inspection.id, tuple(found))


def take_photos(invented: Invented, folder: Path, *, seed: int = 2) -> dict[str, str]:
    """One photo per finding, 1.2 to 3 s after the mark; file name -> finding id."""
    rng = random.Random(seed)
    folder.mkdir(parents=True, exist_ok=True)
    truth = {}
    for number, (finding_id, said) in enumerate(invented.findings):
        moment = said + timedelta(seconds=1 + rng.uniform(1.2, 3.0)) - CAMERA_BEHIND
        name = f"IMG_{number + 1}.jpg"
        save(
            folder / name,
            size=(64 + number, 48),
            original=f"{moment:%Y:%m:%d %H:%M:%S}",
            subsec=f"{moment.microsecond // 1000:03}",
        )
        truth[name] = finding_id
    return truth


def _utterance(text: str, at: datetime, seconds: float) -> NewUtterance:
    understanding = Understanding(Decision.ACCEPT, Kind.FINDING, "", text)
    return NewUtterance(understanding, at, start_s=0.0, end_s=seconds)
