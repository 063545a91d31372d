"""What the record asks of an engine that speaks SQL: one statement at a time, in the words of SQLite.

Every statement of the record is written once, for SQLite, in the part of SQL that other engines share
(``ON CONFLICT DO NOTHING``, quoted names, a total order that ends in a key). What they do not share is
put into their words by their own connection (``postgres.py``).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Protocol, TypeAlias

Read: TypeAlias = Any
"""A row as read, by column (``row["id"]``) or place (``row[0]``), with ``keys()``: ``sqlite3.Row``."""
Rows = list[Read]
MANY = "/* many */"
"""Stands in a statement that goes through a whole table: an engine across a network reads it in pieces."""


class ReadRows(Protocol):
    """What a statement gives."""

    def fetchone(self) -> Read:
        """The next row, None after the last."""

    def fetchall(self) -> Rows:
        """All rows that are left."""

    def __iter__(self) -> Iterator[Read]:
        """Row after row."""


class Tables(Protocol):
    """An open database."""

    def execute(self, sql: str, values: Sequence[Any] = (), /) -> ReadRows:
        """Do one statement; ``?`` (or ``?1`` ...) stands for a value."""

    @property
    def in_transaction(self) -> bool:
        """Whether one was begun and not ended."""
