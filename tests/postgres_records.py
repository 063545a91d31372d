"""Records on a test's own PostgreSQL server, empty and filled."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from fieldlog.config import ADDRESS
from fieldlog.store.postgres_store import PostgresStore
from fieldlog.store.repository import Repository
from tests import postgres_server
from tests.postgres_server import Server
from tests.store_samples import Filled, fill, ticking

psycopg = pytest.importorskip("psycopg", reason="psycopg is not installed (extra postgres)")


@pytest.fixture(scope="module")
def server() -> Iterator[Server]:
    with postgres_server.running() as one:
        yield one


def folder_of(url: str, folder: Path) -> Path:
    """A folder of this machine for the record at ``url``."""
    folder.mkdir()
    (folder / ADDRESS).write_text(url + "\n")
    return folder


@pytest.fixture
def there(server: Server, tmp_path: Path) -> Iterator[PostgresStore]:
    with Repository(folder_of(server.fresh(), tmp_path / "here"), now=ticking()) as store:
        assert isinstance(store.engine, PostgresStore)
        yield store.engine


@pytest.fixture(scope="module")
def filled(
    server: Server, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Repository, Repository, Filled]]:
    """The same record, of every kind of row, in a file and on the server."""
    made = tmp_path_factory.mktemp("filled")
    with Repository(made / "file", now=ticking()) as file:
        known = fill(file, made)
        with Repository(folder_of(server.fresh(), made / "here"), now=ticking()) as shop:
            shop.merge(file.folder)
            yield file, shop, known


Both = tuple[Repository, Repository, Filled]
