"""How fast a large record opens, how long one save takes, and what survives being killed.

The record is built through the same rows and hashes as in use, in large transactions only so that
a million findings do not take a day. What is timed is timed as in use: a fresh connection, one
commit per finding, hashes and syncs included.
"""

from __future__ import annotations

import random
import statistics
import subprocess
import sys
import textwrap
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from functools import cache
from pathlib import Path

from fieldlog import config
from fieldlog.catalogue.files import load_catalogue
from fieldlog.errors import StoreError
from fieldlog.limits.packs import shipped_limits
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.limit import Limit
from fieldlog.model.state import State
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.model.verdict import Judgement, Verdict
from fieldlog.store import database, entries
from fieldlog.store.base import NewRow
from fieldlog.store.ids import new_id
from fieldlog.store.records import NewEntry, NewUtterance
from fieldlog.store.repository import Repository
from fieldlog.store.searching import Wanted

INSPECTIONS = 10
"""Inspections of each vehicle in the built record."""
FINDINGS = 250
"""Findings of each inspection."""

_START = datetime(2020, 1, 6, 8, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Timing:
    """Times of one kind of work, in milliseconds."""

    what: str
    times_ms: tuple[float, ...]

    @property
    def median_ms(self) -> float:
        """The middle one."""
        return statistics.median(self.times_ms)

    @property
    def worst_ms(self) -> float:
        """The longest one."""
        return max(self.times_ms)


@cache
def _things() -> tuple[tuple[str, str | None, str, str], ...]:
    """Everything the catalogue measures, at each end where there are two."""
    return tuple(
        (component.name, position, measured.name, measured.units[0])
        for component in load_catalogue(config.grammars())
        for measured in component.characteristics
        if measured.units
        for position in (("front", "rear") if component.axes else (None,))
    )


def build(folder: Path, findings: int, told: Callable[[int], None]) -> None:
    """Fill the store in ``folder`` with about ``findings`` findings; ``told`` how many are done."""
    rng = random.Random(1)
    gates = [limit for limit in shipped_limits() if limit.value is not None][:8]
    done = 0
    with Repository.open(folder) as store:
        while done < findings:
            vehicle = store.add_vehicle(f"vehicle {done}")
            for turn in range(INSPECTIONS):
                at = _START + timedelta(days=60 * turn)
                inspection = store.start_inspection(
                    vehicle.id,
                    started_at=at,
                    odometer=Quantity(Fraction(1000 * turn), "km"),
                )
                rows: list[NewRow] = []
                for number in range(FINDINGS):
                    rows += _one(inspection.id, at, number, rng, gates)
                store.append(rows, at)
                done += FINDINGS
                told(min(done, findings))
                if done >= findings:
                    break


def _one(
    inspection_id: str, at: datetime, number: int, rng: random.Random, gates: Sequence[Limit]
) -> tuple[NewRow, NewRow, NewRow]:
    utterance, finding, verdict = heard(at, number, rng, gates)
    utterance_id, finding_id = new_id(at), new_id(at)
    return (
        entries.utterance(utterance_id, inspection_id, utterance),
        entries.finding(finding_id, inspection_id, finding, utterance_id),
        entries.verdict(new_id(at), inspection_id, finding_id, verdict),
    )


def heard(
    at: datetime, number: int, rng: random.Random, gates: Sequence[Limit]
) -> tuple[NewUtterance, Finding, Verdict]:
    """An utterance as an inspection has them, with what follows from it."""
    things = _things()
    component, position, characteristic, unit = things[number % len(things)]
    value = Fraction(rng.randrange(10, 120), 10)
    words = f"{position or ''} {component} {characteristic} {float(value)}".strip()
    hearing = Hearing(
        "whisper",
        (
            Hypothesis(words, -0.2, {"bend": 0.1, "margin": 4.2}),
            Hypothesis(f"{words} five", -4.4, {"bend": 0.9, "margin": 0.0}),
        ),
        95.0,
    )
    utterance = NewUtterance(
        Understanding(Decision.ACCEPT, Kind.FINDING, "", words),
        said_at=at + timedelta(seconds=6 * number),
        hearings=(hearing,),
        clip=f"{rng.getrandbits(256):064x}.flac",
        start_s=6.0 * number,
        end_s=6.0 * number + 2.5,
        source="microphone",
        model="tiny.en 1a5afae06a4d",
        grammar="0123456789abcdef",
    )
    finding = Finding(
        component, position, characteristic, Quantity(value, unit, words), words=words
    )
    limit = gates[number % len(gates)]
    judged = Judgement(limit, State.WITHIN, Fraction(1, 3), 0.999, Fraction(1, 10), value, "")
    return utterance, finding, Verdict(State.WITHIN, judged, (judged,))


def measure(folder: Path, rounds: int) -> list[Timing]:
    """Open ``rounds`` inspections and histories, each with a fresh connection; then save."""
    rng = random.Random(2)
    with Repository.open(folder) as store:
        inspections = [each.number for each in store.inspections()]
        vehicles = [each.id for each in store.vehicles()]
    opened, histories, everything, starts = [], [], [], []
    for _ in range(rounds):
        started = time.perf_counter()
        with Repository.open(folder) as store:
            starts.append(_ms(started))
            started = time.perf_counter()
            record = store.inspection_record(str(rng.choice(inspections)))
            opened.append(_ms(started))
            found = len(record.findings)
            vehicle = rng.choice(vehicles)
            started = time.perf_counter()
            rows = store.history(vehicle, *_things()[0][:3])
            histories.append(_ms(started))
            if not rows or not found:
                raise StoreError("the built record has holes", where=str(folder))
            started = time.perf_counter()
            store.history(vehicle)
            everything.append(_ms(started))
    saves = []
    with Repository.open(folder) as store:
        inspection = store.start_inspection(vehicles[0])
        gates = [limit for limit in shipped_limits() if limit.value is not None][:8]
        for number in range(max(rounds, 100)):
            utterance, finding, verdict = heard(_START, number, rng, gates)
            started = time.perf_counter()
            store.save(inspection.id, NewEntry(utterance, finding=finding, verdict=verdict))
            saves.append(_ms(started))
    return [
        Timing("open the store", tuple(starts)),
        Timing(f"open one inspection ({FINDINGS} findings)", tuple(opened)),
        Timing("history of one characteristic of a vehicle", tuple(histories)),
        Timing(
            f"whole history of a vehicle ({INSPECTIONS * FINDINGS} findings)", tuple(everything)
        ),
        Timing("save one finding (synced)", tuple(saves)),
    ]


SEARCHES: dict[str, Wanted] = {
    "front": Wanted(("front",)),
    "rear tyre": Wanted(("rear", "tyre")),
    "a word that begins so (br)": Wanted(("br",)),
    "battery, within, one day": Wanted(
        (),
        "battery",
        State.WITHIN,
        _START + timedelta(days=60),
        _START + timedelta(days=61),
    ),
    "front, beyond (none)": Wanted(("front",), state=State.BEYOND),
    "a word that is nowhere": Wanted(("front", "zeppelin")),
    "all": Wanted(),
    "two frequent words that never go together": Wanted(("front", "rear")),
}
"""What is looked for: frequent and rare words, together and with verdict and day."""


def searches(folder: Path, rounds: int) -> list[Timing]:
    """Look for findings, each time with a fresh connection."""
    found = []
    for name, wanted in SEARCHES.items():
        times = []
        for _ in range(rounds):
            with Repository.open(folder) as store:
                started = time.perf_counter()
                store.engine.search(wanted)
                times.append(_ms(started))
        found.append(Timing(f"search: {name}", tuple(times)))
    return found


def checkpoints(folder: Path, rounds: int) -> list[Timing]:
    """A checkpoint of the whole record: over every row, then going on from there, a row more each time."""
    with Repository.open(folder) as store:
        inspection = store.inspections()[-1].id
        store.engine.connection.execute("DELETE FROM local_state WHERE key = 'tree'")
        times = []
        for number in range(1 + rounds):
            started = time.perf_counter()
            store.checkpoint((inspection,))
            times.append(_ms(started))
            store.add_remark(inspection, f"remark {number}")
    return [
        Timing("checkpoint, over every row", tuple(times[:1])),
        Timing("checkpoint, a row later", tuple(times[1:])),
    ]


def verified(folder: Path) -> tuple[int, float, float]:
    """Rows, seconds until the whole record is checked, and (of them) one inspection by itself.

    The clips of a built record are in nobody's folder: each of them is told as a fault.
    """
    with Repository.look(folder) as store:
        last = str(store.inspections()[-1].number)
        started = time.perf_counter()
        rows = store.verify().rows
        whole_s = time.perf_counter() - started
        started = time.perf_counter()
        store.verify(last)
        return rows, whole_s, time.perf_counter() - started


def _ms(started: float) -> float:
    return (time.perf_counter() - started) * 1000


def size_bytes(folder: Path) -> int:
    """Size of the database in ``folder``."""
    return (folder / database.FILE).stat().st_size


# -- being killed ---------------------------------------------------------------------------------

_SESSION = """
    import sys
    from datetime import UTC, datetime
    from fractions import Fraction
    from pathlib import Path
    from fieldlog.model.finding import Finding, Quantity
    from fieldlog.model.state import State
    from fieldlog.model.understanding import Decision, Kind, Understanding
    from fieldlog.model.verdict import Verdict
    from fieldlog.store.records import NewEntry, NewUtterance
    from fieldlog.store.repository import Repository
    said = Understanding(Decision.ACCEPT, Kind.FINDING, "", "rear tread")
    finding = Finding("tyre", "rear", "tread depth", Quantity(Fraction(1, 8), "in"))
    with Repository.open(Path(sys.argv[1])) as store:
        while True:
            now = datetime.now(UTC)
            clip = store.media.save_bytes(repr(now).encode(), "flac")
            utterance = NewUtterance(said, now, clip=clip)
            entry = NewEntry(utterance, finding=finding, verdict=Verdict(State.WITHIN, None))
            saved = store.save(sys.argv[2], entry)
            print("saved", saved.finding_id, flush=True)
"""


def session(folder: Path, inspection_id: str) -> subprocess.Popen[str]:
    """A process that saves findings without end and says each one after it was saved."""
    return subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(_SESSION), str(folder), inspection_id],
        stdout=subprocess.PIPE,
        text=True,
    )


def kill_rounds(
    folder: Path, rounds: int, seed: int, told: Callable[[int], None]
) -> tuple[int, int]:
    """Kill a saving process ``rounds`` times: findings announced, and how many of them are lost.

    Raises ``StoreError`` when nothing was announced or the record does not agree with itself afterwards.
    """
    rng = random.Random(seed)
    with Repository.open(folder) as store:
        inspection = store.start_inspection(store.add_vehicle("killed").id)
    announced: list[str] = []
    for done in range(rounds):
        running = session(folder, inspection.id)
        if running.stdout is not None:
            announced.append(running.stdout.readline())  # under way
        time.sleep(rng.uniform(0.01, 0.3))
        running.kill()
        rest, _ = running.communicate()
        announced += rest.splitlines(keepends=True)
        told(done + 1)
    # A line cut in half by the kill was not announced.
    wanted = {
        line.split()[1] for line in announced if line.startswith("saved ") and line[-1:] == "\n"
    }
    with Repository.open(folder) as store:
        kept = {finding.id for finding in store.inspection_record(inspection.id).findings}
        agrees = store.verify(inspection.id).agrees
    if not wanted or not agrees:
        what = "the record does not agree with itself" if wanted else "nothing was ever saved"
        raise StoreError(what)
    return len(wanted), len(wanted - kept)
