"""The record of a shop: what a session saves and what everything else reads.

Every method that writes is one transaction and returns after it is on the disk: what was announced
as saved is there after a crash. Nothing is updated or deleted; a correction is a new row.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from fieldlog import __version__
from fieldlog.errors import StoreError, UsageError
from fieldlog.model import Finding, Limit, Quantity, Verdict
from fieldlog.store import queries
from fieldlog.store.database import open_database, translated
from fieldlog.store.entries import Entries
from fieldlog.store.media import MediaFolder
from fieldlog.store.opening import inspection_record
from fieldlog.store.records import (
    HistoryRow,
    Inspection,
    InspectionRecord,
    NewAttachment,
    NewEntry,
    NewEvent,
    NewPhoto,
    NewUtterance,
    Saved,
    Vehicle,
    Verification,
)
from fieldlog.store.rows import finite, instant_text, to_json
from fieldlog.store.verify import verify_store
from fieldlog.store.writer import new_id


def utc_now() -> datetime:
    """The wall clock, as the default for ``Repository.open``."""
    return datetime.now(UTC)


class Repository:
    """An open store. Usable from several threads; each call holds it for its own duration."""

    def __init__(self, folder: Path, *, now: Callable[[], datetime] = utc_now) -> None:
        """Open the store in ``folder``, making it when needed. Raises ``StoreError``."""
        opened = open_database(folder, now=now())
        self.folder = folder
        self.media = MediaFolder(folder / "media")
        self.notices: tuple[str, ...] = opened.notices
        """What the user should be told about the opening (journal, backup, damaged file)."""
        self.journal = opened.journal
        self._db = opened.db
        self._path = opened.path
        self._now = now
        self._lock = threading.RLock()

    @classmethod
    def open(cls, folder: Path, *, now: Callable[[], datetime] = utc_now) -> Self:
        """Open the store in ``folder``; use as a context manager. Raises ``StoreError``."""
        return cls(folder, now=now)

    def close(self) -> None:
        """Close the database; calling it twice is harmless."""
        with self._lock, translated(self._path):
            self._db.close()

    def __enter__(self) -> Self:
        """The store itself."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the store."""
        self.close()

    # -- vehicles ---------------------------------------------------------------------------------

    def add_vehicle(
        self,
        name: str,
        *,
        facts: Mapping[str, str] | None = None,
        odometer: Quantity | None = None,
    ) -> Vehicle:
        """Add a machine. ``facts``: class, make, model, year, sizes and settings (``rim``...)."""
        if not name.strip():
            raise UsageError("a vehicle needs a name", todo="give it one, such as 'blue roadster'")
        with self._write() as writer:
            vehicle_id = writer.add("vehicle", {"name": name.strip()})
            for key, value in (facts or {}).items():
                writer.fact(vehicle_id, key, value)
            if odometer is not None:
                writer.odometer(vehicle_id, odometer, writer.now, None)
        return self.vehicle(vehicle_id)

    def set_facts(self, vehicle_id: str, facts: Mapping[str, str]) -> None:
        """Add newer values of facts; the older ones stay in the record."""
        if any(key.startswith(queries.LOG) for key in facts):
            raise UsageError("a fact's name does not begin with 'log '", todo="choose another one")
        with self._write() as writer:
            for key, value in facts.items():
                writer.fact(vehicle_id, key, value)

    def add_odometer(
        self,
        vehicle_id: str,
        distance: Quantity,
        *,
        read_at: datetime | None = None,
        inspection_id: str | None = None,
    ) -> str:
        """Add a reading of the distance done (km or mi); returns its id."""
        if distance.unit not in {"km", "mi"}:
            raise UsageError(
                f"a distance in {distance.unit!r} is no odometer reading", todo="say km or mi"
            )
        with self._write() as writer:
            return writer.odometer(vehicle_id, distance, read_at or writer.now, inspection_id)

    def add_log(self, vehicle_id: str, kind: str, data: Mapping[str, str]) -> str:
        """Add an entry to a vehicle's log (``done``, ``interval``, ``checklist``): all count."""
        with self._write() as writer:
            return writer.fact(vehicle_id, queries.LOG + kind, to_json(dict(data)))

    def set_vehicle_limit(self, vehicle_id: str, limit: Limit) -> str:
        """Give a vehicle a limit of its own, over any older one with the same ``limit.id``."""
        with self._write() as writer:
            return writer.add(
                "vehicle_limit",
                {
                    "vehicle_id": vehicle_id,
                    "limit_id": limit.id,
                    "limit_sha256": writer.limit(limit),
                },
                chain=vehicle_id,
            )

    def drop_vehicle_limit(self, vehicle_id: str, limit_id: str) -> str:
        """Let a vehicle's own limit no longer count; it stays in the record."""
        with self._write() as writer:
            return writer.add(
                "vehicle_limit",
                {"vehicle_id": vehicle_id, "limit_id": limit_id, "limit_sha256": None},
                chain=vehicle_id,
            )

    # -- inspections ------------------------------------------------------------------------------

    def start_inspection(
        self,
        vehicle_id: str,
        *,
        started_at: datetime | None = None,
        zone: str = "UTC",
        inspector: str = "",
        place: str = "",
        jurisdiction: str | None = None,
        settings: Mapping[str, str] | None = None,
        odometer: Quantity | None = None,
        program: str = f"fieldlog {__version__}",
    ) -> Inspection:
        """Begin one walk round one vehicle. ``zone``: IANA name or offset of the session clock."""
        with self._write() as writer:
            inspection_id = writer.add(
                "inspection",
                {
                    "vehicle_id": vehicle_id,
                    "started_at": instant_text(started_at or writer.now),
                    "zone": zone,
                    "inspector": inspector,
                    "place": place,
                    "jurisdiction": jurisdiction,
                    "settings": to_json(dict(settings or {})),
                    "program": program,
                },
            )
            if odometer is not None:
                writer.odometer(vehicle_id, odometer, started_at or writer.now, inspection_id)
        return self.inspection(inspection_id)

    def new_id(self) -> str:
        """An id that no other row of any store will have."""
        return new_id(self._now())

    def append(self, inspection_id: str, entry: NewEntry) -> Saved:
        """Save an utterance (or what was done by hand) and all that follows, in one transaction.

        An utterance whose id is in the record already was saved by an earlier try: what that try
        wrote is returned and nothing is written. Raises ``StoreError``, or ``UsageError`` for a
        finding that no longer stands; then nothing was saved.
        """
        with self._write() as writer:
            return writer.entry(inspection_id, entry)

    def add_utterance(
        self,
        inspection_id: str,
        utterance: NewUtterance,
        *,
        finding: Finding | None = None,
        verdict: Verdict | None = None,
        remark: str | None = None,
        mark: str | None = None,
        marks: str | None = None,
        corrects: str | None = None,
        reason: str = "",
        event: NewEvent | None = None,
    ) -> Saved:
        """``append`` for one utterance."""
        events = (event,) if event is not None else ()
        return self.append(
            inspection_id,
            NewEntry(
                utterance, finding, verdict, corrects, reason,
                remark=remark, mark=mark, marks=marks, events=events,
            ),
        )  # fmt: skip

    def add_finding(
        self, inspection_id: str, finding: Finding, verdict: Verdict | None = None
    ) -> Saved:
        """Save a finding that was not spoken (entered on the review page)."""
        with self._write() as writer:
            finding_id, number = writer.finding(inspection_id, finding, None)
            verdict_id = writer.verdict(inspection_id, finding_id, verdict) if verdict else None
        return Saved(None, finding_id, number, verdict_id)

    def judge(self, inspection_id: str, finding_id: str, verdict: Verdict) -> str:
        """Add a newer verdict on a finding; the older one stays in the record."""
        with self._write() as writer:
            return writer.verdict(inspection_id, finding_id, verdict)

    def correct(
        self,
        finding_id: str,
        finding: Finding,
        verdict: Verdict | None = None,
        *,
        reason: str = "",
        made_by: str = "review",
    ) -> Saved:
        """Supersede a finding by another; raises ``UsageError`` when it no longer stands."""
        with self._write() as writer:
            inspection_id = writer.inspection_of(finding_id)
            new, number = writer.finding(inspection_id, finding, None)
            verdict_id = None
            if verdict is not None:
                verdict_id = writer.verdict(inspection_id, new, verdict)
            writer.correction(inspection_id, finding_id, new, reason, made_by)
        return Saved(None, new, number, verdict_id)

    def withdraw(self, finding_id: str, *, reason: str = "", made_by: str = "review") -> str:
        """Let a finding no longer stand; raises ``UsageError`` when it already does not."""
        with self._write() as writer:
            inspection_id = writer.inspection_of(finding_id)
            return writer.correction(inspection_id, finding_id, None, reason, made_by)

    def add_remark(self, inspection_id: str, text: str) -> str:
        """Save a remark that was typed; returns its id."""
        with self._write() as writer:
            return writer.remark(inspection_id, text, None)

    def add_mark(
        self, inspection_id: str, name: str, at: datetime, *, finding_id: str | None = None
    ) -> str:
        """Save an instant on the session clock ("photo"); returns its id."""
        with self._write() as writer:
            return writer.mark(inspection_id, name, at, None, finding_id)

    def add_event(
        self,
        inspection_id: str,
        name: str,
        text: str = "",
        *,
        at: datetime | None = None,
        data: Mapping[str, str] | None = None,
    ) -> str:
        """Save something that happened: ``overflow``, ``microphone lost``, ``skipped``..."""
        with self._write() as writer:
            return writer.event(inspection_id, NewEvent(name, text, data or {}), at or writer.now)

    # -- photos -----------------------------------------------------------------------------------

    def add_photo(self, inspection_id: str, photo: NewPhoto) -> str:
        """Save a photo; the same original twice is one photo. Returns its id."""
        with self._write() as writer:
            return writer.photo(inspection_id, photo)

    def add_photos(self, inspection_id: str, photos: Sequence[NewPhoto]) -> tuple[str, ...]:
        """Save many photos in one transaction; returns their ids in the same order."""
        with self._write() as writer:
            return tuple(writer.photo(inspection_id, photo) for photo in photos)

    def attach(
        self,
        inspection_id: str,
        photo_id: str,
        finding_id: str | None,
        *,
        reason: str,
        gap_s: float | None = None,
        uncertainty_s: float | None = None,
        candidates: Sequence[str] = (),
    ) -> str:
        """Attach a photo to a finding, or leave it unplaced (None); the newest attachment rules."""
        new = NewAttachment(photo_id, finding_id, reason, gap_s, uncertainty_s, tuple(candidates))
        return self.attach_all(inspection_id, [new])[0]

    def attach_all(
        self, inspection_id: str, attachments: Sequence[NewAttachment]
    ) -> tuple[str, ...]:
        """Save many attachments in one transaction; returns their ids in the same order."""
        with self._write() as writer:
            return tuple(writer.attachment(inspection_id, new) for new in attachments)

    def set_clock(
        self,
        inspection_id: str,
        camera: str,
        offset_s: float | None,
        uncertainty_s: float | None,
        *,
        how: str,
        evidence: Mapping[str, str] | None = None,
    ) -> str:
        """Save a camera's clock offset (camera minus true, s); the newest of a camera rules."""
        with self._write() as writer:
            return writer.add(
                "camera_clock",
                {
                    "inspection_id": inspection_id,
                    "camera": camera,
                    "offset_s": finite(offset_s),
                    "uncertainty_s": finite(uncertainty_s),
                    "how": how,
                    "evidence": to_json(dict(evidence or {})),
                },
                chain=inspection_id,
            )

    # -- reading ----------------------------------------------------------------------------------

    def vehicles(self) -> tuple[Vehicle, ...]:
        """Every vehicle, oldest first."""
        with self._read():
            return queries.vehicles(self._db.conn)

    def vehicle(self, key: str) -> Vehicle:
        """A vehicle by id, local number or name; raises ``UsageError`` when there is no such."""
        with self._read():
            return queries.vehicle(self._db.conn, key)

    def inspections(self, vehicle_id: str | None = None) -> tuple[Inspection, ...]:
        """Inspections (of one vehicle, or all), oldest first."""
        with self._read():
            return queries.inspections(self._db.conn, vehicle_id)

    def inspection(self, key: str) -> Inspection:
        """An inspection by id, local number or ``last``; raises ``UsageError`` when none."""
        with self._read():
            return queries.inspection(self._db.conn, key)

    def inspection_record(self, key: str) -> InspectionRecord:
        """Everything kept of one inspection (id, local number or ``last``), in a few queries."""
        with self._read():
            return inspection_record(self._db.conn, key)

    def history(
        self,
        vehicle_id: str,
        component: str | None = None,
        position: str | None = None,
        characteristic: str | None = None,
    ) -> tuple[HistoryRow, ...]:
        """Findings of a vehicle that stand, oldest first, narrowed by what is given."""
        with self._read():
            return queries.history(self._db.conn, vehicle_id, component, position, characteristic)

    def remarks(self, vehicle_id: str) -> tuple[tuple[Inspection, str], ...]:
        """Every remark made on a vehicle with its inspection, oldest first."""
        with self._read():
            return queries.remarks(self._db.conn, vehicle_id)

    def verify(self, key: str | None = None) -> Verification:
        """Check the hashes of one inspection and its vehicle, or (None) of the whole store."""
        with self._read():
            chains = None
            if key is not None:
                found = queries.inspection(self._db.conn, key)
                chains = (found.id, found.vehicle_id)
            return verify_store(self._db.conn, self.media, chains)

    # -- inside -----------------------------------------------------------------------------------

    @contextlib.contextmanager
    def _write(self) -> Iterator[Entries]:
        connection = self._db.conn
        with self._lock, translated(self._path):
            connection.execute("BEGIN IMMEDIATE")
            try:
                yield Entries(connection, self._now())
                connection.execute("COMMIT")
            except BaseException:
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
                raise

    @contextlib.contextmanager
    def _read(self) -> Iterator[None]:
        # One transaction, so that all queries of one answer see the same state.
        connection = self._db.conn
        with self._lock, translated(self._path):
            connection.execute("BEGIN")
            try:
                yield
            finally:
                if connection.in_transaction:
                    connection.execute("ROLLBACK")


__all__ = ["Repository", "StoreError", "utc_now"]
