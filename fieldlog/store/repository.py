"""The record of a shop: what a session saves and what everything else reads.

Every method that writes is one transaction and returns after it is on the disk: what was announced
as saved is there after a crash. Nothing is updated or deleted; a correction is a new row.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Self

from fieldlog.config import VERSION
from fieldlog.derived.odometer import unlike
from fieldlog.errors import StoreError, UsageError
from fieldlog.model.finding import Quantity
from fieldlog.model.limit import Limit
from fieldlog.proof.note import Checkpoint
from fieldlog.store import entries
from fieldlog.store.base import AsSeen, NewRow, Stored, Verification
from fieldlog.store.entry import entry_rows
from fieldlog.store.ids import new_id
from fieldlog.store.merging import Merged, Told, merge, rivalled
from fieldlog.store.records import (
    HistoryRow,
    Inspection,
    InspectionRecord,
    NewAttachment,
    NewEntry,
    NewEvent,
    NewPhoto,
    RecordedFinding,
    Saved,
    Vehicle,
)
from fieldlog.store.reviews import Review, counting
from fieldlog.store.rows import to_json
from fieldlog.store.where import media_of, open_store, same
from fieldlog.words import questions, tell


def utc_now() -> datetime:
    """The wall clock, as the default for ``Repository.open``."""
    return datetime.now(UTC)


SURE = "enter it again with --sure if that is what the odometer shows"
"""What is told of a distance that is not as known."""


class Repository:
    """An open store. Usable from several threads; each call holds it for its own duration."""

    def __init__(
        self, folder: Path, *, now: Callable[[], datetime] = utc_now, reading: bool = False
    ) -> None:
        """Open the store in ``folder``, making it when needed. Raises ``StoreError``."""
        self.folder = folder
        self.media = media_of(folder)
        self.engine = open_store(folder, self.media, now=now(), reading=reading)
        self.notices: tuple[str, ...] = self.engine.notices
        """What the user should be told about the opening (journal, backup, damaged file)."""
        self.journal = self.engine.journal
        self._now = now

    @classmethod
    def open(cls, folder: Path, *, now: Callable[[], datetime] = utc_now) -> Self:
        """Open the store in ``folder``; use as a context manager. Raises ``StoreError``."""
        return cls(folder, now=now)

    @classmethod
    def look(cls, folder: Path, *, now: Callable[[], datetime] = utc_now) -> Self:
        """Open the store in ``folder`` only to be read: nothing is made, moved or changed.

        Raises ``StoreError``, also for whatever would write.
        """
        return cls(folder, now=now, reading=True)

    def close(self) -> None:
        """Close the database; calling it twice is harmless."""
        self.engine.close()

    def __enter__(self) -> Self:
        """The store itself."""
        return self

    def __exit__(self, *failed: object) -> None:
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
        now = self._now()
        vehicle_id = new_id(now)
        rows = [entries.vehicle(vehicle_id, name.strip())]
        rows += [entries.fact(new_id(now), vehicle_id, *fact) for fact in (facts or {}).items()]
        if odometer is not None:
            rows.append(entries.odometer(new_id(now), vehicle_id, odometer, now, None))
        self.append(rows, now)
        return self.vehicle(vehicle_id)

    def set_facts(self, vehicle_id: str, facts: Mapping[str, str]) -> None:
        """Add newer values of facts; the older ones stay in the record."""
        if any(key.startswith(entries.LOG) for key in facts):
            raise UsageError("a fact's name does not begin with 'log '", todo="choose another one")
        now = self._now()
        rows = [entries.fact(new_id(now), vehicle_id, *fact) for fact in facts.items()]
        self.append(rows, now)

    def add_odometer(
        self,
        vehicle_id: str,
        distance: Quantity,
        *,
        read_at: datetime | None = None,
        inspection_id: str | None = None,
        sure: bool = False,
    ) -> str:
        """Add a reading of the distance done (km or mi); returns its id.

        Raises ``UsageError`` for one that does not follow on what is known, unless ``sure``.
        """
        if distance.unit not in {"km", "mi"}:
            raise UsageError(
                f"a distance in {distance.unit!r} is no odometer reading", todo="say km or mi"
            )
        now = self._now()
        if not sure:
            self.hold_against_known(vehicle_id, distance, read_at or now)
        return self._append_one(
            entries.odometer(new_id(now), vehicle_id, distance, read_at or now, inspection_id), now
        )

    def hold_against_known(self, vehicle_id: str, distance: Quantity, at: datetime) -> None:
        """Raises ``UsageError`` for a distance, read ``at``, that does not follow on what is known."""
        known = ((each.read_at, each.distance) for each in self.vehicle(vehicle_id).odometer)
        found = unlike(distance, at, known)
        if found is not None:
            why = questions.not_as_known(found[0], tell.quantity(found[1]))
            raise UsageError(f"{tell.quantity(distance)} is not saved: {why}", todo=SURE)

    def rename(self, vehicle_id: str, name: str) -> str:
        """Give a vehicle a new name; the old one stays in its log. Raises ``UsageError`` for an empty one."""
        if not name.strip():
            raise UsageError("a vehicle has a name", where="NAME")
        return self.add_log(vehicle_id, entries.NAMED, {"name": name.strip()})

    def add_log(self, vehicle_id: str, kind: str, data: Mapping[str, str]) -> str:
        """Add an entry to a vehicle's log (``done``, ``interval``, ``checklist``): all count."""
        now = self._now()
        entry = entries.fact(new_id(now), vehicle_id, entries.LOG + kind, to_json(dict(data)))
        return self._append_one(entry, now)

    def set_vehicle_limit(self, vehicle_id: str, limit: Limit) -> str:
        """Give a vehicle a limit of its own, over any older one with the same ``limit.id``."""
        now = self._now()
        return self._append_one(entries.own_limit(new_id(now), vehicle_id, limit.id, limit), now)

    def drop_vehicle_limit(self, vehicle_id: str, limit_id: str) -> str:
        """Let a vehicle's own limit no longer count; it stays in the record."""
        now = self._now()
        return self._append_one(entries.own_limit(new_id(now), vehicle_id, limit_id, None), now)

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
        sure: bool = False,
        program: str = f"fieldlog {VERSION}",
        language: str = "",
    ) -> Inspection:
        """Begin one walk round one vehicle. ``zone``: IANA name or offset of the session clock.

        ``language``: ISO 639-1 of what is spoken and told; "" is the reference language.

        Raises ``UsageError`` for a distance that does not follow on what is known, unless ``sure``.
        """
        now = self._now()
        if odometer is not None and not sure:
            self.hold_against_known(vehicle_id, odometer, started_at or now)
        inspection_id = new_id(now)
        rows = [
            entries.inspection(
                inspection_id,
                vehicle_id,
                started_at=started_at or now,
                zone=zone,
                inspector=inspector,
                place=place,
                jurisdiction=jurisdiction,
                settings=settings or {},
                program=program,
                language=language or None,
            )
        ]
        if odometer is not None:
            read_at = started_at or now
            rows.append(entries.odometer(new_id(now), vehicle_id, odometer, read_at, inspection_id))
        self.append(rows, now)
        return self.inspection(inspection_id)

    def new_id(self) -> str:
        """A name that no other row of any store will have."""
        return new_id(self._now())

    def save(self, inspection_id: str, entry: NewEntry, seen: int | None = None) -> Saved:
        """Save an utterance, or what was done by hand, with all that follows, in one transaction.

        An utterance that has its id already may have to be tried again: the same entry with the
        same id saves nothing twice and returns what was saved the first time; with other content it
        raises ``StoreError``. ``seen``: rows that the inspection had for whoever decided this; with
        more of them now it raises ``ChangedError``. Whatever it raises, nothing of the call was saved.
        """
        now = self._now()
        rows, saved = entry_rows(inspection_id, entry, now)
        as_seen = None if seen is None else AsSeen(inspection_id, seen)
        numbers = {kept.id: kept.number for kept in self.append(rows, now, as_seen)}
        further = tuple((name, numbers.get(name)) for name, _ in saved.further)
        return replace(saved, number=numbers.get(saved.finding_id or ""), further=further)

    def withdraw(self, finding_id: str, *, reason: str = "", made_by: str = "review") -> str:
        """Let a finding no longer stand; raises ``UsageError`` when it already does not."""
        now = self._now()
        of = self.engine.inspection_of(finding_id)
        row = entries.correction(new_id(now), of, finding_id, None, reason, made_by)
        return self._append_one(row, now)

    def add_remark(self, inspection_id: str, text: str) -> str:
        """Save a remark that was typed; returns its id."""
        now = self._now()
        return self._append_one(entries.remark(new_id(now), inspection_id, text, None), now)

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
        now = self._now()
        happened = NewEvent(name, text, data or {})
        return self._append_one(entries.event(new_id(now), inspection_id, happened, at or now), now)

    # -- photos -----------------------------------------------------------------------------------

    def add_photo(self, inspection_id: str, photo: NewPhoto) -> str:
        """Save a photo; the same original twice is one photo. Returns its id."""
        return self.add_photos(inspection_id, [photo])[0]

    def add_photos(self, inspection_id: str, photos: Sequence[NewPhoto]) -> tuple[str, ...]:
        """Save many photos in one transaction; returns their ids in the same order."""
        now = self._now()
        rows = [entries.photo(new_id(now), inspection_id, photo) for photo in photos]
        return tuple(kept.id for kept in self.append(rows, now))

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
        now = self._now()
        rows = [entries.attachment(new_id(now), inspection_id, new) for new in attachments]
        return tuple(kept.id for kept in self.append(rows, now))

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
        now = self._now()
        clock = entries.camera_clock(
            new_id(now), inspection_id, camera, offset_s, uncertainty_s, how, evidence or {}
        )
        return self._append_one(clock, now)

    # -- reading ----------------------------------------------------------------------------------

    def vehicles(self) -> tuple[Vehicle, ...]:
        """Every vehicle, oldest first."""
        return self.engine.vehicles()

    def vehicle(self, key: str) -> Vehicle:
        """A vehicle by id, local number or name; raises ``UsageError`` when there is no such."""
        return self.engine.vehicle(key)

    def inspections(self, vehicle_id: str | None = None) -> tuple[Inspection, ...]:
        """Inspections (of one vehicle, or all), oldest first."""
        return self.engine.inspections(vehicle_id)

    def inspection(self, key: str) -> Inspection:
        """An inspection by id, local number or ``last``; raises ``UsageError`` when none."""
        return self.engine.inspection(key)

    def inspection_record(self, key: str) -> InspectionRecord:
        """Everything kept of one inspection (id, local number or ``last``), in a few queries."""
        return self.engine.read(key)

    def history(
        self,
        vehicle_id: str,
        component: str | None = None,
        position: str | None = None,
        characteristic: str | None = None,
    ) -> tuple[HistoryRow, ...]:
        """Findings of a vehicle that stand, oldest first, narrowed by what is given."""
        return self.engine.history(vehicle_id, component, position, characteristic)

    def remarks(self, vehicle_id: str) -> tuple[tuple[Inspection, str], ...]:
        """Every remark on a vehicle that stands, with its inspection, oldest first."""
        return self.engine.remarks(vehicle_id)

    def sampled(self) -> tuple[Review, ...]:
        """What was decided of the blind sample, in every inspection, and nobody took back."""
        return counting(self.engine.sampled())

    def verify(self, key: str | None = None) -> Verification:
        """Whether one inspection with its vehicle, or (None) the whole store, agrees with itself."""
        return self.engine.verify(key)

    def checkpoint(self, owners: Sequence[str] = ()) -> Checkpoint:
        """The record as it is now, not signed; with the rows of ``owners`` (ids) told."""
        return self.engine.checkpoint(owners)

    def fingerprint(self) -> str:
        """SHA-256 (hex) that two stores share when they hold the same rows, however they came."""
        return self.engine.fingerprint()

    def merge(self, other: Path, told: Told = lambda *_: None) -> Merged:
        """Add what the store in the folder ``other`` has besides (see ``merging.merge``)."""
        if same(self.folder, other):
            raise UsageError(f"{other} is this record itself", todo="name the folder of another")
        return merge(self.engine, self.media, other, now=self._now(), told=told)

    def rivalled(self, owners: Iterable[str]) -> Iterator[tuple[InspectionRecord, RecordedFinding]]:
        """Findings of ``owners`` (ids) on which two records differed."""
        return rivalled(self.engine, owners)

    # -- inside -----------------------------------------------------------------------------------

    def append(
        self, rows: Sequence[NewRow], now: datetime, seen: AsSeen | None = None
    ) -> tuple[Stored, ...]:
        """Keep ``rows`` in one transaction, stamped ``now`` (see ``base.Store.append``)."""
        return self.engine.append(rows, now, seen)

    def _append_one(self, row: NewRow, now: datetime) -> str:
        return self.append([row], now)[0].id


__all__ = ["Repository", "StoreError", "utc_now"]
