"""Several at once on a PostgreSQL server, and servers that go away."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fieldlog.errors import StoreError
from fieldlog.store.postgres_store import PostgresStore
from fieldlog.store.repository import Repository
from tests.postgres_records import Both, filled, folder_of, server, there
from tests.postgres_server import Server
from tests.store_contract import at, inspection, said, vehicle
from tests.store_samples import START, TREAD, ticking

__all__ = ["filled", "server", "there"]


def _at_once(works: list[Callable[[], object]]) -> None:
    failed: list[BaseException] = []

    def run(work: Callable[[], object]) -> None:
        try:
            work()
        except BaseException as error:  # told below
            failed.append(error)

    threads = [threading.Thread(target=run, args=(work,)) for work in works]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert failed == []


def test_who_writes_at_once_writes_one_chain(server: Server, there: PostgresStore) -> None:
    of = inspection(there, vehicle(there))

    def writes(name: str) -> Callable[[], object]:
        def work() -> None:
            with Repository(there._media.folder.parent) as store:
                for number in range(5):
                    store.engine.append(said(of, f"{name} {number}", TREAD, 1), at(1))

        return work

    _at_once([writes(name) for name in "abc"])
    record = there.read(of)
    assert sorted(each.number for each in record.findings) == list(range(1, 16))
    assert len({each.finding.words for each in record.findings}) == 15
    assert there.verify().faults == ()
    assert there.verify().writers == 1


def test_two_merges_at_once_are_each_once(there: PostgresStore, tmp_path: Path) -> None:
    """Two people bring in the same bay at the same moment, and another one."""
    for name in ("one", "two"):
        with Repository(tmp_path / name, now=ticking()) as bay:
            of = bay.start_inspection(bay.add_vehicle(name).id)
            for number in range(5):
                bay.add_remark(of.id, f"{name} {number}")

    def merges(name: str) -> Callable[[], object]:
        def work() -> None:
            with Repository(there._media.folder.parent) as store:
                store.merge(tmp_path / name)

        return work

    _at_once([merges(name) for name in ("one", "two", "one", "two")])
    assert there.verify().faults == ()
    assert there.verify().rows == 14


def test_two_desks_fetch_at_once_what_a_bay_handed_over(
    server: Server, filled: Both, tmp_path: Path
) -> None:
    """Each desk has its own folder for the one record on the server, and both fetch the same place."""
    from fieldlog.bundle.handover import FolderPlace, fetch
    from fieldlog.shop.handing_over import hand_over
    from fieldlog.shop.workshop import Workshop

    file = filled[0]
    place = FolderPlace(tmp_path / "stick", new=True)
    hand_over(Workshop(file, now=lambda: START), place)
    url = server.fresh()
    desks = [folder_of(url, tmp_path / name) for name in ("one", "two")]

    def fetches(folder: Path) -> Callable[[], object]:
        def work() -> None:
            with Repository(folder) as shop:
                assert fetch(shop, place, START).aside == ()

        return work

    _at_once([fetches(folder) for folder in desks])
    with Repository(desks[0]) as shop:
        assert shop.fingerprint() == file.fingerprint()
        assert {fault.partition(": ")[2] for fault in shop.verify().faults} <= {
            "is missing from the media folder"  # it is in the other desk's: they share none here
        }
        assert shop.verify().rows == file.verify().rows


class _Cut:
    """A connection that the server cuts at statement ``at``, or after its commit was done."""

    def __init__(self, real: Any, server: Server, at: int, *, after: bool = False) -> None:
        self._real, self._server, self._left, self._after = real, server, at, after
        self.cut = False

    def _cut(self) -> None:
        pid = self._real._raw.info.backend_pid
        self._server.sql(f"SELECT pg_terminate_backend({pid}, 5000)")
        self.cut = True

    def execute(self, sql: str, values: Any = (), /) -> Any:
        self._left -= 1
        if self._left < 0 and not self.cut and not self._after:
            self._cut()
        return self._real.execute(sql, values)

    def end(self, how: str) -> None:
        if how == "COMMIT" and self._after and not self.cut:
            self._real.end(how)
            self._cut()
            self._real.execute("SELECT 1")
        self._real.end(how)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._real, name)


class _Stopped(_Cut):
    """The same, where the whole server loses its power."""

    def _cut(self) -> None:
        self._server.stop()
        self.cut = True


@pytest.mark.parametrize("cut", [0, 2, 6, 14, "after the commit"])
def test_a_server_that_goes_away_in_an_append_loses_and_doubles_nothing(
    server: Server, there: PostgresStore, cut: int | str
) -> None:
    of = inspection(there, vehicle(there))
    rows = said(of, "rear tread", TREAD, 1)
    after = isinstance(cut, str)
    broken = _Cut(there.connection, server, 0 if after else int(cut), after=after)
    there.connection = broken  # type: ignore[assignment]
    kept = there.append(rows, at(1))
    assert broken.cut
    assert [each.id for each in kept] == [row.id for row in rows]
    assert [each.number for each in there.read(of).findings] == [1]
    assert there.verify().rows == 5
    assert there.verify().faults == ()


def test_a_server_that_is_down_is_told_and_the_retry_is_the_same_row(
    server: Server, tmp_path: Path
) -> None:
    """It loses its power in the middle of an append, and is away for a while."""
    with Repository(folder_of(server.fresh(), tmp_path / "here"), now=ticking()) as shop:
        engine = shop.engine
        of = inspection(engine, vehicle(engine))
        rows = said(of, "rear tread", TREAD, 1)
        engine.connection = _Stopped(engine.connection, server, 6)
        with pytest.raises(StoreError, match="the server does not answer") as raised:
            engine.append(rows, at(1))
        assert "what was saved before is kept" in str(raised.value)
        assert "\n" not in str(raised.value)
        with pytest.raises(StoreError, match="the server does not answer"):
            engine.read(of)
        server.start()
        assert engine.append(rows, at(1)) == engine.append(rows, at(2))
        assert len(engine.read(of).findings) == 1
        assert engine.verify().faults == ()
