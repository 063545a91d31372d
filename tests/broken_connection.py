"""A database connection that goes wrong at one write."""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path
from typing import Any

from fieldlog.store.sql import ReadRows, Tables

WRITES = ("INSERT", "UPDATE", "DELETE", "COMMIT", "BEGIN IMMEDIATE")


class BrokenConnection:
    """A connection whose statement number ``failing`` that writes (or ends the unit) goes wrong."""

    def __init__(self, connection: Tables, failing: int, copy_to: Path | None = None) -> None:
        self._connection, self._left, self._copy_to = connection, failing, copy_to
        self.failed = ""

    def execute(self, sql: str, *values: Any) -> ReadRows:
        if sql.startswith(WRITES):
            self._left -= 1
            if self._left < 0 and not self.failed:
                self.failed = sql
                if self._copy_to is not None:
                    path = Path(self._connection.execute("PRAGMA database_list").fetchone()[2])
                    shutil.copytree(path.parent, self._copy_to)
                raise sqlite3.OperationalError("disk I/O error")
        return self._connection.execute(sql, *values)

    @property
    def in_transaction(self) -> bool:
        return self._connection.in_transaction

    def __getattr__(self, name: str) -> Any:
        return getattr(self._connection, name)
