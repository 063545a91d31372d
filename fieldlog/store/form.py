"""Whether a database is made as fieldlog makes it: its tables, indexes and triggers, and its pages."""

from __future__ import annotations

import contextlib
import sqlite3
import struct
from functools import cache
from pathlib import Path

from fieldlog.store.schema import TABLES, create_indexes, create_table, guards

_SQL = "SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY type, name"
_OF_LIBRARY = ("_sqlite_migrations", "idx__sqlite_migrations", "sqlite_stat")
"""Tables that SQLite and sqlite-utils keep for themselves."""
_MOST_TOLD = 20


@cache
def _expected() -> dict[tuple[str, str], str]:
    with contextlib.closing(sqlite3.connect(":memory:")) as connection:
        for statement in (*map(create_table, TABLES), *create_indexes(), *guards().values()):
            connection.execute(statement)
        return {(kind, name): sql for kind, name, sql in connection.execute(_SQL)}


def form_faults(connection: sqlite3.Connection) -> list[str]:
    """Tables, indexes and triggers that are gone, are made otherwise, or were put in."""
    there = {(kind, name): sql for kind, name, sql in connection.execute(_SQL)}
    faults = []
    for (kind, name), sql in sorted(_expected().items()):
        if there.get((kind, name)) == sql:
            continue
        if kind == "trigger":
            told = "gone or changed; the database no longer refuses such a change"
        else:
            told = "gone" if (kind, name) not in there else "made otherwise than fieldlog makes it"
        faults.append(f"{kind} {name}: {told}")
    for kind, name in sorted(there.keys() - _expected().keys()):
        if not name.startswith(_OF_LIBRARY):
            faults.append(f"{kind} {name}: put in; fieldlog makes no such {kind}")
    return faults


def page_faults(connection: sqlite3.Connection) -> list[str]:
    """What SQLite finds wrong in its pages, in its indexes and in what rows refer to."""
    faults = []
    try:
        for (told,) in connection.execute(f"PRAGMA integrity_check({_MOST_TOLD})"):
            faults += [f"database: {line}" for line in str(told).splitlines() if line != "ok"]
        for table, _, parent, _ in connection.execute("PRAGMA foreign_key_check"):
            if parent != "record":  # who puts in a row beside the record is told so by its name
                faults.append(f"{table}: a row of it refers to one of {parent} that is not there")
    except sqlite3.DatabaseError as error:
        faults.append(f"database: it cannot be read to its end ({error})")
    return list(dict.fromkeys(faults))


def log_faults(path: Path) -> list[str]:
    """What of the log that is written ahead of the database ``path`` does not fit.

    SQLite reads a log up to the first frame whose sums do not fit and says nothing of it
    (sqlite.org/fileformat.html, section 4). A frame with the marks of this log (its salts) and other
    sums was damaged, changed, or cut off in the middle of being written.
    """
    log = path.with_name(f"{path.name}-wal")
    try:
        data = log.read_bytes()
    except OSError:
        return []
    if len(data) < 32:
        return []
    magic, _, page, _, *salts, first, second = struct.unpack(">8I", data[:32])
    if magic & ~1 != 0x377F0682:
        return [f"{log.name}: is no log of a database"]
    order = ">" if magic & 1 else "<"
    sums = summed(data[:24], (0, 0), order)
    if sums != (first, second):
        return [f"{log.name}: its head does not fit its sums"]
    for number, at in enumerate(range(32, len(data) - 24 - page + 1, 24 + page), 1):
        _, _, *marks, one, two = struct.unpack(">6I", data[at : at + 24])
        if marks != salts:
            return []  # left over from before the log was begun anew
        sums = summed(data[at : at + 8], sums, order)
        sums = summed(data[at + 24 : at + 24 + page], sums, order)
        if sums != (one, two):
            return [
                f"{log.name}: frame {number} does not fit its sums: what was written there and after "
                "is not read"
            ]
    return []


def summed(data: bytes, sums: tuple[int, int], order: str) -> tuple[int, int]:
    """The two running sums of a log over ``data`` (sqlite.org/fileformat.html, 4.2)."""
    one, two = sums
    for first, second in struct.iter_unpack(f"{order}II", data):
        one = (one + first + two) & 0xFFFFFFFF
        two = (two + second + one) & 0xFFFFFFFF
    return one, two
