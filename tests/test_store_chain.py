"""A single change to the record shows, and the database itself refuses to make one."""

from __future__ import annotations

import hashlib
import json
import shutil
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from fieldlog.store.migrations import CHAINED, CHILDREN, guards
from fieldlog.store.repository import Repository
from tests.store_samples import Filled, fill, ticking

KEPT = (*CHAINED, *(child for pairs in CHILDREN.values() for child, _ in pairs))


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Filled]:
    """One filled store; each test gets a copy of it."""
    folder = tmp_path_factory.mktemp("template")
    with Repository.open(folder / "shop", now=ticking()) as opened:
        return folder / "shop", fill(opened, folder)


@pytest.fixture
def filled(template: tuple[Path, Filled]) -> Filled:
    return template[1]


@pytest.fixture
def store(tmp_path: Path, template: tuple[Path, Filled]) -> Iterator[Repository]:
    shutil.copytree(template[0], tmp_path / "shop")
    with Repository.open(tmp_path / "shop", now=ticking()) as opened:
        yield opened


def _unguarded(store: Repository) -> sqlite3.Connection:
    """The connection of somebody who takes the triggers off first."""
    connection = store._db.conn
    connection.execute("PRAGMA foreign_keys=OFF")
    connection.execute("PRAGMA synchronous=OFF")
    for (name,) in connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    ).fetchall():
        connection.execute(f"DROP TRIGGER {name}")
    return connection


def test_an_untouched_record_agrees_with_itself(store: Repository, filled: Filled) -> None:
    one = store.verify(filled.inspection_id)
    assert one.agrees
    assert one.chains == 2  # the inspection and its vehicle
    assert one.fingerprint == store.inspection_record("last").fingerprint
    whole = store.verify()
    assert whole.agrees
    assert whole.rows == store._db.conn.execute("SELECT count(*) FROM record").fetchone()[0]
    assert whole.media == 4  # one clip said three times, one photo


def test_the_filled_store_covers_every_kind_of_row(store: Repository, filled: Filled) -> None:
    for table in KEPT:
        assert store._db.conn.execute(f"SELECT count(*) FROM {table}").fetchone()[0], table


@pytest.mark.parametrize("table", [*KEPT, "record", "limit_text"])
def test_the_database_refuses_change(store: Repository, filled: Filled, table: str) -> None:
    connection = store._db.conn
    column = connection.execute(f"PRAGMA table_info({table})").fetchall()[-1][1]
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        connection.execute(f"UPDATE {table} SET {column} = {column}")
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        connection.execute(f"DELETE FROM {table}")
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        connection.execute(f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}")


def _columns() -> Iterator[tuple[str, str]]:
    connection = sqlite3.connect(":memory:")
    from sqlite_utils import Database

    from fieldlog.store.migrations import migrations

    migrations.apply(Database(connection))
    local = {("vehicle", "number"), ("inspection", "number")}
    for table in KEPT:
        for row in connection.execute(f"PRAGMA table_info({table})"):
            if (table, row[1]) not in local:
                yield table, row[1]
    connection.close()


@pytest.mark.parametrize(("table", "column"), list(_columns()), ids=lambda v: str(v))
def test_a_change_of_any_column_shows(
    store: Repository, filled: Filled, table: str, column: str
) -> None:
    connection = _unguarded(store)
    changed = connection.execute(
        f"UPDATE {table} SET {column} = CASE WHEN typeof({column}) IN ('integer', 'real') "
        f"THEN 1 - {column} + 77 ELSE coalesce({column}, '1') || '1' END "
        f"WHERE rowid = (SELECT max(rowid) FROM {table})"
        if table not in {"hypothesis", "reading", "judgement"}
        else f"UPDATE {table} SET {column} = CASE WHEN typeof({column}) IN ('integer', 'real') "
        f"THEN {'1 - ' if column == 'gates' else '77 + '}{column} "
        f"ELSE coalesce({column}, '1') || '1' END WHERE rank = 0"
    ).rowcount
    assert changed >= 1
    assert _without_guards(store.verify().faults)


@pytest.mark.parametrize("table", KEPT)
def test_a_missing_row_shows(store: Repository, filled: Filled, table: str) -> None:
    _unguarded(store).execute(f"DELETE FROM {table}")
    assert _without_guards(store.verify().faults)


def test_a_row_put_in_beside_the_record_shows(store: Repository, filled: Filled) -> None:
    connection = _unguarded(store)
    connection.execute(
        "INSERT INTO remark (id, inspection_id, text) VALUES ('forged', ?, 'all is well')",
        (filled.inspection_id,),
    )
    for key in (filled.inspection_id, None):
        assert _without_guards(store.verify(key).faults) == [
            "remark forged: put in beside the record"
        ]


STRAYS = {
    "vehicle": "INSERT INTO vehicle (id, name) VALUES ('x', 'x')",
    "inspection": "INSERT INTO inspection (id, vehicle_id, started_at, zone, inspector, place, "
    "settings, program) VALUES ('x', 'nobody', '', '', '', '', '{}', '')",
    "remark": "INSERT INTO remark (id, inspection_id, text) VALUES ('x', 'nowhere', '')",
    "vehicle_fact": "INSERT INTO vehicle_fact (id, vehicle_id, key, value) VALUES "
    "('x', 'nobody', '', '')",
    "hypothesis": "INSERT INTO hypothesis (utterance_id, rank, listener, text, evidence) VALUES "
    "('x', 0, '', '', '{}')",
    "reading": "INSERT INTO reading (finding_id, rank) VALUES ('x', 0)",
}


@pytest.mark.parametrize("table", STRAYS)
def test_a_row_that_nothing_owns_shows_in_the_store(store: Repository, table: str) -> None:
    """It belongs to no chain of the record, so no chain misses it."""
    _unguarded(store).execute(STRAYS[table])
    assert _without_guards(store.verify().faults) == [f"{table} x: put in beside the record"]


def _without_guards(faults: tuple[str, ...]) -> list[str]:
    return [fault for fault in faults if not fault.startswith("trigger ")]


@pytest.mark.parametrize("name", list(guards()))
def test_a_missing_guard_shows(store: Repository, name: str) -> None:
    store._db.conn.execute(f"DROP TRIGGER {name}")
    (fault,) = store.verify().faults
    assert fault.startswith(f"trigger {name}: gone")
    assert store.verify("last").faults == (fault,)


def test_a_guard_that_refuses_nothing_shows(store: Repository) -> None:
    store._db.conn.execute("DROP TRIGGER remark_no_update")
    store._db.conn.execute(
        "CREATE TRIGGER remark_no_update BEFORE UPDATE ON remark BEGIN SELECT 1; END"
    )
    assert "remark_no_update" in " ".join(store.verify().faults)


def test_an_emptied_record_does_not_agree(store: Repository) -> None:
    connection = _unguarded(store)
    for table in ("record", *KEPT):
        connection.execute(f"DELETE FROM {table}")
    for statement in guards().values():
        connection.execute(statement)
    assert store.verify().faults == ("the record holds no rows: there is nothing to check",)


def test_an_inspection_whose_chain_is_gone_does_not_agree(
    store: Repository, filled: Filled
) -> None:
    _unguarded(store).execute("DELETE FROM record WHERE chain = ?", (filled.inspection_id,))
    told = " ".join(store.verify(filled.inspection_id).faults)
    assert f"chain {filled.inspection_id}: no row of it is in the record" in told


def test_a_database_set_aside_does_not_agree(store: Repository) -> None:
    aside = store.folder / "fieldlog.db.corrupt-20260504T083001Z"
    for ending in ("", "-wal"):
        aside.with_name(aside.name + ending).touch()
    for key in ("last", None):
        (fault,) = store.verify(key).faults
        assert fault.startswith(f"{aside.name}: set aside")


def test_rows_cut_off_the_end_of_one_chain_show_in_the_store(
    store: Repository, filled: Filled
) -> None:
    store.add_vehicle("red single")
    connection = _unguarded(store)
    last = connection.execute(
        "SELECT id, seq FROM record WHERE chain = ? ORDER BY n DESC", (filled.inspection_id,)
    ).fetchone()
    connection.execute("DELETE FROM event WHERE id = ?", (last[0],))
    connection.execute("DELETE FROM record WHERE id = ?", (last[0],))
    assert f"records {last[1]} to {last[1]} are missing" in " ".join(store.verify().faults)


def test_rows_of_the_record_in_another_order_show(store: Repository, filled: Filled) -> None:
    connection = _unguarded(store)
    connection.execute("UPDATE record SET seq = -1 WHERE seq = 3")
    connection.execute("UPDATE record SET seq = 3 WHERE seq = 4")
    connection.execute("UPDATE record SET seq = 4 WHERE seq = -1")
    assert _without_guards(store.verify().faults)


def test_a_changed_limit_text_shows(store: Repository, filled: Filled) -> None:
    _unguarded(store).execute("UPDATE limit_text SET text = replace(text, '2024', '2025')")
    assert "limit text" in store.verify(filled.inspection_id).faults[-1]


def test_a_changed_or_missing_original_shows(store: Repository, filled: Filled) -> None:
    path = store.media.path(filled.clip)
    data = path.read_bytes()
    path.write_bytes(data[:-1] + b"\x00")
    assert f"{filled.clip}: changed since it was kept" in store.verify(filled.inspection_id).faults
    path.unlink()
    assert f"{filled.clip}: is missing from the media folder" in store.verify().faults


def test_the_hash_is_what_the_page_says_it_is(tmp_path: Path) -> None:
    """Recomputed here from the description alone, without the module under test."""
    with Repository.open(tmp_path) as empty:
        _recomputed(empty)


def _recomputed(store: Repository) -> None:
    vehicle = store.add_vehicle("blue roadster")
    row = store._db.conn.execute("SELECT * FROM record WHERE id = ?", (vehicle.id,)).fetchone()
    text = json.dumps(
        {
            "id": vehicle.id,
            "kind": "vehicle",
            "chain": vehicle.id,
            "n": 0,
            "made_at": row["made_at"],
            "row": {"id": vehicle.id, "name": "blue roadster"},
            "children": [],
        },
        sort_keys=True,
        separators=(",", ":"),
        ensure_ascii=False,
    )
    mark = hashlib.sha256(bytes(32) + text.encode()).digest()
    assert row["hash"] == mark
    assert row["link"] == hashlib.sha256(bytes(32) + mark).digest()
