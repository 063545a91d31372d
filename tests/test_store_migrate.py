"""Stores that exist are brought up to date: nothing of them is lost, changed or hashed anew."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest
from sqlite_utils import Database

from fieldlog.errors import StoreError
from fieldlog.store import database, migrations
from fieldlog.store.database import FILE
from fieldlog.store.migrations import APPLICATION_ID, NAMES
from fieldlog.store.records import NewEntry
from fieldlog.store.repository import Repository
from fieldlog.store.schema import CHAINED, CHILDREN, TABLES, create_indexes, create_table, guards
from fieldlog.store.sql import Tables
from tests import old_stores
from tests.store_plain import everything
from tests.store_samples import CRACKED, ticking

KINDS = (*CHAINED, *(c for pairs in CHILDREN.values() for c, _ in pairs))
TO_WRITERS = "0006_writers"


def _like(read: Any, told: Any) -> None:
    """Everything ``told`` is in ``read`` as well; parts that came since may be beside it."""
    if isinstance(told, dict):
        for key in told.keys() - {"fingerprint"}:
            _like(read[key], told[key])
    elif isinstance(told, list):
        assert len(read) == len(told)
        for one, other in zip(read, told, strict=True):
            _like(one, other)
    else:
        assert read == told


@pytest.mark.parametrize("name", old_stores.NAMES)
def test_a_real_old_store_reads_as_it_did_and_agrees(tmp_path: Path, name: str) -> None:
    folder = old_stores.unpacked(name, tmp_path)
    with Repository.open(folder, now=ticking()) as store:
        assert "brought up to date" in store.notices[0]
        read, told = everything(store), old_stores.told(name)
        _like(read, {key: value for key, value in told.items() if key != "fingerprint"})
        whole = store.verify()
        assert whole.faults == ()
        assert whole.earlier == told["fingerprint"]
        for each in told["inspections"]:
            one = store.verify(each["inspection"]["id"])
            assert one.agrees
            assert one.earlier == each["fingerprint"]
            assert store.inspection_record(each["inspection"]["id"]).rows == each["rows"]
    with Repository.open(folder, now=ticking()) as store:
        assert store.notices == ()


def test_nothing_is_hashed_anew_and_the_old_chain_is_the_first_parent(tmp_path: Path) -> None:
    folder = old_stores.unpacked("shop", tmp_path)
    old = old_stores.rows(folder)["record"]  # seq, id, kind, chain, n, made_at, hash, link
    with Repository.open(folder, now=ticking()) as store:
        ask = store.engine.connection.execute
        assert sorted(tuple(row) for row in ask("SELECT id, hash FROM old_chain")) == sorted(
            (row[1], row[6]) for row in old
        )
        assert sorted(tuple(row) for row in ask("SELECT n, id, hash FROM record")) == sorted(
            (row[0], row[1], row[7]) for row in old
        )
        store.add_vehicle("new since")
        first = ask("SELECT n, parents FROM record WHERE writer != ''").fetchone()
        assert tuple(first) == (0, max(old)[7])
        assert store.verify().agrees


def test_a_copy_of_the_old_state_is_made_first(tmp_path: Path) -> None:
    folder = old_stores.unpacked("shop", tmp_path)
    before = old_stores.rows(folder)
    with Repository.open(folder, now=ticking()):
        pass
    (copy,) = folder.glob(f"{FILE}.before-{TO_WRITERS}-*")
    (tmp_path / "back").mkdir()
    copy.rename(tmp_path / "back" / FILE)
    assert old_stores.rows(tmp_path / "back") == before


def _expected_schema() -> set[tuple[str, str]]:
    with closing(sqlite3.connect(":memory:")) as connection:
        for statement in (*map(create_table, TABLES), *create_indexes(), *guards().values()):
            connection.execute(statement)
        return _schema(connection)


def _schema(connection: Tables) -> set[tuple[str, str]]:
    rows = connection.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL")
    return {(name, sql) for name, sql in rows if "_sqlite_" not in name}


@pytest.mark.parametrize("old", [True, False], ids=["old", "new"])
def test_the_steps_lead_to_the_schema_that_is_written_down(tmp_path: Path, old: bool) -> None:
    folder = old_stores.unpacked("early", tmp_path) if old else tmp_path
    with Repository.open(folder, now=ticking()) as store:
        assert _schema(store.engine.connection) == _expected_schema()


def test_what_is_made_at_once_is_what_the_steps_make() -> None:
    made = []
    for steps in (migrations.migrations, migrations.at_once):
        with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
            steps.apply(Database(connection))
            names = [each.name for each in steps.applied(Database(connection))]
            connection.execute("DELETE FROM _sqlite_migrations")
            made.append((names, sorted(connection.iterdump())))
    assert made[0] == made[1]
    assert made[1][0] == list(NAMES)


@pytest.mark.parametrize("stop", [*NAMES[1:-1], NAMES[-1]])
@pytest.mark.parametrize("filled", [True, False], ids=["rows", "empty"])
def test_every_older_version_is_brought_up_to_date(tmp_path: Path, stop: str, filled: bool) -> None:
    source = old_stores.unpacked("early", tmp_path) / FILE
    folder = tmp_path / "older"
    folder.mkdir()
    _older(folder, source if filled else None, stop)
    with Repository.open(folder, now=ticking()) as store:
        read = everything(store)
        assert ("brought up to date" in store.notices[0]) == (stop != NAMES[0])
        if filled:
            _like({**read, "fingerprint": ""}, old_stores.told("early"))
            assert [f for f in store.verify().faults if "media folder" not in f] == []
        else:
            assert store.vehicles() == ()
            store.add_vehicle("first")
            assert store.verify().agrees
    assert len(list(folder.glob(f"{FILE}.before-{stop}-*"))) == 1


_LATER = {
    "0007_stretches": ("stretch",),
    "0008_review": ("word", "review"),
    "0009_elsewhere": ("elsewhere",),
}

_LATER_COLUMNS = {
    "0010_remark_of": ("remark", "finding_id"),
    "0012_language": ("inspection", "language"),
}


def _as_left_by(connection: sqlite3.Connection, source: Path, stop: str) -> None:
    """The rows of ``source``, brought as far as the version before ``stop`` knew."""
    with closing(sqlite3.connect(source, isolation_level=None)) as old:
        old.row_factory = sqlite3.Row
        migrations.migrations.apply(Database(old), stop_before=stop)
        for step, tables in _LATER.items():  # today's 0006 makes them; that version's did not
            for table in tables if step >= stop else ():
                old.execute(f"DROP TABLE {table}")
        for step, (table, column) in _LATER_COLUMNS.items():
            if step >= stop:
                old.execute(f"ALTER TABLE {table} DROP COLUMN {column}")
        old.backup(connection)


def _older(folder: Path, source: Path | None, stop: str) -> None:
    """A store as the version before ``stop`` would have left it, with the rows of ``source``."""
    with closing(sqlite3.connect(folder / FILE, isolation_level=None)) as connection:
        migrations.migrations.apply(Database(connection), stop_before=stop)
        connection.execute(f"PRAGMA application_id={APPLICATION_ID}")
        if source is None:
            return
        if stop > TO_WRITERS:
            _as_left_by(connection, source, stop)
            return
        connection.execute("ATTACH ? AS source", (str(source),))
        connection.execute("BEGIN")
        for table in ("record", "limit_text", *KINDS):
            known = [row[1] for row in connection.execute(f"PRAGMA main.table_info({table})")]
            if not known:
                continue  # a table of a later version
            columns = ", ".join(known)
            connection.execute(
                f"INSERT INTO main.{table} ({columns}) SELECT {columns} FROM source.{table}"
            )
        connection.execute("COMMIT")


@pytest.mark.parametrize("name", ["record", "old_chain", "finding"])
def test_old_rows_are_guarded_as_new_ones(tmp_path: Path, name: str) -> None:
    with Repository.open(old_stores.unpacked("early", tmp_path), now=ticking()) as store:
        for change in (f"UPDATE {name} SET id = id", f"DELETE FROM {name}"):
            with pytest.raises(sqlite3.IntegrityError, match="append-only"):
                store.engine.connection.execute(change)


CHANGES = {
    "a value": "UPDATE finding SET value_num = value_num + 1 WHERE value_num IS NOT NULL",
    "a verdict": "UPDATE verdict SET state = 'within' WHERE state != 'within'",
    "an instant": "UPDATE utterance SET said_at = said_at + 1",
    "a number that was hashed": "UPDATE old_chain SET number = number + 1",
    "an old hash": "UPDATE old_chain SET hash = zeroblob(32) WHERE number = 1 AND n = 1",
    "an old order": "UPDATE old_chain SET n = n + 1",
    "a row": "DELETE FROM finding WHERE local_number = 1",
    "a place": "DELETE FROM old_chain WHERE number = 1",
    "an owner": "UPDATE record SET owner = 'x' WHERE kind = 'finding'",
    "the clock": "UPDATE record SET made_at = made_at - 1 WHERE kind = 'finding'",
    "arrival": "UPDATE record SET n = 1000 WHERE n = 7",
    "a reading": "DELETE FROM reading",
    "a link": "UPDATE record SET hash = zeroblob(32) WHERE n = (SELECT max(n) FROM record)",
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_change_of_an_old_row_shows_by_the_old_rule(tmp_path: Path, change: str) -> None:
    with Repository.open(old_stores.unpacked("early", tmp_path), now=ticking()) as store:
        connection = store.engine.connection
        connection.execute("PRAGMA foreign_keys=OFF")
        for name in guards():
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute(CHANGES[change])
        assert connection.execute("SELECT changes()").fetchone()[0] >= 1
        connection.execute(  # whoever does it also changes the note of the newest row
            "UPDATE local_head SET hash = (SELECT hash FROM record ORDER BY turn DESC, id LIMIT 1)"
        )
        for statement in guards().values():
            connection.execute(statement)
        assert store.verify().faults


# -- what cannot be brought up to date --------------------------------------------------------------


@contextmanager
def _left_alone(folder: Path) -> Iterator[None]:
    """The database has the same rows afterwards, and nothing lies beside it."""
    before = old_stores.rows(folder)
    yield
    assert old_stores.rows(folder) == before
    files = {path.name for path in folder.iterdir()} - {f"{FILE}-wal", f"{FILE}-shm"}
    assert files == {FILE, "media"}


def test_a_locked_store_is_left_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(database, "BUSY_S", 0.05)
    folder = old_stores.unpacked("early", tmp_path)
    with closing(sqlite3.connect(folder / FILE, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with (
            _left_alone(folder),
            pytest.raises(StoreError, match="another program has held the database"),
        ):
            Repository.open(folder)


def test_a_store_of_a_newer_version_is_left_alone(tmp_path: Path) -> None:
    folder = old_stores.unpacked("early", tmp_path)
    with closing(sqlite3.connect(folder / FILE, isolation_level=None)) as connection:
        connection.execute(
            "INSERT INTO _sqlite_migrations (migration_set, name, applied_at) "
            "VALUES ('fieldlog', '9001_later', '2030-01-01')"
        )
    with (
        _left_alone(folder),
        pytest.raises(StoreError, match=r"newer fieldlog \(it has 9001_later"),
    ):
        Repository.open(folder)


def _limited(pages: int) -> Callable[[Path], Database]:
    connect = database._connect

    def limited(path: Path) -> Database:
        db = connect(path)
        db.conn.execute(f"PRAGMA max_page_count={pages}")
        return db

    return limited


def test_a_disk_that_fills_up_meanwhile_changes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = old_stores.unpacked("early", tmp_path)
    pages = (folder / FILE).stat().st_size // 4096
    monkeypatch.setattr(database, "_connect", _limited(pages + 8))
    with _left_alone(folder), pytest.raises(StoreError, match=r"the disk is full.*free some space"):
        Repository.open(folder)
    monkeypatch.undo()
    with Repository.open(folder, now=ticking()) as store:
        assert store.verify().agrees


def test_no_room_for_the_copy_changes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = old_stores.unpacked("early", tmp_path)
    connect = sqlite3.connect

    def full(path: Any, *arguments: Any, **options: Any) -> sqlite3.Connection:
        connection: sqlite3.Connection = connect(path, *arguments, **options)
        if ".before-" in str(path):
            connection.execute("PRAGMA page_size=4096")
            connection.execute("CREATE TABLE filled (a)")
            connection.execute("PRAGMA max_page_count=3")
        return connection

    monkeypatch.setattr("fieldlog.store.database.sqlite3.connect", full)
    with _left_alone(folder), pytest.raises(StoreError, match="the disk is full"):
        Repository.open(folder)


def test_a_folder_that_cannot_be_written_changes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The file is opened read-only, as SQLite does by itself where it may not write."""
    folder = old_stores.unpacked("early", tmp_path)
    connect = sqlite3.connect

    def read_only(path: Any, *arguments: Any, **options: Any) -> sqlite3.Connection:
        opened: sqlite3.Connection = connect(
            f"file:{path}?mode=ro", *arguments, **{**options, "uri": True}
        )
        return opened

    with _left_alone(folder):
        monkeypatch.setattr("fieldlog.store.database.sqlite3.connect", read_only)
        with pytest.raises(StoreError, match=r"cannot be (written|opened).*--store DIR"):
            Repository.open(folder)
        monkeypatch.undo()


@pytest.mark.parametrize(
    ("broken", "told"),
    [
        ("UPDATE utterance SET said_at = 'this morning'", "an instant that cannot be read"),
        ("UPDATE record SET made_at = '2026-05-04T08:30:00Z' WHERE seq = 4", "cannot be read"),
        ("UPDATE photo SET utc = '2026-05-04'", "an instant that cannot be read"),
        ("UPDATE finding SET value_num = 'two' WHERE number = 1", "a row that this version"),
        ("UPDATE finding SET value_num = 2.5 WHERE number = 1", "a row that this version"),
        ("UPDATE finding SET value_den = NULL WHERE number = 1", "a row that this version"),
        ("DELETE FROM utterance WHERE number = 1", "would break"),
    ],
)
def test_a_store_with_a_row_that_is_not_well_formed_is_left_alone(
    tmp_path: Path, broken: str, told: str
) -> None:
    folder = old_stores.unpacked("early", tmp_path)
    with closing(sqlite3.connect(folder / FILE, isolation_level=None)) as connection:
        for (name,) in connection.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        ).fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        assert connection.execute(broken).rowcount >= 1
    with _left_alone(folder), pytest.raises(StoreError, match=told) as caught:
        Repository.open(folder)
    assert str(folder / FILE) in str(caught.value)


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("value_num", "'two'"),
        ("value_num", "2.5"),
        ("value_den", "NULL"),
        ("value_den", "0"),
        ("value_den", "-32"),
        ("value_num", "NULL"),
        ("unit", "NULL"),
        ("high_den", "NULL"),
        ("uncertainty_num", "NULL"),
    ],
)
@pytest.mark.parametrize("table", ["finding", "reading", "odometer"])
def test_a_value_that_is_not_whole_is_refused(
    tmp_path: Path, table: str, column: str, value: str
) -> None:
    """SQLite took 'two', 2.5 and a value without its denominator (sqlite.org/stricttables.html)."""
    with Repository.open(tmp_path, now=ticking()) as store:
        connection = store.engine.connection
        store.save(store.start_inspection(store.add_vehicle("x").id).id, NewEntry(finding=CRACKED))
        (finding,) = connection.execute("SELECT id FROM finding").fetchone()
        (vehicle,) = connection.execute("SELECT id FROM vehicle").fetchone()
        cells = {
            **dict.fromkeys(("value_num", "high_num", "uncertainty_num"), "4"),
            **dict.fromkeys(("value_den", "high_den", "uncertainty_den"), "32"),
            "unit": "'in'",
            "id": f"'{finding}'",
        }
        if table == "reading":
            cells |= {"finding_id": cells.pop("id"), "rank": "0"}
        elif table == "odometer":
            cells |= {"vehicle_id": f"'{vehicle}'", "read_at": "0"}
        else:
            (inspection,) = connection.execute("SELECT id FROM inspection").fetchone()
            (free,) = connection.execute("SELECT id FROM record WHERE kind = 'vehicle'").fetchone()
            cells |= {"id": f"'{free}'", "inspection_id": f"'{inspection}'", "local_number": "9"}
            cells |= {"component": "'tyre'", "words": "''"}

        def insert(given: dict[str, str]) -> None:
            connection.execute(
                f"INSERT INTO {table} ({', '.join(given)}) VALUES ({', '.join(given.values())})"
            )

        with pytest.raises(sqlite3.IntegrityError, match=r"CHECK|cannot store"):
            insert({**cells, column: value})
        insert(cells)
