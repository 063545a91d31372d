"""What goes into a store: rows by kind, a whole unit at a time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

from fieldlog.store.chain import Row


@dataclass(frozen=True, slots=True)
class NewRow:
    """One row of the record as it is handed over; its number, chain and hash are the store's."""

    kind: str
    """The table it goes into."""
    id: str
    owner: str
    """Id of the vehicle or inspection that it belongs to; its own for one of those."""
    columns: Row
    """Without the id."""
    children: Mapping[str, Sequence[Row]] = field(default_factory=lambda: MappingProxyType({}))
    """Child table -> its rows, which name their parent."""
    limits: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    """SHA-256 (hex) -> text of each limit that the row or its children name."""


@dataclass(frozen=True, slots=True)
class Kept:
    """Where a row came to lie: its id, and its number in this store when its kind has one."""

    id: str
    number: int | None = None
