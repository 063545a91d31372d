"""Opening the database so that nothing said is ever lost: journal, sync, migrations, quarantine.

Settings and why (sqlite.org/pragma.html, wal.html, howtocorrupt.html): WAL so that the review page
reads while the session writes; ``synchronous=FULL`` so that a commit survives power loss; a busy
timeout and ``BEGIN IMMEDIATE`` so that two writers wait for each other instead of failing; foreign
keys on (SQLite leaves them off). Where WAL cannot work (network and some removable file systems)
the journal is truncated in place instead.
"""

from __future__ import annotations

import contextlib
import sqlite3
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlite_utils import Database

from fieldlog.errors import StoreError, UsageError
from fieldlog.store.ids import new_id
from fieldlog.store.migrations import APPLICATION_ID, NAMES, at_once, migrations
from fieldlog.whole import free_name, refused
from fieldlog.whole import reason as why

FILE = "fieldlog.db"
BUSY_S = 10.0
QUICK_CHECK_BYTES = 8 << 20
"""Files up to this size are checked whole at every opening (a few ms); larger ones only after an
unclean end, seen by the journal it left."""

SET_ASIDE = "bring back an earlier copy, or move it aside: fieldlog store set-aside"
"""What is to be done with a damaged database."""

_STAMP = "%Y%m%dT%H%M%SZ"

NETWORK = frozenset(
    {"nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "virtiofs", "vboxsf", "fuse.sshfs", "drvfs"}
)


@dataclass(frozen=True, slots=True)
class Opened:
    """An open database and what the user should be told about it."""

    db: Database
    path: Path
    journal: str
    """``wal`` or ``truncate``."""
    notices: tuple[str, ...]
    writer: str
    """Who writes here: the name of this copy of the store."""
    beside: tempfile.TemporaryDirectory[str] | None = None
    """A private copy that is read instead; gone when this is."""


def open_database(folder: Path, *, now: datetime, mounts: str | None = None) -> Opened:
    """Open (making it when needed) the database in ``folder`` and bring it up to date.

    ``now`` names backups. ``mounts`` is the text of the mount table, read from the system when None.
    Raises ``StoreError``: folder not writable, database damaged, locked, foreign or newer.
    """
    path = folder / FILE
    notices: list[str] = []
    todo = "choose a folder that can be written with --store DIR"
    with refused("the folder cannot be made", folder, todo):
        folder.mkdir(parents=True, exist_ok=True)
    with translated(path):
        reason = damage(path)
        if reason is not None:
            raise StoreError(f"{reason}; nothing was changed", where=str(path), todo=SET_ASIDE)
        db = _connect(path)
        try:
            journal = _choose_journal(db, path, mounts, notices)
            _migrate(db, path, now, notices)
            writer = _writer(db.conn, path, now)
        except BaseException:
            db.close()
            raise
    return Opened(db, path, journal, tuple(notices), writer)


def connection_from(place: Path | str) -> sqlite3.Connection:
    """A connection to a file, or to what a ``file:`` address names."""
    connection = sqlite3.connect(
        place,
        timeout=BUSY_S,
        isolation_level=None,
        check_same_thread=False,
        uri=isinstance(place, str),
    )
    connection.row_factory = sqlite3.Row
    return connection


def _connect(path: Path) -> Database:
    connection = connection_from(path)
    connection.execute("PRAGMA synchronous=FULL")
    # macOS: fsync alone does not reach the platter (sqlite.org/pragma.html#pragma_fullfsync).
    connection.execute("PRAGMA fullfsync=ON")
    connection.execute("PRAGMA checkpoint_fullfsync=ON")
    connection.execute("PRAGMA foreign_keys=ON")
    return Database(connection, execute_plugins=False)


def _choose_journal(db: Database, path: Path, mounts: str | None, notices: list[str]) -> str:
    system = file_system(path, _mount_table() if mounts is None else mounts)
    why = f"the folder is on a network or shared file system ({system})"
    if system not in NETWORK:
        try:
            if db.conn.execute("PRAGMA journal_mode=WAL").fetchone()[0] == "wal":
                return "wal"
            why = "this disk does not support write-ahead logging"
        except sqlite3.OperationalError as error:
            if code_of(error) in {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_READONLY}:
                raise
            why = f"this disk does not support write-ahead logging ({error})"
    mode: str = db.conn.execute("PRAGMA journal_mode=TRUNCATE").fetchone()[0]
    notices.append(f"{path}: {why}; a slower, plain journal is used. A local disk is better")
    return mode


def file_system(path: Path, mounts: str) -> str | None:
    """Type of the file system that holds ``path``, from the text of a Linux mount table."""
    best, kind = "", None
    target = str(path.resolve())
    for line in mounts.splitlines():
        fields = line.split(" ")
        if len(fields) < 3:
            continue
        point = fields[1].replace("\\040", " ")
        inside = target == point or target.startswith(point.rstrip("/") + "/")
        if inside and len(point) >= len(best):
            best, kind = point, fields[2]
    return kind


def _mount_table() -> str:
    try:
        return Path("/proc/self/mounts").read_text("utf-8", "replace")
    except OSError:
        return ""  # not Linux: the journal mode that SQLite reports back is the only test


def _migrate(db: Database, path: Path, now: datetime, notices: list[str]) -> None:
    connection = db.conn
    if not steps_left(db, path):
        return
    # Foreign keys cannot be switched inside a transaction; a rebuilt table must not touch its
    # children while it is away, so they are off during the steps and checked before the commit.
    connection.execute("PRAGMA foreign_keys=OFF")
    backup: Path | None = None
    try:
        connection.execute("BEGIN IMMEDIATE")
        pending = _pending(db, path)  # another program may have been faster
        if pending and len(pending) < len(NAMES):
            backup = free_name(path.with_name(f"{path.name}.before-{pending[0]}-{now:{_STAMP}}"))
            _back_up(path, backup)
            notices.append(f"{path}: brought up to date; a copy of the old state is {backup.name}")
        _take_steps(db, path)
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        if backup is not None:
            backup.unlink(missing_ok=True)
        raise
    finally:
        connection.execute("PRAGMA foreign_keys=ON")


def steps_left(db: Database, path: Path) -> list[str]:
    """Steps to be taken until it is up to date; raises ``StoreError`` for one that is not ours."""
    application = db.conn.execute("PRAGMA application_id").fetchone()[0]
    tables = db.conn.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if tables and application != APPLICATION_ID:
        raise StoreError(
            "is a database of some other program", where=str(path), todo="choose another folder"
        )
    return _pending(db, path)


def _pending(db: Database, path: Path) -> list[str]:
    """Steps still to be taken, oldest first; raises ``StoreError`` for a database that is newer."""
    applied = [m.name for m in migrations.applied(db)]
    unknown = [name for name in applied if name not in NAMES]
    if unknown:
        raise StoreError(
            f"was written by a newer fieldlog (it has {unknown[-1]}, this version ends at "
            f"{NAMES[-1]})",
            where=str(path),
            todo="update fieldlog, or choose another folder with --store DIR",
        )
    return [name for name in NAMES if name not in applied]


def _take_steps(db: Database, path: Path) -> None:
    """Bring an open transaction's database up to date; raises ``StoreError`` when it cannot be."""
    connection = db.conn
    there = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    try:
        (migrations if there else at_once).apply(db)
    except sqlite3.IntegrityError as error:
        raise StoreError(
            f"holds a row that this version does not take ({error}); it was left as it was",
            where=str(path),
            todo="restore the folder from a copy, or report this with the version you came from",
        ) from error
    except StoreError as error:
        raise StoreError(error.what, where=str(path), todo=error.todo) from error
    broken = connection.execute("PRAGMA foreign_key_check").fetchall()
    if broken:
        raise StoreError(
            f"bringing it up to date would break {len(broken)} references; it was left as it was",
            where=str(path),
            todo="report this with the version you came from",
        )
    connection.execute(f"PRAGMA application_id={APPLICATION_ID}")
    connection.execute(f"PRAGMA user_version={len(NAMES)}")


def _back_up(path: Path, target: Path) -> None:
    """Copy the database in ``path``, as last committed, to ``target``."""
    # A connection of its own: the one that is about to migrate holds the write lock already.
    with contextlib.closing(sqlite3.connect(path, timeout=BUSY_S)) as source:
        back_up(source, target)


def back_up(source: sqlite3.Connection, target: Path) -> None:
    """Copy a database to the new file ``target``, waiting for other programs as writing does."""
    until = time.monotonic() + BUSY_S

    def waiting(status: int, remaining: int, total: int) -> None:
        # Python tries again for ever while another program holds the database.
        if status in {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED} and time.monotonic() > until:
            error = sqlite3.OperationalError("database is locked")
            error.sqlite_errorcode = sqlite3.SQLITE_BUSY
            raise error

    with contextlib.closing(sqlite3.connect(target)) as copy:
        source.backup(copy, progress=waiting)


def _writer(connection: sqlite3.Connection, path: Path, now: datetime) -> str:
    """The name of this copy of the store, made when it has none or was copied from elsewhere.

    A copied file lies at another place of the disk (its inode); it writes a chain of its own from
    then on. Should a copy go unnoticed (a cloned disk), the two still merge: their chains fork.
    """
    place = str(path.stat().st_ino)
    known = _local_state(connection)
    if known.get("place") == place and "writer" in known:
        return known["writer"]
    connection.execute("BEGIN IMMEDIATE")
    try:
        known = _local_state(connection)  # another program may have been faster
        name = known["writer"] if known.get("place") == place else new_id(now)
        for pair in (("writer", name), ("place", place)):
            connection.execute(
                "INSERT OR REPLACE INTO local_state (key, value) VALUES (?, ?)", pair
            )
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
    return name


def _local_state(connection: sqlite3.Connection) -> dict[str, str]:
    return {
        row[0]: row[1]
        for row in connection.execute("SELECT key, value FROM local_state ORDER BY key")
    }


def damage(path: Path, *, whole: bool = False) -> str | None:
    """Why the file is not a usable database, or None. A locked or absent file is not damaged.

    ``whole``: every page is looked at, however large the file is.
    """
    if not path.exists():
        return None
    if path.stat().st_size == 0:
        kept = any(each.is_file() for each in (path.parent / "media").rglob("*"))
        return "the file is empty, and clips or photos of a record lie beside it" if kept else None
    whole = whole or path.stat().st_size <= QUICK_CHECK_BYTES or _left_over(path)
    probe = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None)
    try:
        probe.execute("SELECT count(*) FROM sqlite_master").fetchone()
        pages: int = probe.execute("PRAGMA page_count").fetchone()[0]
        size: int = probe.execute("PRAGMA page_size").fetchone()[0]
        if not _left_over(path) and path.stat().st_size < pages * size:
            return "the file is cut short"
        if whole:
            answer = probe.execute("PRAGMA quick_check(1)").fetchone()[0]
            if answer != "ok":
                return f"the file is damaged ({answer.splitlines()[-1]})"
    except sqlite3.DatabaseError as error:
        if code_of(error) in {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}:
            return f"the file is damaged ({error})"
        raise
    finally:
        probe.close()
    return None


def _left_over(path: Path) -> bool:
    wal = path.with_name(path.name + "-wal")
    return wal.exists() and wal.stat().st_size > 0


def set_aside(folder: Path, now: datetime) -> Path:
    """Move the damaged database in ``folder`` aside, so that a new one can be begun; where it is now.

    Nothing is deleted, and clips and photos stay. Raises ``StoreError`` where there is none, and
    ``UsageError`` for one that is not damaged.
    """
    path = folder / FILE
    with translated(path):
        if not path.is_file():
            raise StoreError("there is no record here", where=str(folder))
        if damage(path, whole=True) is None:
            raise UsageError("it is not damaged: it stays where it is", where=str(path))
        return _set_aside(path, now)


def _set_aside(path: Path, now: datetime) -> Path:
    target = free_name(path.with_name(f"{path.name}.corrupt-{now:{_STAMP}}"))
    for ending in ("-wal", "-shm", "-journal", ""):
        part = path.with_name(path.name + ending)
        if part.exists():
            part.rename(target.with_name(target.name + ending))
    return target


def set_aside_files(folder: Path) -> tuple[Path, ...]:
    """Damaged databases that were moved aside in ``folder``, oldest first."""
    parts = ("-wal", "-shm", "-journal")
    found = folder.glob(f"{FILE}.corrupt-*")
    return tuple(sorted(path for path in found if not path.name.endswith(parts)))


def code_of(error: sqlite3.Error) -> int:
    """Primary result code (the low byte of the extended one); -1 when SQLite gave none."""
    code = getattr(error, "sqlite_errorcode", None)
    return -1 if code is None else int(code) & 0xFF


@contextlib.contextmanager
def translated(path: Path) -> Iterator[None]:
    """Turn what SQLite and the disk report into one clear ``StoreError``."""
    try:
        yield
    except sqlite3.Error as error:
        what, todo = _EXPLAINED.get(code_of(error), (str(error), ""))
        raise StoreError(what, where=str(path), todo=todo) from error
    except OSError as error:
        raise StoreError(
            why(error),
            where=str(path),
            todo="check the folder, or choose another with --store DIR",
        ) from error


_KEPT = "what was saved before is kept"
_EXPLAINED: dict[int, tuple[str, str]] = {
    sqlite3.SQLITE_FULL: ("the disk is full", f"free some space and repeat; {_KEPT}"),
    sqlite3.SQLITE_READONLY: (
        "cannot be written",
        "make the folder writable, or choose another with --store DIR",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        "cannot be opened",
        "make the folder writable, or choose another with --store DIR",
    ),
    sqlite3.SQLITE_PERM: (
        "may not be opened",
        "make the folder writable, or choose another with --store DIR",
    ),
    sqlite3.SQLITE_BUSY: (
        f"another program has held the database for more than {BUSY_S:.0f} s",
        f"close it and repeat; {_KEPT}",
    ),
    sqlite3.SQLITE_LOCKED: ("the database is locked", f"repeat; {_KEPT}"),
    sqlite3.SQLITE_IOERR: ("the disk reports an error", f"check the disk and repeat; {_KEPT}"),
    sqlite3.SQLITE_CORRUPT: ("the database is damaged", SET_ASIDE),
    sqlite3.SQLITE_NOTADB: ("is not a database", SET_ASIDE),
    sqlite3.SQLITE_TOOBIG: ("one entry is too large to be kept", "shorten it"),
}
