"""A PostgreSQL server of the tests' own: Debian's, in a temporary folder, reached by a socket alone.

One for a process of tests (``server``); a fresh record is a database copied from a template. The server
refuses to run as root, so root starts it as the user ``postgres`` that Debian makes, or as ``nobody``.
"""

from __future__ import annotations

import contextlib
import itertools
import os
import pwd
import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import pytest

SETTINGS = (
    "listen_addresses=", "fsync=off", "full_page_writes=off", "synchronous_commit=off", "autovacuum=off",
    "shared_buffers=16MB", "max_connections=60", "max_wal_size=4GB", "checkpoint_timeout=1h", "log_checkpoints=off",
)  # fmt: skip
"""Quick: its machine never loses power, only the server itself is killed."""
AS_IN_USE = ("listen_addresses=", "shared_buffers=128MB", "max_connections=60")
"""Debian's own, for what is timed."""


def programs() -> Path | None:
    """Folder of the newest server's programs, None where there is none."""
    found = [path.parent for path in Path("/usr/lib/postgresql").glob("*/bin/initdb")]
    return max(found, key=lambda path: int(re.sub(r"\D", "", path.parent.name) or 0), default=None)


def why_not() -> str:
    """Why no server can be started here; "" where one can."""
    if programs() is None:
        return "PostgreSQL is not installed (Debian: postgresql)"
    try:
        import psycopg  # noqa: F401
    except ImportError:
        return "psycopg is not installed (pip install 'fieldlog[postgres]')"
    return "" if os.geteuid() or _user() else "there is no user that a server may run as"


@cache
def _user() -> str:
    names = {each.pw_name for each in pwd.getpwall()}
    return next((name for name in ("postgres", "nobody") if name in names), "")


@dataclass
class Server:
    """A server that runs."""

    folder: Path
    settings: tuple[str, ...] = SETTINGS
    _numbers: Iterator[int] = field(default_factory=itertools.count)

    def start(self) -> None:
        """Start it; it is there when this returns."""
        told = " ".join(f"-c {each}" for each in self.settings)
        self._run(
            "pg_ctl", "start", "-w", "-s", "-D", f"{self.folder}/data",
            "-l", f"{self.folder}/log", "-o", f"-k {self.folder} {told}",
        )  # fmt: skip

    def stop(self, how: str = "immediate") -> None:
        """Stop it; ``immediate`` is as if its machine lost power."""
        with contextlib.suppress(subprocess.CalledProcessError):
            self._run("pg_ctl", "stop", "-w", "-s", "-m", how, "-D", f"{self.folder}/data")

    def url(self, database: str, user: str = "") -> str:
        """The address of a database."""
        return f"postgresql://{user or owner()}@/{database}?host={self.folder}"

    def sql(self, statement: str, database: str = "postgres") -> None:
        """Do one statement as the server's owner."""
        import psycopg

        with psycopg.connect(self.url(database), autocommit=True) as connection:
            connection.execute(statement.encode())

    def empty(self) -> str:
        """The address of a new database without anything in it."""
        name = f"empty{next(self._numbers)}"
        self.sql(f"CREATE DATABASE {name} TEMPLATE template0")
        return self.url(name)

    def fresh(self) -> str:
        """The address of a new record, copied from one that was made once."""
        from datetime import UTC, datetime

        from fieldlog.store.media import MediaFolder
        from fieldlog.store.postgres_store import PostgresStore

        number = next(self._numbers)
        if number == 0:
            self.sql("CREATE DATABASE template_record TEMPLATE template0")
            url = self.url("template_record")
            PostgresStore(url, MediaFolder(self.folder), now=datetime.now(UTC)).close()
        self.sql(f"CREATE DATABASE record{number} TEMPLATE template_record STRATEGY FILE_COPY")
        return self.url(f"record{number}")

    def drop(self, url: str) -> None:
        """Let go of a database that nobody is connected to any more."""
        self.sql(f"DROP DATABASE {url.rpartition('@/')[2].partition('?')[0]} WITH (FORCE)")

    def _run(self, program: str, *arguments: str) -> None:
        folder = programs()
        assert folder is not None
        before = ["runuser", "-u", _user(), "--"] if os.geteuid() == 0 else []
        subprocess.run(
            [*before, str(folder / program), *arguments],
            check=True, cwd=self.folder, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
        )  # fmt: skip


def owner() -> str:
    """The user that owns the server, and everything on it."""
    return _user() if os.geteuid() == 0 else pwd.getpwuid(os.geteuid()).pw_name


@contextlib.contextmanager
def running(settings: tuple[str, ...] = SETTINGS) -> Iterator[Server]:
    """A server while the block lasts; skips where none can be started."""
    if reason := why_not():
        pytest.skip(reason)
    # A socket's address has at most 107 characters, so it lies in no folder of the tests.
    quick = "/dev/shm" if settings is SETTINGS and Path("/dev/shm").is_dir() else "/tmp"
    folder = Path(tempfile.mkdtemp(prefix="fl-pg-", dir=quick))
    server = Server(folder, settings)
    try:
        if os.geteuid() == 0:
            shutil.chown(folder, _user())
        server._run(
            "initdb", "-D", f"{folder}/data", "-A", "trust", "-U", owner(),
            "-E", "UTF8", "--locale=C", "--no-sync", "--no-instructions",
        )  # fmt: skip
        (folder / "data" / "pg_hba.conf").write_text(
            "local all locked scram-sha-256\nlocal all all trust\n"
        )
        server.start()
        yield server
    finally:
        server.stop()
        shutil.rmtree(folder, ignore_errors=True)
