"""The record in one SQLite file: the first engine behind ``base.Store``."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from fieldlog.store import word_index
from fieldlog.store.base import Verification
from fieldlog.store.database import FILE, back_up, open_database, set_aside_files, translated
from fieldlog.store.form import form_faults, log_faults, page_faults
from fieldlog.store.looking import look_into
from fieldlog.store.media import MediaFolder
from fieldlog.store.schema import create_table
from fieldlog.store.sql_store import SqlStore
from fieldlog.store.verify import Owners


class SqliteStore(SqlStore):
    """An open database file."""

    connection: sqlite3.Connection

    def __init__(
        self, folder: Path, media: MediaFolder, *, now: datetime, reading: bool = False
    ) -> None:
        """Open the database in ``folder``, making it when needed; ``now`` names backups.

        ``reading``: only to be read; nothing is made or changed (``looking``).
        """
        super().__init__(media)
        opened = look_into(folder, now=now) if reading else open_database(folder, now=now)
        self._beside = opened.beside
        self.connection = opened.db.conn
        self.path = opened.path
        self.notices = opened.notices
        self.journal = opened.journal
        self.writer = opened.writer

    def close(self) -> None:
        """Close the database; calling it twice is harmless."""
        with self._lock, translated(self.path):
            self.connection.close()
            if self._beside is not None:
                self._beside.cleanup()

    def copy_to(self, folder: Path, now: datetime) -> None:
        """Copy the database to the folder ``folder``, while it may be in use."""
        with translated(folder):
            back_up(self.connection, folder / FILE)

    def verify(self, key: str | None = None) -> Verification:
        """Whether the record, or one inspection with its vehicle, agrees with itself."""
        with self._lock:
            decoding = self.connection.text_factory
            self.connection.text_factory = lambda data: data.decode("utf-8", "surrogateescape")
            try:
                return super().verify(key)
            finally:
                self.connection.text_factory = decoding

    def index_anew(self) -> None:
        """Make the words anew by which findings are looked for; their tables too, where they are gone."""
        with self._writing():
            for table in word_index.ITS_TABLES:
                there = "SELECT count(*) FROM sqlite_master WHERE name = ?"
                if not self.connection.execute(there, (table,)).fetchone()[0]:
                    self.connection.execute(create_table(table))
        super().index_anew()

    def log_faults(self) -> list[str]:
        """What of the log written ahead does not fit its sums, which SQLite passes over in silence."""
        return log_faults(self.path)

    def _changes(self) -> object:
        return self.connection.execute("PRAGMA data_version").fetchone()[0]

    def _form_faults(self, owners: Owners) -> list[str]:
        told = "set aside as damaged; what it holds may be missing from this record"
        return [
            *(f"{path.name}: {told}" for path in set_aside_files(self._media.folder.parent)),
            *form_faults(self.connection),
            *(page_faults(self.connection) if owners is None else ()),  # minutes, of a large one
        ]

    @contextlib.contextmanager
    def _writing(self) -> Iterator[None]:
        with self._lock, translated(self.path):
            self.connection.execute("BEGIN IMMEDIATE")
            try:
                yield
                self.connection.execute("COMMIT")
            except BaseException:
                if self.connection.in_transaction:
                    self.connection.execute("ROLLBACK")
                raise

    @contextlib.contextmanager
    def _reading(self) -> Iterator[None]:
        # One transaction, so that all queries of one answer see the same state.
        with self._lock, translated(self.path):
            self.connection.execute("BEGIN")
            try:
                yield
            finally:
                if self.connection.in_transaction:
                    self.connection.execute("ROLLBACK")
