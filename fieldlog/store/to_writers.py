"""The step from one chain per vehicle and inspection to one per writer, for stores that exist.

Nothing is hashed anew: a row's old hash, with what it needs to be checked by the old rule, goes to
``old_chain``; its ``link`` becomes its hash in the record of today, and the last link the head that
the first new row names as its parent. So two copies of one old store still share their rows.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from datetime import datetime
from typing import TYPE_CHECKING

from fieldlog.errors import StoreError
from fieldlog.quantities.instants import instant_text
from fieldlog.store.chain import BEFORE, ZERO, next_turn
from fieldlog.store.old_chain import INSTANTS
from fieldlog.store.rows import instant_us
from fieldlog.store.schema import (
    CHAINED,
    CHILDREN,
    NUMBERED,
    TABLES,
    create_indexes,
    create_table,
    guards,
)

if TYPE_CHECKING:
    from sqlite_utils import Database

_HASHED_NUMBERS = ("utterance", "finding")
"""Kinds whose number was in the hash."""


def to_writers(db: Database) -> None:
    """Rebuild every table as it is now, with the rows it has. Raises ``StoreError``."""
    connection = db.conn
    there = {row[0] for row in connection.execute("SELECT name FROM sqlite_schema ORDER BY name")}
    known = ("limit_text", *CHAINED, *(c for pairs in CHILDREN.values() for c, _ in pairs))
    carried = tuple(table for table in known if table in there)  # some came later
    # Without this a renamed table would take the references of all others with it
    # (sqlite.org/pragma.html#pragma_legacy_alter_table).
    connection.execute("PRAGMA legacy_alter_table=ON")
    try:
        for table in ("record", *carried):
            connection.execute(f"ALTER TABLE {table} RENAME TO old_{table}")
    finally:
        connection.execute("PRAGMA legacy_alter_table=OFF")
    for table in TABLES:
        connection.execute(create_table(table))
    _carry_record(connection)
    for table in carried:
        _carry(connection, table)
    _carry_old_chain(connection)
    for table in ("record", *carried):
        connection.execute(f"DROP TABLE old_{table}")
    for statement in (*create_indexes(), *guards().values()):
        connection.execute(statement)


def _carry_record(connection: sqlite3.Connection) -> None:
    old = connection.execute(
        "SELECT seq, id, kind, chain, made_at, link FROM old_record ORDER BY seq"
    )
    connection.executemany(
        "INSERT INTO record (id, kind, owner, writer, n, made_at, turn, hash, parents) "
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        _placed(old),
    )
    connection.execute(
        "INSERT INTO local_head (hash, turn) SELECT hash, turn FROM record ORDER BY n DESC LIMIT 1"
    )


def _placed(old: sqlite3.Cursor) -> Iterator[tuple[object, ...]]:
    """Each row of the record, with the one that arrived before it as its parent."""
    parents: tuple[bytes, ...] = ()
    turns: tuple[int, ...] = ()
    for seq, name, kind, owner, made_at, link in old:
        at = _us(made_at, f"{kind} {name}")
        turn = next_turn(at, turns)
        yield name, kind, owner, BEFORE, seq, at, turn, link, b"".join(parents)
        parents, turns = (link,), (turn,)


def _carry(connection: sqlite3.Connection, table: str) -> None:
    new = [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]
    there = {row[1] for row in connection.execute(f"PRAGMA table_info(old_{table})")}
    source = ["number" if column == "local_number" else column for column in new]
    source = [column if column in there else "NULL" for column in source]
    key = ", ".join(source[:2])  # its id, or its parent and its rank
    rows = connection.execute(f"SELECT {', '.join(source)} FROM old_{table} ORDER BY {key}")
    instant = INSTANTS.get(table)
    at = new.index(instant) if instant is not None else None
    name = new.index("id") if "id" in new else 0

    def carried() -> Iterator[tuple[object, ...]]:
        for row in rows:
            cells = list(row)
            if at is not None and cells[at] is not None:
                cells[at] = _us(cells[at], f"{table} {cells[name]}")
            yield tuple(cells)

    connection.executemany(
        f"INSERT INTO {table} ({', '.join(new)}) VALUES ({', '.join('?' * len(new))})", carried()
    )


def _carry_old_chain(connection: sqlite3.Connection) -> None:
    numbers = " ".join(
        f"WHEN '{kind}' THEN (SELECT t.number FROM old_{kind} t WHERE t.id = r.id)"
        for kind in _HASHED_NUMBERS
        if kind in NUMBERED
    )
    connection.execute(
        "INSERT INTO old_chain (id, n, previous, hash, number) SELECT id, n, "
        "coalesce(lag(hash) OVER (PARTITION BY chain ORDER BY n), ?), hash, "
        f"CASE kind {numbers} END FROM old_record r",
        (ZERO,),
    )


def _us(text: str, where: str) -> int:
    """Microseconds since 1970 of an instant as it was kept; they must give the same text again."""
    try:
        at = datetime.fromisoformat(text)
        if instant_text(at) == text:
            return instant_us(at)
    except (TypeError, ValueError):
        pass
    raise StoreError(
        f"{where} has an instant that cannot be read ({text!r}); nothing was changed",
        todo="restore the folder from a copy, or report this",
    )
