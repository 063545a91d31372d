"""Whose fault it is that a row is not taken: this machine's (its disk, its server), or the row's."""

from __future__ import annotations

import sqlite3

from fieldlog.store.database import code_of

_DISK = frozenset(
    {
        sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_NOMEM, sqlite3.SQLITE_CANTOPEN,
        sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED,
        sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB,
    }
)  # fmt: skip
_ROWS = ("22", "23", "54")
"""SQLSTATE classes that speak of what was handed over: data, what it would break, what is too long."""


def is_own(error: BaseException) -> bool:
    """Whether the disk, the database or the server is what an error of the store comes from."""
    cause = error.__cause__
    if isinstance(cause, sqlite3.Error):
        return code_of(cause) in _DISK
    if cause is not None and type(cause).__module__.startswith("psycopg"):
        state = getattr(cause, "sqlstate", None)
        lost = any(kind.__name__ == "OperationalError" for kind in type(cause).__mro__)
        return lost if state is None else not state.startswith(_ROWS)
    return isinstance(cause, OSError)
