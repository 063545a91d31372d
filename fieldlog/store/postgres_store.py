"""The record on a PostgreSQL server: one for a shop, where several people write and review at once.

Whoever writes holds one lock of the database for the transaction, so rows follow each other in one chain
as they do in a file; whoever reads sees one state and waits for nobody. The record has one writer, whoever
is connected: it is one copy. A database that was copied or restored beside it is told by the server's and
the database's own numbers, and gets a name of its own, as a copied file does.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path

from fieldlog.errors import StoreError
from fieldlog.store import writer
from fieldlog.store.base import AsSeen, NewRow, Stored
from fieldlog.store.ids import new_id
from fieldlog.store.media import MediaFolder
from fieldlog.store.migrations import NAMES
from fieldlog.store.postgres import PostgresConnection, told_plainly
from fieldlog.store.postgres_schema import (
    form_faults,
    reference_faults,
    steps_taken,
    strangers,
    take_steps,
)
from fieldlog.store.sql_store import SqlStore
from fieldlog.store.sqlite_store import SqliteStore
from fieldlog.store.verify import Owners

_LOCK = 0x464C4F47
"""Number of the lock of whoever writes: ``FLOG``."""
_PLACE = (
    "SELECT (SELECT system_identifier FROM pg_control_system())::text || '/' || oid::text "
    "FROM pg_database WHERE datname = current_database() ORDER BY oid"
)


class PostgresStore(SqlStore):
    """An open record on a server."""

    connection: PostgresConnection

    def __init__(
        self, url: str, media: MediaFolder, *, now: datetime, reading: bool = False
    ) -> None:
        """Connect to ``url``; tables are made in an empty database. ``reading``: nothing is made.

        Raises ``StoreError``: server away, not let in, database newer or of another program.
        """
        super().__init__(media)
        self.notices = ()
        self.journal = "server"
        self._url, self._look = url, reading
        self.connection = PostgresConnection(url)
        try:
            with told_plainly(lambda: self.connection):
                self._open(now, reading)
        except BaseException:
            self.connection.close()
            raise

    def close(self) -> None:
        """Let go of the connection; calling it twice is harmless."""
        with self._lock:
            self.connection.close()

    def append(
        self, rows: Sequence[NewRow], now: datetime, seen: AsSeen | None = None
    ) -> tuple[Stored, ...]:
        """Keep ``rows``; where the server went away meanwhile, once more: it is the same row again.

        Whether a commit that got no answer was done, the second try finds out by the rows' ids.
        """
        if not rows:
            return ()
        for last in (False, True):
            try:
                with self._writing():
                    return writer.append(self.connection, self.writer, rows, now, seen)
            except StoreError:
                if last or not self.connection.lost:
                    raise
        raise AssertionError  # the second try returns or raises

    def copy_to(self, folder: Path, now: datetime) -> None:
        """Every row of the record as a file of its own. Its numbers follow the order of the rows."""
        copy = SqliteStore(folder, MediaFolder(folder / "media"), now=now)
        with contextlib.closing(copy), contextlib.closing(self.rows()) as rows:
            away = self.elsewhere()
            copy.take(rows, away)

    # -- opening ----------------------------------------------------------------------------------

    def _open(self, now: datetime, reading: bool) -> None:
        encoding = self.connection.execute("SHOW server_encoding").fetchone()[0]
        if encoding != "UTF8":
            raise StoreError(
                f"keeps text as {encoding}, which cannot hold everything that is said",
                where=self.connection.named,
                todo="createdb --encoding=UTF8 --template=template0",
            )
        if self._pending():
            if reading:
                raise StoreError(
                    "there is no record here, or one of an earlier version",
                    where=self.connection.named,
                    todo="open it once with a command that writes",
                )
            with self._writing():
                if self._pending():  # another program may have been faster
                    take_steps(self.connection, steps_taken(self.connection))
        self.writer = self._named(now, reading)

    def _pending(self) -> bool:
        """Whether steps are left to be taken; ``StoreError`` for a database that is newer, or not ours."""
        taken = steps_taken(self.connection)
        if taken is None:
            if strangers(self.connection):
                raise StoreError(
                    "is a database of some other program",
                    where=self.connection.named,
                    todo="make one for the record: createdb NAME",
                )
            return True
        unknown = [name for name in taken if name not in NAMES]
        if unknown:
            raise StoreError(
                f"was written by a newer fieldlog (it has {unknown[-1]}, this version ends at "
                f"{NAMES[-1]})",
                where=self.connection.named,
                todo="update fieldlog",
            )
        return len(taken) < len(NAMES)

    def _named(self, now: datetime, reading: bool) -> str:
        """The name of this copy of the record, made when it has none or was copied from elsewhere."""
        place = self.connection.execute(_PLACE).fetchone()[0]
        known = self._state()
        if known.get("place") == place or reading:
            return known.get("writer", "")
        with self._writing():
            known = self._state()  # another program may have been faster
            if known.get("place") == place:
                return known["writer"]
            name = new_id(now)
            for pair in (("writer", name), ("place", place)):
                self.connection.execute(
                    "INSERT INTO local_state (key, value) VALUES (?, ?) "
                    "ON CONFLICT (key) DO UPDATE SET value = excluded.value",
                    pair,
                )
            return name

    def _state(self) -> dict[str, str]:
        rows = self.connection.execute("SELECT key, value FROM local_state ORDER BY key")
        return {row[0]: row[1] for row in rows}

    def _form_faults(self, owners: Owners) -> list[str]:
        whole = reference_faults(self.connection) if owners is None else []
        return [*form_faults(self.connection), *whole]

    # -- transactions -----------------------------------------------------------------------------

    def _begin(self, how: str) -> None:
        """Begin a transaction, over a new connection where the server was away in between."""
        try:
            self.connection.execute(how)
        except Exception:
            if not self.connection.lost:
                raise
            self.connection.close()
            self.connection = PostgresConnection(self._url)
            self.connection.execute(how)

    @contextlib.contextmanager
    def _writing(self) -> Iterator[None]:
        with self._lock, told_plainly(lambda: self.connection):
            self._begin(f"BEGIN ISOLATION LEVEL READ COMMITTED{' READ ONLY' if self._look else ''}")
            try:
                self.connection.execute("SELECT pg_advisory_xact_lock(?)", (_LOCK,))
                yield
                self.connection.end("COMMIT")
            except BaseException:
                self.connection.end("ROLLBACK")
                raise

    @contextlib.contextmanager
    def _reading(self) -> Iterator[None]:
        # One transaction, so that all queries of one answer see the same state.
        with self._lock, told_plainly(lambda: self.connection):
            self._begin("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY")
            try:
                yield
            finally:
                self.connection.end("ROLLBACK")


def has_record(url: str) -> bool:
    """Whether the database has a record, of whatever version. Raises ``StoreError``."""
    connection = PostgresConnection(url)
    with contextlib.closing(connection), told_plainly(lambda: connection):
        return steps_taken(connection) is not None
