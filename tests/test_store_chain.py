"""A single change to the record shows, and the database itself refuses to make one."""

from __future__ import annotations

import hashlib
import json
import shutil
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from fieldlog.store.chain import LOCAL
from fieldlog.store.repository import Repository
from fieldlog.store.schema import CHAINED, CHILDREN, create_table, guards
from fieldlog.store.sql import Tables
from tests.store_samples import Filled, fill, ticking

CHILD_TABLES = tuple(child for pairs in CHILDREN.values() for child, _ in pairs)
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


def _unguarded(store: Repository) -> Tables:
    """The connection of somebody who takes the triggers off first."""
    connection = store.engine.connection
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
    assert one.writers == 1
    assert one.fingerprint == store.inspection_record("last").fingerprint
    whole = store.verify()
    assert whole.agrees
    assert (
        whole.rows == store.engine.connection.execute("SELECT count(*) FROM record").fetchone()[0]
    )
    assert whole.media == 2  # one clip said three times, one photo


def test_the_filled_store_covers_every_kind_of_row(store: Repository, filled: Filled) -> None:
    for table in KEPT:
        assert store.engine.connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0], table


@pytest.mark.parametrize("table", [*KEPT, "record", "limit_text"])
def test_the_database_refuses_change(store: Repository, filled: Filled, table: str) -> None:
    connection = store.engine.connection
    column = connection.execute(f"PRAGMA table_info({table})").fetchall()[-1][1]
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        connection.execute(f"UPDATE {table} SET {column} = {column}")
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        connection.execute(f"DELETE FROM {table}")
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        connection.execute(f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}")


def _columns() -> Iterator[tuple[str, str]]:
    connection = sqlite3.connect(":memory:")
    for table in (*KEPT, "record"):
        connection.execute(create_table(table))
        for row in connection.execute(f"PRAGMA table_info({table})"):
            if not row[1].startswith(LOCAL):
                yield table, row[1]
    connection.close()


@pytest.mark.parametrize(("table", "column"), list(_columns()), ids=lambda v: str(v))
def test_a_change_of_any_column_shows(
    store: Repository, filled: Filled, table: str, column: str
) -> None:
    connection = _unguarded(store)
    connection.execute("PRAGMA ignore_check_constraints=ON")
    described = connection.execute(f"PRAGMA table_info({table})").fetchall()
    kind = {row[1]: row[2] for row in described}[column]
    key = ", ".join(row[1] for row in described if row[5])  # its primary key
    one = f"({key}) = (SELECT {key} FROM {table} ORDER BY {key} DESC LIMIT 1)"
    (before,) = connection.execute(f"SELECT {column} FROM {table} WHERE {one}").fetchone()
    other: object
    match kind:
        case "INTEGER":
            other = 1 - before if column == "gates" else (before or 0) + 77
        case "REAL":
            other = (before or 0.0) + 77.0
        case "TEXT":
            other = f"{before or ''}1"
        case _:
            other = bytes(32)
    connection.execute(f"UPDATE {table} SET {column} = ? WHERE {one}", (other,))
    assert connection.execute("SELECT changes()").fetchone()[0] == 1
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
    "vehicle": "INSERT INTO vehicle (id, local_number, name) VALUES ('x', 9, 'x')",
    "inspection": "INSERT INTO inspection (id, local_number, vehicle_id, started_at, zone, "
    "inspector, place, settings, program) VALUES ('x', 9, 'nobody', 0, '', '', '', '{}', '')",
    "old_chain": "INSERT INTO old_chain (id, n, previous, hash) "
    "VALUES ('x', 0, zeroblob(32), zeroblob(32))",
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
    """Without what whoever takes the guards off, or puts in a row that refers to nothing, leaves."""
    return [f for f in faults if not f.startswith("trigger ") and "a row of it refers to" not in f]


@pytest.mark.parametrize("name", list(guards()))
def test_a_missing_guard_shows(store: Repository, name: str) -> None:
    store.engine.connection.execute(f"DROP TRIGGER {name}")
    (fault,) = store.verify().faults
    assert fault.startswith(f"trigger {name}: gone")
    assert store.verify("last").faults == (fault,)


def test_a_guard_that_refuses_nothing_shows(store: Repository) -> None:
    store.engine.connection.execute("DROP TRIGGER remark_no_update")
    store.engine.connection.execute(
        "CREATE TRIGGER remark_no_update BEFORE UPDATE ON remark BEGIN SELECT 1; END"
    )
    assert "remark_no_update" in " ".join(store.verify().faults)


def test_an_emptied_record_does_not_agree(store: Repository) -> None:
    connection = _unguarded(store)
    for table in ("record", "local_head", "local_found", "local_word", "limit_text", *KEPT):
        connection.execute(f"DELETE FROM {table}")
    for statement in guards().values():
        connection.execute(statement)
    assert store.verify().faults == ("the record holds no rows: there is nothing to check",)


def test_an_inspection_whose_chain_is_gone_does_not_agree(
    store: Repository, filled: Filled
) -> None:
    _unguarded(store).execute("DELETE FROM record WHERE owner = ?", (filled.inspection_id,))
    told = " ".join(store.verify(filled.inspection_id).faults)
    assert f"{filled.inspection_id}: no row of it is in the record" in told


def test_a_database_set_aside_does_not_agree(store: Repository) -> None:
    aside = store.folder / "fieldlog.db.corrupt-20260504T083001Z"
    for ending in ("", "-wal"):
        aside.with_name(aside.name + ending).touch()
    for key in ("last", None):
        (fault,) = store.verify(key).faults
        assert fault.startswith(f"{aside.name}: set aside")


def test_rows_taken_out_of_the_middle_show_for_every_inspection(
    store: Repository, filled: Filled
) -> None:
    """The order is that of the whole record, so it is checked for one inspection as well."""
    store.add_vehicle("red single")
    connection = _unguarded(store)
    last = connection.execute(
        "SELECT id FROM record WHERE owner = ? ORDER BY n DESC", (filled.inspection_id,)
    ).fetchone()
    connection.execute("DELETE FROM event WHERE id = ?", (last[0],))
    connection.execute("DELETE FROM record WHERE id = ?", (last[0],))
    for key in (filled.inspection_id, None):
        assert "rows before it are missing" in " ".join(store.verify(key).faults)


def test_rows_cut_off_the_end_show(store: Repository) -> None:
    """What the store noted of its newest rows tells; who changes that as well is not found out."""
    connection = _unguarded(store)
    connection.execute("DELETE FROM event")
    connection.execute("DELETE FROM record WHERE kind = 'event'")
    (fault,) = _without_guards(store.verify().faults)
    assert fault.startswith("the newest rows are not those that were noted")


def test_rows_of_the_record_in_another_order_show(store: Repository, filled: Filled) -> None:
    connection = _unguarded(store)
    turns = [row[0] for row in connection.execute("SELECT turn FROM record ORDER BY n LIMIT 5")]
    connection.execute("UPDATE record SET turn = ? WHERE n = 3", (turns[4],))
    connection.execute("UPDATE record SET turn = ? WHERE n = 4", (turns[3],))
    assert "not in the order in which it was written" in " ".join(store.verify().faults)


def test_a_missing_limit_text_shows(store: Repository) -> None:
    """A verdict would lose the limit it was judged by, in silence."""
    _unguarded(store).execute("DELETE FROM limit_text")
    assert any(
        fault.startswith("limit text") and fault.endswith("its content is missing")
        for fault in store.verify("last").faults
    )


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
    first = store.add_vehicle("blue roadster")
    second = store.add_vehicle("red single")
    before = b""
    for n, vehicle in enumerate((first, second)):
        row = store.engine.connection.execute(
            "SELECT * FROM record WHERE id = ?", (vehicle.id,)
        ).fetchone()
        text = json.dumps(
            {
                "id": vehicle.id,
                "kind": "vehicle",
                "owner": vehicle.id,
                "writer": store.engine.writer,
                "n": n,
                "made_at": row["made_at"],
                "parents": [before.hex()] if before else [],
                "row": {"id": vehicle.id, "name": vehicle.name},
                "children": [],
            },
            sort_keys=True,
            separators=(",", ":"),
            ensure_ascii=False,
        )
        before = hashlib.sha256(text.encode()).digest()
        assert row["hash"] == before
    assert store.engine.fingerprint() == hashlib.sha256(before).hexdigest()
