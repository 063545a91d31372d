"""One write transaction: rows go into their tables and onto their chains, or nowhere."""

from __future__ import annotations

import secrets
import sqlite3
from collections.abc import Mapping, Sequence
from datetime import datetime

from fieldlog.store.chain import ZERO, Cell, Row, canonical, digest
from fieldlog.store.rows import instant_text

_ALPHABET = "0123456789abcdefghjkmnpqrstvwxyz"


def new_id(now: datetime) -> str:
    """A name no other store will give: 9 characters of time (ms), 11 random ones (55 bits).

    Sorting by id is sorting by time, so new rows go to the end of every index.
    """
    number = (int(now.timestamp() * 1000) << 55) | secrets.randbits(55)
    letters = []
    for _ in range(20):
        number, rest = divmod(number, 32)
        letters.append(_ALPHABET[rest])
    return "".join(reversed(letters))


class Writer:
    """Adds rows within an open transaction. ``now`` is the instant stamped on all of them."""

    def __init__(self, connection: sqlite3.Connection, now: datetime) -> None:
        """Take the store's newest record as the one to go on from."""
        self.connection = connection
        self.now = now
        newest = connection.execute("SELECT seq, link FROM record ORDER BY seq DESC LIMIT 1")
        head = newest.fetchone()
        self._seq: int = head[0] if head else 0
        self._link: bytes = head[1] if head else ZERO
        self._heads: dict[str, tuple[int, bytes]] = {}

    def add(
        self,
        kind: str,
        row: Mapping[str, Cell],
        *,
        chain: str | None = None,
        id: str | None = None,
        children: Mapping[str, Sequence[Row]] | None = None,
    ) -> str:
        """Add one row of the record with its children; returns its id.

        ``chain`` is the id of the inspection or vehicle it belongs to; None: the row begins a chain
        of its own. ``children`` maps child tables to their rows, which already name the parent when
        ``id`` was given.
        """
        name = id or new_id(self.now)
        owner = chain or name
        n, previous = self._head(owner)
        stored: Row = _storable({"id": name, **row})
        below = {
            table: [_storable(child) for child in rows] for table, rows in (children or {}).items()
        }
        made_at = instant_text(self.now)
        text = canonical(
            id=name,
            kind=kind,
            chain=owner,
            n=n,
            made_at=made_at,
            row=stored,
            children=[child for rows in below.values() for child in rows],
        )
        mark = digest(previous, text)
        self._seq += 1
        self._link = digest(self._link, mark)
        self._insert(
            "record",
            {
                "seq": self._seq,
                "id": name,
                "kind": kind,
                "chain": owner,
                "n": n,
                "made_at": made_at,
                "hash": mark,
                "link": self._link,
            },
        )
        self._insert(kind, stored)
        for table, rows in below.items():
            for child in rows:
                self._insert(table, child)
        self._heads[owner] = (n + 1, mark)
        return name

    def next_number(self, table: str, inspection_id: str) -> int:
        """The next free number of ``table`` within an inspection, from 1."""
        row = self.connection.execute(
            f"SELECT coalesce(max(number), 0) + 1 FROM {table} WHERE inspection_id = ?",
            (inspection_id,),
        ).fetchone()
        return int(row[0])

    def _head(self, chain: str) -> tuple[int, bytes]:
        known = self._heads.get(chain)
        if known is not None:
            return known
        row = self.connection.execute(
            "SELECT n, hash FROM record WHERE chain = ? ORDER BY n DESC LIMIT 1", (chain,)
        ).fetchone()
        return (row[0] + 1, row[1]) if row else (0, ZERO)

    def _insert(self, table: str, row: Row) -> None:
        columns = ", ".join(row)
        places = ", ".join("?" * len(row))
        self.connection.execute(
            f"INSERT INTO {table} ({columns}) VALUES ({places})", tuple(row.values())
        )


def _storable(row: Row) -> dict[str, Cell]:
    """``row`` as it will be read back, so that its hash holds.

    SQLite keeps no -0.0 in the way it is hashed, and no text can hold half of a surrogate pair (a
    file name that is not UTF-8): those become ``0.0`` and an escape such as ``\\udc80``.
    """
    return {column: _cell(value) for column, value in row.items()}


def _cell(value: Cell) -> Cell:
    if isinstance(value, float):
        return value + 0.0  # -0.0 + 0.0 is 0.0
    if isinstance(value, str) and not value.isascii():
        return value.encode("utf-8", "backslashreplace").decode("utf-8")
    return value
