"""One write transaction: rows go into their tables and onto their chains, or nowhere."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from datetime import datetime

from fieldlog.errors import StoreError, UsageError
from fieldlog.store import queries
from fieldlog.store.base import Kept, NewRow
from fieldlog.store.chain import ZERO, Cell, Row, canonical, digest
from fieldlog.store.ids import part_id
from fieldlog.store.rows import instant_text

NUMBERED = {
    "vehicle": None,
    "inspection": None,
    "utterance": "inspection_id",
    "finding": "inspection_id",
}
"""Kinds whose rows are counted, and the column within whose value they are (None: the store)."""


class Writer:
    """Adds rows within an open transaction. ``now`` is the instant stamped on all of them."""

    def __init__(self, connection: sqlite3.Connection, now: datetime) -> None:
        """Take the store's newest record as the one to go on from."""
        self.connection = connection
        self.made_at = instant_text(now)
        newest = connection.execute("SELECT seq, link FROM record ORDER BY seq DESC LIMIT 1")
        head = newest.fetchone()
        self._seq: int = head[0] if head else 0
        self._link: bytes = head[1] if head else ZERO
        self._heads: dict[str, tuple[int, bytes]] = {}

    def append(self, rows: Sequence[NewRow]) -> tuple[Kept, ...]:
        """Add ``rows``, in their order, each by the rules of its kind.

        Nothing is added when the first of them is in the record already: then all of them must be,
        with the same content and nothing beside them. Raises ``StoreError`` when they are not.
        """
        first = rows[0]
        if queries.kind_of(self.connection, first.id) is not None:
            self._expect_same(rows)
            return tuple(self._kept(row) for row in rows)
        return tuple(self._add(row) for row in rows)

    def _add(self, new: NewRow) -> Kept:
        if new.kind == "photo":
            known = queries.photo_id(self.connection, new.owner, str(new.columns["media"]))
            if known is not None:
                return Kept(known)
        self._check(new)
        for sha256, text in new.limits.items():
            self.connection.execute(
                "INSERT OR IGNORE INTO limit_text (sha256, text) VALUES (?, ?)", (sha256, text)
            )
        number = self._next_number(new) if new.kind in NUMBERED else None
        self._chain(new, {} if number is None else {"number": number})
        return Kept(new.id, number)

    def _check(self, new: NewRow) -> None:
        """Raise ``UsageError`` for what the record never takes, whoever sends it."""
        if new.kind not in {"correction", "verdict"}:
            return
        finding_id = str(new.columns["finding_id"])
        owner = queries.inspection_of_finding(self.connection, finding_id)
        if owner is None:
            raise UsageError(f"there is no finding {finding_id}")
        if owner != new.owner:
            raise UsageError(f"finding {finding_id} belongs to another inspection")
        if new.kind == "correction" and queries.is_superseded(self.connection, finding_id):
            raise UsageError(
                f"finding {finding_id} was already corrected or withdrawn",
                todo="correct the finding that replaced it",
            )

    def _chain(self, new: NewRow, local: Row) -> None:
        n, previous = self._head(new.owner)
        stored = _storable({"id": new.id, **new.columns, **local})
        below = {table: [_storable(row) for row in rows] for table, rows in new.children.items()}
        text = canonical(
            id=new.id,
            kind=new.kind,
            chain=new.owner,
            n=n,
            made_at=self.made_at,
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
                "id": new.id,
                "kind": new.kind,
                "chain": new.owner,
                "n": n,
                "made_at": self.made_at,
                "hash": mark,
                "link": self._link,
            },
        )
        self._insert(new.kind, stored)
        for table, rows in below.items():
            for child in rows:
                self._insert(table, child)
        self._heads[new.owner] = (n + 1, mark)

    def _expect_same(self, rows: Sequence[NewRow]) -> None:
        whole = rows[0].id
        there = {whole, *queries.parts_of(self.connection, part_id(whole, ""))}
        if {row.id for row in rows} != there or not all(self._is_kept(row) for row in rows):
            raise StoreError(
                f"{rows[0].kind} {whole} is in the record already, with other content",
                todo="give what is new an id of its own",
            )

    def _is_kept(self, new: NewRow) -> bool:
        content = queries.content(self.connection, new.kind, new.id)
        if content is None or queries.owner_of(self.connection, new.id) != new.owner:
            return False
        row, children = content
        mine = _storable({"id": new.id, **new.columns})
        below = [_storable(child) for rows in new.children.values() for child in rows]
        return mine == {key: row[key] for key in mine} and below == children

    def _kept(self, new: NewRow) -> Kept:
        if new.kind not in NUMBERED:
            return Kept(new.id)
        return Kept(new.id, queries.number_of(self.connection, new.kind, new.id))

    def _next_number(self, new: NewRow) -> int:
        """The next free number of its kind, from 1, in the store or within its inspection."""
        within = NUMBERED[new.kind]
        where, values = ("", ()) if within is None else (f" WHERE {within} = ?", (new.owner,))
        sql = f"SELECT coalesce(max(number), 0) + 1 FROM {new.kind}{where}"
        return int(self.connection.execute(sql, values).fetchone()[0])

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
