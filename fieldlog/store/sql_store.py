"""The record in tables: what every engine that speaks SQL does, once for all of them.

An engine gives it a connection, the name of the writer and its two kinds of transaction.
"""

from __future__ import annotations

import threading
from abc import ABC, abstractmethod
from collections.abc import Callable, Generator, Iterable, Sequence
from contextlib import AbstractContextManager, suppress
from datetime import datetime
from pathlib import Path
from typing import Concatenate, ParamSpec, TypeVar

from fieldlog.errors import StoreError, UsageError
from fieldlog.proof.note import Checkpoint
from fieldlog.store import checkpoints, opening, places, queries, searching, word_index, writer
from fieldlog.store.base import AsSeen, Elsewhere, NewRow, Stored, StoredRow, Taken, Verification
from fieldlog.store.chain import fingerprint
from fieldlog.store.checkpoints import Against
from fieldlog.store.media import MediaFolder
from fieldlog.store.opening import ReadOnward, covered_by
from fieldlog.store.records import InspectionRecord
from fieldlog.store.sql import Tables
from fieldlog.store.verify import Owners, verify_store

_P = ParamSpec("_P")
_T = TypeVar("_T")


def _reads(
    query: Callable[Concatenate[Tables, _P], _T],
) -> Callable[Concatenate[SqlStore, _P], _T]:
    """``query`` as a method, in a transaction of its own."""

    def read(store: SqlStore, /, *arguments: _P.args, **named: _P.kwargs) -> _T:
        with store._reading():
            return query(store.connection, *arguments, **named)

    return read


class SqlStore(ABC):
    """An open record in tables. Usable from several threads; each call holds it for its own duration.

    Fulfils ``base.Store``. Every method raises ``StoreError`` for what the engine reports.
    """

    connection: Tables
    writer: str
    """Who writes here: the name of this copy of the record."""
    notices: tuple[str, ...]
    """What the user should be told about the opening."""
    journal: str
    """How a commit reaches the disk."""

    def __init__(self, media: MediaFolder) -> None:
        """``media``: where the originals lie that the record speaks of."""
        self._media = media
        self._lock = threading.RLock()
        self._opened: tuple[ReadOnward, object] | None = None
        """The inspection that was read last, and what ``_changes`` was then."""

    @abstractmethod
    def close(self) -> None:
        """Let go of it; calling it twice is harmless."""

    def log_faults(self) -> list[str]:
        """What is damaged of changes that are not in the tables yet."""
        return []

    @abstractmethod
    def copy_to(self, folder: Path, now: datetime) -> None:
        """Make a record in one file of the folder ``folder``, with every row of this one."""

    @abstractmethod
    def _writing(self) -> AbstractContextManager[None]:
        """One transaction that writes, alone; rolled back where an exception leaves it."""

    @abstractmethod
    def _reading(self) -> AbstractContextManager[None]:
        """One transaction in which all queries see the same state."""

    @abstractmethod
    def _form_faults(self, owners: Owners) -> list[str]:
        """What is wrong with the database itself, within ``_reading``."""

    # -- what one query answers --------------------------------------------------------------------

    covered_by = _reads(covered_by)
    """Hashes of the rows of an inspection (id) that a sign-off (id) had seen."""
    elsewhere = _reads(places.elsewhere)
    """Rows that others have and that are known here by their hash."""
    vehicles = _reads(queries.vehicles)
    """Every vehicle, oldest first."""
    vehicle = _reads(queries.vehicle)
    """A vehicle by id, local number or name."""
    inspections = _reads(queries.inspections)
    """Inspections of one vehicle, or all, oldest first."""
    inspection = _reads(queries.inspection)
    """An inspection by id, local number or ``last``."""
    remarks = _reads(queries.remarks)
    """Every remark on a vehicle that stands, with its inspection, oldest first."""
    rows_of = _reads(places.rows_of_owner)
    """How many rows belong to a vehicle or an inspection: as long as they are as many, nothing changed."""
    fingerprints = _reads(places.fingerprints)
    """The fingerprint of the rows of every vehicle and inspection (id)."""
    sampled = _reads(opening.sampled)
    """Decisions of the blind sample of every inspection, and what was taken back, oldest first."""
    history = _reads(queries.history)
    """Findings of a vehicle that stand, oldest first."""
    search = _reads(searching.search)
    """Findings by their words, component, verdict and day, newest first."""
    originals = _reads(places.originals)
    """Name of every clip and photo that the record speaks of, once each."""

    def append(
        self, rows: Sequence[NewRow], now: datetime, seen: AsSeen | None = None
    ) -> tuple[Stored, ...]:
        """Keep ``rows`` in one transaction stamped ``now`` (see ``base.Store.append``)."""
        if not rows:
            return ()
        with self._writing():
            return writer.append(self.connection, self.writer, rows, now, seen)

    def take(self, rows: Iterable[StoredRow], elsewhere: Sequence[Elsewhere] = ()) -> Taken:
        """Add what is not here of another store's ``rows`` (see ``base.Store.take``)."""
        with self._writing():
            return writer.take(self.connection, rows, elsewhere)

    def checkpoint(self, owners: Sequence[str]) -> Checkpoint:
        """The record as it is now, not signed; with the rows of ``owners`` (ids)."""
        with self._reading():
            before = checkpoints.grown_before(self.connection)
            made, grown = checkpoints.take(self.connection, self.writer, owners, before)
        if grown.size - (before.size if before else 0) > checkpoints.FEW:
            with suppress(StoreError), self._writing():  # only read, or a full disk: next time then
                checkpoints.keep_grown(self.connection, grown)
        return made

    def hold(self, against: Sequence[Checkpoint], owner: str | None = None) -> list[Against]:
        """What the record, or one inspection (id) in it, is to each of those checkpoints."""
        with self._reading():
            if owner is not None:
                return checkpoints.hold_one(self.connection, against, owner)
            return checkpoints.hold(self.connection, against)

    def has(self, hash: bytes) -> bool:
        """Whether the row with that hash is here."""
        with self._reading():
            found = self.connection.execute("SELECT count(*) FROM record WHERE hash = ?", (hash,))
            return bool(found.fetchone()[0])

    def checkpoints(self, inspection: str | None = None) -> tuple[checkpoints.KeptCheckpoint, ...]:
        """Every checkpoint that was put into the record, or those of one inspection (id)."""
        with self._reading():
            return checkpoints.kept(self.connection, inspection)

    def read(self, key: str) -> InspectionRecord:
        """Everything kept of one inspection, in a fixed number of queries.

        Of the one that was read last, only the rows that came since are read.
        """
        with self._reading():
            head, changes = queries.inspection_row(self.connection, key), self._changes()
            known, self._opened = self._opened, None  # what fails half-way is read anew
            opening = known[0] if known is not None and known[1] == changes else None
            if opening is None or opening.id != head["id"]:
                opening = ReadOnward(head["id"])
            record = opening.record(self.connection, head)
            self._opened = opening, changes
            return record

    def _changes(self) -> object:
        """What is another one when anybody else has changed the database in whatever way."""
        return None

    def verify(self, key: str | None = None) -> Verification:
        """Whether the record, or one inspection with its vehicle, agrees with itself."""
        with self._reading():
            owners = None
            if key is not None:
                found = queries.inspection(self.connection, key)
                owners = (found.id, found.vehicle_id)
            return verify_store(self.connection, self._media, owners, self._form_faults(owners))

    def inspection_of(self, finding_id: str) -> str:
        """Id of the inspection of a finding."""
        with self._reading():
            found = queries.inspection_of_finding(self.connection, finding_id)
        if found is None:
            raise UsageError(f"there is no finding {finding_id}")
        return found

    def index_anew(self) -> None:
        """Make the words by which findings are looked for anew; nothing of the record is touched."""
        with self._writing():
            word_index.build(self.connection)

    def fingerprint(self) -> str:
        """SHA-256 (hex) over the newest rows, which stand for all the others."""
        with self._reading():
            heads = self.connection.execute("SELECT hash FROM local_head ORDER BY hash").fetchall()
        return fingerprint(row[0] for row in heads)

    def rows(self) -> Generator[StoredRow, None, None]:
        """Every row, each after the rows it builds on; the store is held until the last."""
        with self._reading():
            yield from places.stored_rows(self.connection)

    def photo_originals(self) -> tuple[str, ...]:
        """Name of every photo that the record speaks of, once each."""
        with self._reading():
            return places.originals(self.connection, ("photo",))
