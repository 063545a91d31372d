"""Opening a record only to read it: nothing is made, moved, brought up to date or written.

So a record is read on a medium that cannot be written and on a full disk. How SQLite reads a database
that is written ahead (sqlite.org/wal.html, uri.html) depends on what lies beside it:

- no log: nobody has it open, so it is read as a file that does not change (``immutable``), because SQLite
  would make a log otherwise;
- a log and its index: somebody has it open, or had; it is read with both;
- a log alone, or a journal to be rolled back (a copy, or a crash): both are copied to a place of our own
  and read there.

A record of an earlier version is brought up to date there too.
"""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
import tempfile
from datetime import datetime
from pathlib import Path

from sqlite_utils import Database

from fieldlog.errors import StoreError
from fieldlog.store.database import (
    FILE,
    SET_ASIDE,
    Opened,
    back_up,
    code_of,
    connection_from,
    damage,
    open_database,
    steps_left,
    translated,
)

_CANNOT = {sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_IOERR}


def look_into(folder: Path, *, now: datetime) -> Opened:
    """Open the database in ``folder`` to be read. Raises ``StoreError``."""
    path = folder / FILE
    with translated(path):
        if not path.is_file():
            raise StoreError(
                "there is no record here",
                where=str(folder),
                todo=f"name the folder that holds {FILE}",
            )
        if path.stat().st_size == 0:
            if reason := damage(path):
                raise StoreError(reason, where=str(path), todo=SET_ASIDE)
            raise StoreError("is empty: nothing was ever kept in it", where=str(path))
        connection, beside = _connect(path)
        try:
            if beside is None and not steps_left(Database(connection, execute_plugins=False), path):
                return _opened(connection, path, None)
            if beside is None:
                beside = _beside()
                with contextlib.closing(connection):
                    back_up(connection, Path(beside.name) / FILE)
            else:
                connection.close()
            # A copy of our own: it may be recovered and brought up to date.
            brought = open_database(Path(beside.name), now=now)
        except BaseException:
            connection.close()
            if beside is not None:
                beside.cleanup()
            raise
    return Opened(brought.db, path, brought.journal, (), _writer(brought.db.conn), beside)


def _opened(connection: sqlite3.Connection, path: Path, beside: None) -> Opened:
    mode: str = connection.execute("PRAGMA journal_mode").fetchone()[0]
    db = Database(connection, execute_plugins=False)
    return Opened(db, path, mode, (), _writer(connection), beside)


def _connect(path: Path) -> tuple[sqlite3.Connection, tempfile.TemporaryDirectory[str] | None]:
    """A connection that reads ``path``, or a copy of it in a folder of our own."""
    log, index = (path.with_name(path.name + ending) for ending in ("-wal", "-shm"))
    with path.open("rb") as stream:
        ahead = stream.read(20)[18:20] == b"\x02\x02"  # sqlite.org/fileformat.html, 1.3
    if ahead and not log.exists():
        return _tried(f"{path.resolve().as_uri()}?mode=ro&immutable=1"), None
    if not ahead or index.exists():
        try:
            return _tried(f"{path.resolve().as_uri()}?mode=ro"), None
        except sqlite3.OperationalError as error:
            if code_of(error) not in _CANNOT:
                raise
    beside = _beside()
    try:
        for ending in ("", "-wal", "-journal"):
            part = path.with_name(path.name + ending)
            if part.exists():
                shutil.copyfile(part, Path(beside.name) / part.name)
        return _tried((Path(beside.name) / FILE).as_uri()), beside
    except BaseException:
        beside.cleanup()
        raise


def _tried(uri: str) -> sqlite3.Connection:
    connection = connection_from(uri)
    try:
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except BaseException:
        connection.close()
        raise
    return connection


def _beside() -> tempfile.TemporaryDirectory[str]:
    return tempfile.TemporaryDirectory(prefix="fieldlog-")


def _writer(connection: sqlite3.Connection) -> str:
    try:
        row = connection.execute(
            "SELECT value FROM local_state WHERE key = 'writer' ORDER BY key"
        ).fetchone()
    except sqlite3.OperationalError:
        return ""  # made otherwise than fieldlog makes it, which verify names
    return str(row[0]) if row else ""
