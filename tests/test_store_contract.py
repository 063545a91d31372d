"""The engines that there are, held to the contract of ``tests.store_contract``."""

from __future__ import annotations

import itertools
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from fieldlog.store.base import Store
from fieldlog.store.media import MediaFolder
from fieldlog.store.postgres_store import PostgresStore
from fieldlog.store.sqlite_store import SqliteStore
from tests import postgres_server
from tests.store_contract import Contract
from tests.store_samples import START


class _NoOriginals(MediaFolder):
    """Rows alone are held to the contract; their originals are never there."""

    def fault(self, name: str) -> str | None:
        return None


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fresh store that was closed, to be copied: making one takes longer."""
    folder = tmp_path_factory.mktemp("empty")
    SqliteStore(folder, _NoOriginals(folder / "media"), now=START).close()
    return folder


class TestSqlite(Contract):
    """SQLite."""

    @pytest.fixture
    def new(self, empty: Path, tmp_path: Path) -> Iterator[Callable[[], Store]]:
        opened: list[SqliteStore] = []
        numbers = itertools.count()

        def fresh() -> Store:
            folder = tmp_path / str(next(numbers))
            shutil.copytree(empty, folder)
            store = SqliteStore(folder, _NoOriginals(folder / "media"), now=START)
            store.connection.execute("PRAGMA synchronous=OFF")
            opened.append(store)
            return store

        yield fresh
        for store in opened:
            store.close()


@pytest.fixture(scope="module")
def server() -> Iterator[postgres_server.Server]:
    """A server of these tests' own."""
    with postgres_server.running() as one:
        yield one


class TestPostgres(Contract):
    """PostgreSQL."""

    orders = 4

    @pytest.fixture
    def new(self, server: postgres_server.Server, tmp_path: Path) -> Iterator[Callable[[], Store]]:
        opened: list[tuple[PostgresStore, str]] = []

        def fresh() -> Store:
            url = server.fresh()
            store = PostgresStore(url, _NoOriginals(tmp_path / "media"), now=START)
            opened.append((store, url))
            return store

        yield fresh
        for store, url in opened:
            store.close()
            server.drop(url)


def test_the_copies_write_as_writers_of_their_own(tmp_path: Path) -> None:
    """What makes the two-store tests mean something: no two of their stores are one writer."""
    names = set()
    first = tmp_path / "0"
    SqliteStore(first, MediaFolder(first / "media"), now=START).close()
    for number in range(1, 4):
        folder = tmp_path / str(number)
        shutil.copytree(first, folder)
        store = SqliteStore(folder, MediaFolder(folder / "media"), now=START)
        names.add(store.writer)
        store.close()
        store = SqliteStore(folder, MediaFolder(folder / "media"), now=START)
        assert store.writer in names
        store.close()
    assert len(names) == 3
