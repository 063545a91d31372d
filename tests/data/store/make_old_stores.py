"""How ``old_stores.zip`` was made: real stores, written by the code before records could merge.

Run once, at commit 2fba9c8 (schema ``0005_answers``, one chain per vehicle and inspection), from the
root of a checkout of it with this file and ``tests/store_plain.py`` put in::

    python tests/data/store/make_old_stores.py tests/data/store/old_stores.zip

It holds ``shop`` (every kind of row), ``bay`` (a copy of ``shop``; then each of the two got rows of
its own) and ``early`` (a store without what the migrations 0004 and 0005 added), each with its media,
and beside each ``NAME.json``, what that code read from it.
"""

from __future__ import annotations

import json
import shutil
import sys
import tempfile
import zipfile
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path

from fieldlog.model.finding import Quantity
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.store.records import NewUtterance
from fieldlog.store.repository import Repository
from tests.store_plain import everything
from tests.store_samples import CRACKED, TREAD, fill, ticking, tread_verdict, understood

LATER = datetime(2026, 8, 1, 9, 0, tzinfo=UTC)


def main(target: Path) -> None:
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        with Repository.open(folder / "early", now=ticking()) as store:
            fill(store, folder, newest=False)
        with Repository.open(folder / "shop", now=ticking()) as store:
            filled = fill(store, folder)
            _second(store, filled.vehicle_id)
        shutil.copytree(folder / "shop", folder / "bay")
        for name, distance in (("shop", 12_900), ("bay", 13_000)):
            with Repository.open(folder / name, now=ticking(LATER)) as store:
                _own(store, filled.vehicle_id, name, distance)
        with zipfile.ZipFile(target, "w", zipfile.ZIP_LZMA) as archive:
            for name in ("early", "shop", "bay"):
                with Repository.open(folder / name) as store:
                    assert store.verify().intact
                    told = {**everything(store), "fingerprint": store.verify().fingerprint}
                for path in sorted((folder / name).rglob("*")):
                    if path.is_file():
                        archive.write(path, path.relative_to(folder))
                archive.writestr(f"{name}.json", json.dumps(told, ensure_ascii=False))


def _second(store: Repository, vehicle_id: str) -> None:
    """A question and its answer, an own limit dropped, a log entry, another vehicle."""
    second = store.start_inspection(vehicle_id, started_at=LATER - timedelta(days=20))
    asked = Understanding(
        Decision.ASK, Kind.FINDING, "which end", "tread four thirty seconds", "front or rear?"
    )
    first = store.add_utterance(second.id, NewUtterance(asked, LATER - timedelta(days=20)))
    store.add_utterance(
        second.id,
        NewUtterance(
            understood("rear"),
            LATER - timedelta(days=20),
            source="microphone",
            answers=first.utterance_id,
        ),
        finding=TREAD,
        verdict=tread_verdict(),
    )
    store.drop_vehicle_limit(vehicle_id, "test.tread")
    store.add_log(vehicle_id, "done", {"task": "oil changed", "at": "12345 km"})
    other = store.add_vehicle("red single")
    store.add_finding(store.start_inspection(other.id).id, CRACKED)


def _own(store: Repository, vehicle_id: str, name: str, distance: int) -> None:
    """What only one of the two copies has: a reading, a finding, a correction of a shared one."""
    store.add_odometer(vehicle_id, Quantity(Fraction(distance), "km", f"{distance} km"))
    second = store.inspections(vehicle_id)[-1]
    store.add_utterance(
        second.id,
        NewUtterance(understood(f"said in the {name}"), said_at=LATER),
        finding=replace(CRACKED, words=f"seen in the {name}"),
        verdict=tread_verdict(),
    )
    (tread, *_) = store.inspection_record(second.id).findings
    store.correct(tread.id, replace(TREAD, words=f"read again in the {name}"), reason=name)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
