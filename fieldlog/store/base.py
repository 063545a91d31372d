"""What a store is, whatever keeps it: the rows that go in, and the protocol every engine fulfils.

``tests/store_contract.py`` is the suite that an engine has to pass; ``sqlite_store`` is the first.
"""

from __future__ import annotations

from collections.abc import Generator, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from types import MappingProxyType
from typing import Protocol

from fieldlog.store.chain import Place, Row
from fieldlog.store.old_chain import OldPlace
from fieldlog.store.records import HistoryRow, Inspection, InspectionRecord, Vehicle
from fieldlog.store.reviews import Review

_NOTHING: Mapping[str, Sequence[Row]] = MappingProxyType({})
_NO_TEXTS: Mapping[str, str] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class NewRow:
    """One row of the record as it is handed over; its number, chain and hash are the store's."""

    kind: str
    """The table it goes into."""
    id: str
    owner: str
    """Id of the vehicle or inspection that it belongs to; its own for one of those."""
    columns: Row
    """Without the id. Instants are microseconds since 1970 (UTC)."""
    children: Mapping[str, Sequence[Row]] = field(default_factory=lambda: _NOTHING)
    """Child table -> its rows, which name their parent."""
    limits: Mapping[str, str] = field(default_factory=lambda: _NO_TEXTS)
    """SHA-256 (hex) -> text of each limit that the row or its children name."""


@dataclass(frozen=True, slots=True)
class Stored:
    """Where a row came to lie: its id, and its number in this store when its kind has one."""

    id: str
    number: int | None = None


@dataclass(frozen=True, slots=True)
class StoredRow:
    """One row of the record as one store gives it to another: with its place, without numbers."""

    place: Place
    columns: Row
    """With the id; nothing that is local to the store."""
    children: Mapping[str, Sequence[Row]]
    limits: Mapping[str, str]
    old: OldPlace | None = None
    """Its place in the chain it was written to, for a row kept before records could merge."""


@dataclass(frozen=True, slots=True)
class Elsewhere:
    """A row that another record has, and that something here was written after.

    Only the hash is bound by the rows here; the rest is as whoever made the bundle said.
    """

    hash: bytes
    writer: str
    n: int
    turn: int
    behind: tuple[bytes, ...]
    """The newest rows of this record that it had seen."""


@dataclass(frozen=True, slots=True)
class Taken:
    """What came in from another store."""

    rows: int
    owners: frozenset[str]
    """Ids of the vehicles and inspections that the rows belong to."""


@dataclass(frozen=True, slots=True)
class AsSeen:
    """How much of an inspection (or vehicle) somebody had seen who decided something about it."""

    owner: str
    rows: int


@dataclass(frozen=True, slots=True)
class Verification:
    """Whether a record agrees with itself.

    That shows single edits, missing rows and a changed order; it does not show rows cut off the end,
    or a record written anew from its first row, hashes and all.
    """

    writers: int
    """Copies of the record that wrote rows of it."""
    rows: int
    media: int
    fingerprint: str
    earlier: str = ""
    """The fingerprint that was printed before records could merge; empty when nothing is so old."""
    faults: tuple[str, ...] = ()
    elsewhere: int = 0
    """Rows that others have and that are known here by their hash alone."""
    linked: int = 0
    """Of one inspection: rows whose place was checked, from its first to the newest of the record."""
    unread: int = 0
    """Of one inspection: rows of the record whose content was not read."""

    @property
    def agrees(self) -> bool:
        """Whether nothing was found changed, missing, put in, moved or unguarded."""
        return not self.faults


class Store(Protocol):
    """A record: rows go in a whole unit at a time and are never changed."""

    def append(
        self, rows: Sequence[NewRow], now: datetime, seen: AsSeen | None = None
    ) -> tuple[Stored, ...]:
        """Keep ``rows``, in their order, in one transaction stamped ``now``: all of them or none.

        Where each came to lie, in order. When the first of them is in the record already, all must
        be, with the same content, and nothing is added; raises ``StoreError`` when they are not.
        A correction of a finding that no longer stands, and a verdict or correction of a finding of
        another inspection, is refused with ``UsageError``. A photo whose original the inspection
        has already is that photo. ``ChangedError`` where the record is not what was ``seen`` of it.
        """
        ...

    def read(self, key: str) -> InspectionRecord:
        """Everything kept of one inspection (id, local number or ``last``)."""
        ...

    def history(
        self,
        vehicle_id: str,
        component: str | None,
        position: str | None,
        characteristic: str | None,
    ) -> tuple[HistoryRow, ...]:
        """Findings of a vehicle that stand, oldest first, narrowed by what is given."""
        ...

    def verify(self, key: str | None = None) -> Verification:
        """Whether the record, or one inspection with its vehicle, agrees with itself."""
        ...

    def vehicles(self) -> tuple[Vehicle, ...]:
        """Every vehicle, oldest first."""
        ...

    def vehicle(self, key: str) -> Vehicle:
        """A vehicle by id, local number or name; raises ``UsageError`` when there is no such."""
        ...

    def inspections(self, vehicle_id: str | None) -> tuple[Inspection, ...]:
        """Inspections of one vehicle, or all, oldest first."""
        ...

    def inspection(self, key: str) -> Inspection:
        """An inspection by id, local number or ``last``; raises ``UsageError`` when none."""
        ...

    def inspection_of(self, finding_id: str) -> str:
        """Id of the inspection of a finding; raises ``UsageError`` when there is no such."""
        ...

    def remarks(self, vehicle_id: str) -> tuple[tuple[Inspection, str], ...]:
        """Every remark on a vehicle that stands, with its inspection, oldest first."""
        ...

    def rows_of(self, owner: str) -> int:
        """How many rows belong to a vehicle or an inspection: as long as they are as many, nothing changed."""
        ...

    def sampled(self) -> tuple[Review, ...]:
        """Decisions of the blind sample of every inspection, and what was taken back, oldest first."""
        ...

    def fingerprint(self) -> str:
        """SHA-256 (hex) that two stores share when they hold the same rows, however they came."""
        ...

    def rows(self) -> Generator[StoredRow, None, None]:
        """Every row of the record, each after the rows it builds on; close it when not read out."""
        ...

    def originals(self) -> tuple[str, ...]:
        """Name of every clip and photo that the record speaks of, once each."""
        ...

    def elsewhere(self) -> tuple[Elsewhere, ...]:
        """Rows that others have and that are known here by their hash."""
        ...

    def take(self, rows: Iterable[StoredRow], elsewhere: Sequence[Elsewhere] = ()) -> Taken:
        """Add, in one transaction, those of another store's ``rows`` that are not here.

        ``elsewhere``: their parents that are not among them. Raises ``StoreError``, and adds nothing, when a row here has the id of one of them and is not
        the same.
        """
        ...

    def close(self) -> None:
        """Let go of it; calling it twice is harmless."""
        ...
