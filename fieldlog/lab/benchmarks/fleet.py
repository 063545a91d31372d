"""Bays that write one record at once, and people who review it: how long each waits, and is anything lost?

Each bay and each reviewer is a process of its own with a connection of its own, as on machines of their own. A
bay saves an utterance with finding, verdict and readings about every second, which is faster than anybody speaks; a
reviewer opens an inspection, lists them all, and decides about one thing in turn. What was announced as saved is
looked for afterwards, and the record is verified.
"""

from __future__ import annotations

import json
import multiprocessing
import random
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from fieldlog.errors import ChangedError, StoreError
from fieldlog.lab.benchmarks.store import heard
from fieldlog.limits.packs import shipped_limits
from fieldlog.model.limit import Limit
from fieldlog.store.records import NewEntry
from fieldlog.store.repository import Repository
from fieldlog.store.reviews import Decided, NewReview

SAVE, OPEN, LIST, DECIDE = (
    "a bay saves a finding",
    "a reviewer opens an inspection",
    "a reviewer lists all inspections",
    "a reviewer's decision",
)


@dataclass(frozen=True, slots=True)
class Load:
    """How much of it."""

    bays: int
    reviewers: int
    seconds: float
    every_s: float
    """Between one save of a bay (decision of a reviewer) and the next; random, this on average."""


@dataclass(frozen=True, slots=True)
class FleetOutcome:
    """What came of it."""

    times_ms: dict[str, tuple[float, ...]]
    announced: int
    """Findings and decisions that were told to be saved."""
    lost: int
    doubled: int
    retries: int
    """Saves that were told to have failed, and were tried again."""
    changed: int
    """Decisions that were refused because the inspection had gone on since it was looked at."""
    faults: tuple[str, ...]


def run(folder: Path, load: Load, meanwhile: Callable[[], None] = lambda: None) -> FleetOutcome:
    """Put the ``load`` on the record in ``folder`` (made when needed); ``meanwhile`` is done at half time."""
    results = folder / "load"
    results.mkdir(parents=True, exist_ok=True)
    with Repository.open(folder) as store:
        machine = store.add_vehicle("roadster")
        for _ in range(load.bays):
            store.start_inspection(machine.id)
        inspections = [each.id for each in store.inspections()]
    heard(datetime.now(UTC), 0, random.Random(0), _gates())  # loaded once, before the others begin
    start = time.time() + 1.0
    context = multiprocessing.get_context("fork")
    works = [
        context.Process(target=_bay, args=(folder, load, inspections[number], number, start))
        for number in range(load.bays)
    ]
    works += [
        context.Process(target=_reviewer, args=(folder, load, inspections, number, start))
        for number in range(load.reviewers)
    ]
    for work in works:
        work.start()
    time.sleep(max(0.0, start - time.time()) + load.seconds / 2)
    meanwhile()
    for work in works:
        work.join()
    if any(work.exitcode for work in works):
        raise StoreError("a bay or a reviewer broke down; its own words stand above")
    return _outcome(folder, results)


class _Notes:
    """What one process notes, and writes down at its end."""

    def __init__(self) -> None:
        self.times: dict[str, list[float]] = {}
        self.announced: list[str] = []
        self.retries = self.changed = 0

    def timed(self, what: str, work: Callable[[], object]) -> None:
        begun = time.perf_counter()
        work()
        self.times.setdefault(what, []).append((time.perf_counter() - begun) * 1000)

    def write(self, path: Path) -> None:
        path.write_text(json.dumps(vars(self)))


def _gates() -> list[Limit]:
    return [limit for limit in shipped_limits() if limit.value is not None][:8]


def _pauses(load: Load, start: float, rng: random.Random) -> bool:
    """Wait for the next turn; whether there is one."""
    time.sleep(max(0.0, start - time.time()) + rng.uniform(0.0, 2 * load.every_s))
    return time.time() < start + load.seconds


def _bay(folder: Path, load: Load, inspection: str, number: int, start: float) -> None:
    rng, notes = random.Random(number), _Notes()
    gates = _gates()
    with Repository.open(folder) as store:
        count = 0
        while _pauses(load, start, rng):
            utterance, finding, verdict = heard(datetime.now(UTC), count, rng, gates)
            name = store.new_id()
            entry = NewEntry(replace(utterance, id=name), finding, verdict)
            notes.timed(SAVE, partial(_until_saved, store, inspection, entry, notes))
            notes.announced.append(f"{name}-finding")
            count += 1
    notes.write(folder / "load" / f"bay{number}.json")


def _reviewer(folder: Path, load: Load, inspections: list[str], number: int, start: float) -> None:
    rng, notes = random.Random(1000 + number), _Notes()
    with Repository.open(folder) as store:
        while _pauses(load, start, rng):
            of = rng.choice(inspections)
            try:
                notes.timed(OPEN, partial(store.inspection_record, of))
                notes.timed(LIST, store.inspections)
                record = store.inspection_record(of)
                if not record.findings:
                    continue
                about = rng.choice(record.findings)
                review = NewReview(
                    Decided.AS_HEARD, f"reviewer {number}", about.utterance_id, was=about.id
                )
                begun = time.perf_counter()
                saved = store.save(of, NewEntry(review=review), record.rows)
            except ChangedError:
                notes.changed += 1
                continue
            except StoreError:  # the server is away; whoever reviews looks again
                notes.retries += 1
                time.sleep(0.5)
                continue
            notes.times.setdefault(DECIDE, []).append((time.perf_counter() - begun) * 1000)
            notes.announced.append(saved.review_id or "")
    notes.write(folder / "load" / f"reviewer{number}.json")


def _until_saved(store: Repository, inspection: str, entry: NewEntry, notes: _Notes) -> None:
    """Save it; where the server is away, the same again until it is kept."""
    while True:
        try:
            store.save(inspection, entry)
            return
        except StoreError:
            notes.retries += 1
            if notes.retries > 200:
                raise
            time.sleep(0.25)


def _outcome(folder: Path, results: Path) -> FleetOutcome:
    times: dict[str, list[float]] = {}
    announced: list[str] = []
    retries = changed = 0
    for path in sorted(results.glob("*.json")):
        told = json.loads(path.read_text())
        for what, some in told["times"].items():
            times.setdefault(what, []).extend(some)
        announced += told["announced"]
        retries, changed = retries + told["retries"], changed + told["changed"]
    kept: list[str] = []
    with Repository.open(folder) as store:
        for head in store.inspections():
            record = store.inspection_record(head.id)
            kept += [each.id for each in record.findings] + [each.id for each in record.reviews]
        checked = store.verify()
    media = "is missing from the media folder"  # clips are named, none was recorded
    faults = tuple(fault for fault in checked.faults if not fault.endswith(media))
    there = set(kept)
    return FleetOutcome(
        {what: tuple(sorted(some)) for what, some in sorted(times.items())},
        len(announced),
        len([name for name in announced if name not in there]),
        len(kept) - len(there) + len(announced) - len(set(announced)),
        retries,
        changed,
        faults,
    )


def at_share(times: tuple[float, ...], share: float) -> float:
    """The time that ``share`` of them stay below (sorted)."""
    return times[min(len(times) - 1, int(share * len(times)))]
