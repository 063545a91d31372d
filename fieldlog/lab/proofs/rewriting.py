"""What somebody does who can write every file of a record: change it in place, or write it anew."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from fieldlog.lab.proofs.shops import START
from fieldlog.shop.witness import HANDED_OUT
from fieldlog.store.base import StoredRow
from fieldlog.store.chain import hash_of, parts_of_row
from fieldlog.store.database import FILE
from fieldlog.store.media import MediaFolder
from fieldlog.store.places import stored_rows
from fieldlog.store.records import EventName
from fieldlog.store.sqlite_store import SqliteStore

Rows = list[StoredRow]


@contextlib.contextmanager
def changing(folder: Path, *, guarded: bool = True) -> Iterator[sqlite3.Connection]:
    """The database without its guards, which are put back at the end (unless not ``guarded``)."""
    connection = sqlite3.connect(folder / FILE, isolation_level=None)
    connection.row_factory = sqlite3.Row
    guards = connection.execute(
        "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' ORDER BY name"
    ).fetchall()
    for name, _ in guards:
        connection.execute(f"DROP TRIGGER {name}")
    connection.execute("PRAGMA ignore_check_constraints=ON")
    try:
        yield connection
    finally:
        if guarded:
            for _, sql in guards:
                connection.execute(sql)
        connection.close()


def change(sql: str, *more: str) -> Callable[[Path], None]:
    """Statements run on the database."""

    def act(folder: Path) -> None:
        with changing(folder) as connection:
            for each in (sql, *more):
                found = connection.execute(each)
                assert found.rowcount != 0, each

    return act


def written_anew(alter: Callable[[Rows], Rows | None]) -> Callable[[Path], None]:
    """The whole record written anew with every hash, number and note put right.

    Checkpoints inside it are left out: whoever writes it anew can do that, and cannot sign as others.
    """

    def act(folder: Path) -> None:
        connection = sqlite3.connect(folder / FILE)
        connection.row_factory = sqlite3.Row
        rows = [row for row in stored_rows(connection) if not _is_checkpoint(row)]
        writer = connection.execute(
            "SELECT value FROM local_state WHERE key = 'writer' ORDER BY key"
        ).fetchone()[0]
        connection.close()
        rows = alter(rows) or rows
        for part in folder.glob(f"{FILE}*"):
            part.unlink()
        store = SqliteStore(folder, MediaFolder(folder / "media"), now=START)
        store.connection.execute("PRAGMA foreign_keys=OFF")
        store.take(_chained(rows, writer))
        store.connection.execute("UPDATE local_state SET value = ? WHERE key = 'writer'", (writer,))
        store.close()
        shutil.rmtree(folder / HANDED_OUT, ignore_errors=True)

    return act


def _is_checkpoint(row: StoredRow) -> bool:
    return row.place.kind == "event" and row.columns["name"] == EventName.CHECKPOINT


def _chained(rows: Sequence[StoredRow], writer: str) -> Rows:
    parents: tuple[bytes, ...] = ()
    turn, found = 0, []
    for n, row in enumerate(rows):
        turn = max(turn + 1, row.place.made_at)
        place = replace(row.place, writer=writer, n=n, turn=turn, parents=parents, hash=b"")
        parts = parts_of_row(row.children)
        place = replace(place, hash=hash_of(place, row.columns, parts))
        parents = (place.hash,)
        found.append(replace(row, place=place, old=None))
    return found


def altered(kind: str, at: int = 0, **columns: Any) -> Callable[[Rows], Rows]:
    """Columns of the row number ``at`` of a kind."""

    def alter(rows: Rows) -> Rows:
        of_kind = [n for n, row in enumerate(rows) if row.place.kind == kind]
        row = rows[of_kind[at]]
        rows[of_kind[at]] = replace(row, columns={**row.columns, **columns})
        return rows

    return alter


def without(wanted: Callable[[StoredRow], bool]) -> Callable[[Rows], Rows]:
    """The rows that are not ``wanted`` away."""
    return lambda rows: [row for row in rows if not wanted(row)]


def exchanged(kind: str) -> Callable[[Rows], Rows]:
    """The first two rows of a kind in the other order."""

    def alter(rows: Rows) -> Rows:
        one, two = [n for n, row in enumerate(rows) if row.place.kind == kind][:2]
        first, second = rows[one], rows[two]
        at = first.place.made_at, second.place.made_at
        rows[one] = replace(second, place=replace(second.place, made_at=at[0]))
        rows[two] = replace(first, place=replace(first.place, made_at=at[1]))
        return rows

    return alter
