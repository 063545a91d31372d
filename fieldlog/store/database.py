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
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlite_utils import Database

from fieldlog.errors import StoreError
from fieldlog.store.migrations import APPLICATION_ID, NAMES, migrations

FILE = "fieldlog.db"
BUSY_S = 10.0
QUICK_CHECK_BYTES = 8 << 20
"""Files up to this size are checked whole at every opening (a few ms); larger ones only after an
unclean end, seen by the journal it left."""

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


def open_database(folder: Path, *, now: datetime, mounts: str | None = None) -> Opened:
    """Open (making it when needed) the database in ``folder`` and bring it up to date.

    ``now`` names backups and quarantined files. ``mounts`` is the text of the mount table, read
    from the system when None. Raises ``StoreError``: folder not writable, database locked, foreign
    or newer.
    """
    path = folder / FILE
    notices: list[str] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreError(
            f"the folder cannot be made ({(error.strerror or str(error)).lower()})",
            where=str(folder),
            todo="choose a folder that can be written with --store DIR",
        ) from error
    with translated(path):
        reason = _damage(path)
        if reason is not None:
            aside = _set_aside(path, now)
            notices.append(
                f"{path}: {reason}; it was moved to {aside.name} and a new database was begun. "
                "Clips and photos are untouched in the media folder"
            )
        db = _connect(path)
        try:
            journal = _choose_journal(db, path, mounts, notices)
            _migrate(db, path, now, notices)
        except BaseException:
            db.close()
            raise
    return Opened(db, path, journal, tuple(notices))


def _connect(path: Path) -> Database:
    connection = sqlite3.connect(
        path, timeout=BUSY_S, isolation_level=None, check_same_thread=False
    )
    connection.row_factory = sqlite3.Row
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
            if _code(error) in {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_READONLY}:
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
    application = connection.execute("PRAGMA application_id").fetchone()[0]
    tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if tables and application != APPLICATION_ID:
        raise StoreError(
            "is a database of some other program", where=str(path), todo="choose another folder"
        )
    applied = [m.name for m in migrations.applied(db)]
    unknown = [name for name in applied if name not in NAMES]
    if unknown:
        raise StoreError(
            f"was written by a newer fieldlog (it has {unknown[-1]}, this version ends at "
            f"{NAMES[-1]})",
            where=str(path),
            todo="update fieldlog, or choose another folder with --store DIR",
        )
    pending = [name for name in NAMES if name not in applied]
    if not pending:
        return
    if applied:
        backup = _back_up(connection, path, now, pending[0])
        notices.append(f"{path}: brought up to date; a copy of the old state is {backup.name}")
    # Foreign keys cannot be switched inside a transaction; a rebuilt table must not touch its
    # children while it is away, so they are off during the steps and checked before the commit.
    connection.execute("PRAGMA foreign_keys=OFF")
    try:
        connection.execute("BEGIN IMMEDIATE")
        try:
            migrations.apply(db)
            broken = connection.execute("PRAGMA foreign_key_check").fetchall()
            if broken:
                raise StoreError(
                    f"bringing it up to date would break {len(broken)} references; it was left as "
                    "it was",
                    where=str(path),
                    todo="report this with the version you came from",
                )
            connection.execute(f"PRAGMA application_id={APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version={len(NAMES)}")
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise
    finally:
        connection.execute("PRAGMA foreign_keys=ON")


def _back_up(connection: sqlite3.Connection, path: Path, now: datetime, step: str) -> Path:
    target = _free_name(path.with_name(f"{path.name}.before-{step}-{now:%Y%m%dT%H%M%SZ}"))
    copy = sqlite3.connect(target)
    try:
        connection.backup(copy)
    finally:
        copy.close()
    return target


def _damage(path: Path) -> str | None:
    """Why the file is not a usable database, or None. A locked or absent file is not damaged."""
    if not path.exists() or path.stat().st_size == 0:
        return None
    whole = path.stat().st_size <= QUICK_CHECK_BYTES or _left_over(path)
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
        if _code(error) in {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}:
            return f"the file is damaged ({error})"
        raise
    finally:
        probe.close()
    return None


def _left_over(path: Path) -> bool:
    wal = path.with_name(path.name + "-wal")
    return wal.exists() and wal.stat().st_size > 0


def _set_aside(path: Path, now: datetime) -> Path:
    target = _free_name(path.with_name(f"{path.name}.corrupt-{now:%Y%m%dT%H%M%SZ}"))
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


def _free_name(path: Path) -> Path:
    candidate, count = path, 1
    while candidate.exists():
        count += 1
        candidate = path.with_name(f"{path.name}-{count}")
    return candidate


def _code(error: sqlite3.Error) -> int:
    """Primary result code (the low byte of the extended one); -1 when SQLite gave none."""
    code = getattr(error, "sqlite_errorcode", None)
    return -1 if code is None else int(code) & 0xFF


@contextlib.contextmanager
def translated(path: Path) -> Iterator[None]:
    """Turn what SQLite and the disk report into one clear ``StoreError``."""
    try:
        yield
    except sqlite3.Error as error:
        what, todo = _EXPLAINED.get(_code(error), (str(error), ""))
        raise StoreError(what, where=str(path), todo=todo) from error
    except OSError as error:
        raise StoreError(
            (error.strerror or str(error)).lower(),
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
    sqlite3.SQLITE_CORRUPT: (
        "the database is damaged",
        "start fieldlog again: the file is moved aside and kept",
    ),
    sqlite3.SQLITE_NOTADB: (
        "is not a database",
        "start fieldlog again: the file is moved aside and kept",
    ),
    sqlite3.SQLITE_TOOBIG: ("one entry is too large to be kept", "shorten it"),
}
