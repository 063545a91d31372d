"""A PostgreSQL server as ``sql.Connection``: SQLite's words become its own, its errors become ours.

What differs, and how it is met (postgresql.org/docs/15): values are ``%s``; a fraction never becomes a whole
number by rounding, because it is sent as text that BIGINT does not read; tables that are gone through
whole are read in pieces (a cursor of the server's); rows are read by name and by place.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from fieldlog.errors import StoreError
from fieldlog.store.sql import MANY, Read, ReadRows, Rows

if TYPE_CHECKING:
    import psycopg

AWAY_S = 10
"""A server that has not answered by then is away; as long as SQLite waits for another program."""
_PIECE = 2000
"""Rows that are fetched at once of a whole table."""
_VALUE = re.compile(r"\?(\d*)|'[^']*'|%|(?P<index>\bNOT INDEXED\b)")
_WHOLE = re.compile(rf"\bNOT INDEXED\b|{re.escape(MANY)}")
"""What statements have that go through a whole table."""
_SESSION = (
    "SELECT set_config('lock_timeout', ?, false), set_config('synchronous_commit', "
    "CASE current_setting('synchronous_commit') WHEN 'off' THEN 'on' "
    "ELSE current_setting('synchronous_commit') END, false)"
)
"""Nobody waits longer for the lock. A commit is on the disk when it returns; who asks for more than that
(standbys) keeps it.
"""
_UNANSWERED = ("INSERT INTO ", "DELETE FROM ")
"""How statements begin that give no rows."""
_SETTINGS = {
    "connect_timeout": str(AWAY_S),
    "application_name": "fieldlog",
    "client_encoding": "utf8",
    "keepalives_idle": "10",
    "keepalives_interval": "5",
    "keepalives_count": "3",
    "tcp_user_timeout": "20000",
}
"""A cable that is pulled out is noticed within half a minute (postgresql.org/docs/15/libpq-connect.html)."""


@lru_cache(maxsize=1024)
def translated_sql(sql: str) -> tuple[str, tuple[int, ...] | None, bool]:
    """A statement in PostgreSQL's words, which value each ``%s`` takes (None: in order), whether it is of many rows."""
    order: list[int] = []
    numbered = False

    def other(match: re.Match[str]) -> str:
        nonlocal numbered
        text = match[0]
        if match["index"]:
            return ""
        if not text.startswith("?"):
            return text.replace("%", "%%")
        if match[1]:
            numbered = True
        order.append(int(match[1]) - 1 if match[1] else len(order))
        return "%s"

    done = _VALUE.sub(other, sql)
    many = sql.removeprefix(MANY).startswith(("SELECT", "WITH")) and _WHOLE.search(sql) is not None
    return done, tuple(order) if numbered else None, many


class Cells:
    """A row as read, by column or place."""

    __slots__ = ("_names", "_values")

    def __init__(self, names: dict[str, int], values: Sequence[Any]) -> None:
        """``names``: column -> its place."""
        self._names, self._values = names, values

    def __getitem__(self, key: str | int) -> Any:
        """The cell of a column, or at a place."""
        return self._values[key if isinstance(key, int) else self._names[key]]

    def __iter__(self) -> Iterator[Any]:
        """Every cell."""
        return iter(self._values)

    def __len__(self) -> int:
        """How many cells."""
        return len(self._values)

    def keys(self) -> list[str]:
        """Every column."""
        return list(self._names)


def _cells(cursor: psycopg.Cursor[Any]) -> Any:
    names = {column.name: at for at, column in enumerate(cursor.description or ())}
    return lambda values: Cells(names, values)


class _Pieces:
    """The answer of a statement that goes through a whole table, read in pieces; one way through it."""

    def __init__(self, cursor: psycopg.ServerCursor[Any]) -> None:
        self._cursor = cursor
        self._piece: Iterator[Read] = iter(())

    def fetchone(self) -> Read:
        return next(self, None)

    def fetchall(self) -> Rows:
        return list(self)

    def __iter__(self) -> Iterator[Read]:
        return self

    def __next__(self) -> Read:
        for row in self._piece:
            return row
        self._piece = iter(self._cursor.fetchmany(_PIECE))
        return next(self._piece)


class _Nothing:
    """The answer of a statement that gives none."""

    def fetchone(self) -> Read:
        return None

    def fetchall(self) -> Rows:
        return []

    def __iter__(self) -> Iterator[Read]:
        return iter(())


_NOTHING = _Nothing()


class PostgresConnection:
    """An open connection to a server. Nothing is committed but by ``COMMIT``.

    Within a transaction, statements that give no rows wait for the next that does, or for the commit, and
    are sent together: the way to the server and back is what takes time, while everybody waits for the lock.
    """

    def __init__(self, url: str) -> None:
        """Connect; raises ``StoreError`` in one line where that fails."""
        psycopg = _library()
        self.named = named(url)
        try:
            self._raw: Any = psycopg.connect(
                url, autocommit=True, row_factory=_cells, **_settings(url)
            )
        except psycopg.Error as error:
            raise _unreachable(str(error), self.named) from error
        self._pieces: list[Any] = []
        self._unsent: list[tuple[str, Sequence[Any]]] = []
        self._count = 0
        _send_fractions_as_text(self._raw)
        try:
            self.execute(_SESSION, (f"{AWAY_S}s",))
        except psycopg.Error as error:
            self._raw.close()
            raise _unreachable(str(error), self.named) from error

    def execute(self, sql: str, values: Sequence[Any] = (), /) -> ReadRows:
        """Do one statement that is written for SQLite."""
        text, order, many = translated_sql(sql)
        if order is not None:
            values = [values[at] for at in order]
        if self.in_transaction and text.startswith(_UNANSWERED):
            self._unsent.append((text, values))
            return _NOTHING
        if many and self.in_transaction:
            self._send()
            self._count += 1
            cursor = self._raw.cursor(name=f"many_{self._count}")
            self._pieces.append(cursor)
            cursor.execute(text, values)
            return _Pieces(cursor)
        answer: ReadRows = self._send(text, values)
        return answer

    def _send(self, text: str = "", values: Sequence[Any] = ()) -> Any:
        """Send what waits, with the statement ``text`` behind it, and wait once for all of them."""
        waits, self._unsent = self._unsent, []
        if not waits:
            return self._raw.execute(text, values) if text else None
        with self._raw.pipeline():
            for each in waits:
                self._raw.execute(*each)
            return self._raw.execute(text, values) if text else None

    def end(self, how: str) -> None:
        """``COMMIT`` or ``ROLLBACK``; a connection that is gone is rolled back by its server."""
        for cursor in self._pieces:
            with contextlib.suppress(Exception):
                cursor.close()
        self._pieces.clear()
        if how == "COMMIT":
            done = self._send("COMMIT").statusmessage
            if done != "COMMIT":  # a transaction that failed before is rolled back without a word
                raise StoreError("the server did not keep it", where=self.named, todo="repeat")
            return
        self._unsent.clear()
        with contextlib.suppress(_library().Error):
            if self.in_transaction:
                self._raw.execute("ROLLBACK")

    @property
    def in_transaction(self) -> bool:
        """Whether one was begun and not ended."""
        return not self._raw.closed and self._raw.info.transaction_status != 0

    @property
    def lost(self) -> bool:
        """Whether the server is not at the other end any more."""
        return bool(self._raw.closed or self._raw.broken)

    def close(self) -> None:
        """Let go of it."""
        self._unsent.clear()
        for cursor in self._pieces:
            with contextlib.suppress(Exception):
                cursor.close()
        self._raw.close()


def _library() -> Any:
    try:
        import psycopg
    except ImportError as error:
        raise StoreError(
            "a record on a PostgreSQL server needs a library that is not installed",
            todo="pip install 'fieldlog[postgres]'",
        ) from error
    return psycopg


def _settings(url: str) -> dict[str, str]:
    """Settings that the address does not make itself."""
    from psycopg.conninfo import conninfo_to_dict

    given = conninfo_to_dict(url)
    return {key: value for key, value in _SETTINGS.items() if key not in given}


def _send_fractions_as_text(raw: Any) -> None:
    """2.5 sent as a number would be rounded into a BIGINT; as text it is refused."""
    from psycopg.types.numeric import FloatDumper

    class AsText(FloatDumper):
        oid = 0

    raw.adapters.register_dumper(float, AsText)


def named(url: str) -> str:
    """An address as it may be printed: without a password, without settings."""
    return re.sub(r"//([^/@:]*)(:[^/@]*)?@", r"//\1@", url.partition("?")[0])


_KEPT = "what was saved before is kept"
_UNREACHABLE: tuple[tuple[str, str, str], ...] = (
    (r"password authentication failed|no password supplied", "the server refuses the password", "put the right one into ~/.pgpass (or PGPASSWORD)"),
    (r"(?:Peer|Ident|pg_hba|SSL|certificate).*|role .* does not exist|permission denied", "the server does not let this user in", "ask whoever keeps the server for an account"),
    (r"database .* does not exist", "there is no such database on the server", "createdb, or name another one"),
    (r"too many (?:clients|connections)|connection slots", "the server has no connection left", f"close what does not need it and repeat; {_KEPT}"),
    (r"starting up|shutting down|recovery", "the server is starting or stopping", f"wait a moment and repeat; {_KEPT}"),
)  # fmt: skip
_TOLD: dict[str, tuple[str, str]] = {
    "53100": ("the server's disk is full", f"free some space there and repeat; {_KEPT}"),
    "53200": ("the server is out of memory", f"repeat; {_KEPT}"),
    "53300": ("the server has no connection left", f"close what does not need it and repeat; {_KEPT}"),
    "55P03": (f"another program has held the record for more than {AWAY_S} s", f"close it and repeat; {_KEPT}"),
    "42501": ("this user may only read it", "ask whoever keeps the server for the right to write"),
    "25006": ("can only be read: the server takes no changes", "name the server that takes them"),
    "22021": ("holds a character that the server does not keep", "the server's encoding must be UTF8"),
    "54000": ("one entry is too large to be kept", "shorten it"),
    "XX001": ("the server's data is damaged", "bring back a backup on the server"),
    "XX002": ("the server's data is damaged", "bring back a backup on the server"),
}  # fmt: skip
"""SQLSTATE -> what is said of it (postgresql.org/docs/15/errcodes-appendix.html)."""


def _unreachable(told: str, where: str) -> StoreError:
    """Why a connection was not made. The server's words are all there is: no code comes with them."""
    for pattern, what, todo in _UNREACHABLE:
        if re.search(pattern, told):
            return StoreError(what, where=where, todo=todo)
    first = next((line.strip() for line in told.splitlines() if line.strip()), "")
    return StoreError(
        f"the server does not answer ({first.rpartition(': ')[2] or 'no reason given'})",
        where=where,
        todo=f"see whether it runs and can be reached, and repeat; {_KEPT}",
    )


@contextlib.contextmanager
def told_plainly(now: Callable[[], PostgresConnection]) -> Iterator[None]:
    """Turn what the server reports into one clear ``StoreError``; ``now``: the connection of then."""
    psycopg = _library()
    try:
        yield
    except psycopg.Error as error:
        connection = now()
        where = connection.named
        if error.sqlstate in _TOLD:
            what, todo = _TOLD[error.sqlstate]
            raise StoreError(what, where=where, todo=todo) from error
        if connection.lost or (error.sqlstate or "").startswith(("57P", "08")):
            raise _unreachable(str(error), where) from error
        first = next(iter(str(error).splitlines()), type(error).__name__)
        raise StoreError(first, where=where, todo="") from error
