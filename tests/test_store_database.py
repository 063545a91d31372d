"""Opening: settings, migrations from blank and every older version, damage, locks, full disk."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest
from sqlite_utils import Database, Migrations

from fieldlog.errors import StoreError, UsageError
from fieldlog.store import database, migrations
from fieldlog.store.database import FILE, file_system, open_database, set_aside, translated
from fieldlog.store.migrations import APPLICATION_ID, NAMES
from fieldlog.store.repository import Repository
from tests.store_samples import START, fill, ticking


def test_settings_that_keep_what_was_saved(tmp_path: Path) -> None:
    opened = open_database(tmp_path, now=START, mounts="")
    ask = opened.db.conn.execute
    assert opened.journal == "wal"
    assert ask("PRAGMA journal_mode").fetchone()[0] == "wal"
    assert ask("PRAGMA synchronous").fetchone()[0] == 2  # FULL
    assert ask("PRAGMA foreign_keys").fetchone()[0] == 1
    assert ask("PRAGMA busy_timeout").fetchone()[0] == 10_000
    assert ask("PRAGMA recursive_triggers").fetchone()[0] == 1
    assert ask("PRAGMA application_id").fetchone()[0] == APPLICATION_ID
    assert opened.notices == ()
    opened.db.close()


def test_the_known_names_are_the_registered_migrations() -> None:
    assert tuple(m.name for m in migrations.migrations._migrations) == NAMES


def test_a_failed_migration_leaves_the_old_state(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Repository.open(tmp_path, now=ticking()) as store:
        filled = fill(store, tmp_path)
    newer = Migrations("fieldlog")
    for step in migrations.migrations._migrations:
        newer(name=step.name)(step.fn)

    def half(db: Database) -> None:
        db.execute("CREATE TABLE added (a)")
        db.execute("DROP TABLE no_such_table")

    newer(name="0099_half")(half)
    with monkeypatch.context() as patched:
        patched.setattr(database, "migrations", newer)
        patched.setattr(database, "NAMES", (*NAMES, "0099_half"))
        with pytest.raises(StoreError, match="no_such_table"):
            Repository.open(tmp_path, now=ticking())
    with Repository.open(tmp_path, now=ticking()) as store:
        assert store.verify().agrees
        assert store.inspection_record("last").findings[0].id == filled.tread_id
        tables = store.engine.connection.execute("SELECT name FROM sqlite_master").fetchall()
    assert "added" not in {row[0] for row in tables}


def test_a_database_of_a_newer_version_is_refused_and_left_alone(tmp_path: Path) -> None:
    with Repository.open(tmp_path) as store:
        store.engine.connection.execute(
            "INSERT INTO _sqlite_migrations (migration_set, name, applied_at) "
            "VALUES ('fieldlog', '9001_later', '2030-01-01')"
        )
    before = (tmp_path / FILE).read_bytes()
    with pytest.raises(StoreError, match=r"newer fieldlog \(it has 9001_later.*update fieldlog"):
        Repository.open(tmp_path)
    assert (tmp_path / FILE).read_bytes() == before


def test_a_database_of_another_program_is_refused(tmp_path: Path) -> None:
    connection = sqlite3.connect(tmp_path / FILE)
    connection.execute("CREATE TABLE recipes (a)")
    connection.commit()
    connection.close()
    with pytest.raises(StoreError, match="some other program"):
        Repository.open(tmp_path)


def _truncate(path: Path) -> None:
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def _scribble(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[4096 : 4096 + 2000] = b"\x55" * 2000
    path.write_bytes(bytes(data))


def _replace(path: Path) -> None:
    path.write_bytes(b"this was never a database, and it is long enough to be one" * 100)


@pytest.mark.parametrize("damage", [_truncate, _scribble, _replace])
def test_a_damaged_file_is_refused_and_moved_aside_on_request_alone(
    tmp_path: Path, damage: Callable[[Path], None]
) -> None:
    """S5."""
    with Repository.open(tmp_path, now=ticking()) as store:
        filled = fill(store, tmp_path)
    damage(tmp_path / FILE)
    damaged = (tmp_path / FILE).read_bytes()
    with pytest.raises(StoreError, match="fieldlog store set-aside"):
        Repository.open(tmp_path, now=ticking())
    assert (tmp_path / FILE).read_bytes() == damaged
    assert not list(tmp_path.glob("*.corrupt-*"))
    aside = set_aside(tmp_path, ticking()())
    assert aside.name == "fieldlog.db.corrupt-20260504T083001Z"
    assert aside.read_bytes() == damaged
    with Repository.open(tmp_path, now=ticking()) as store:
        assert store.inspections() == ()
        assert store.media.fault(filled.clip) is None
    with pytest.raises(UsageError, match="is not damaged"):
        set_aside(tmp_path, ticking()())


def test_an_empty_file_is_a_new_store(tmp_path: Path) -> None:
    (tmp_path / FILE).touch()
    with Repository.open(tmp_path) as store:
        assert store.notices == ()
        assert store.vehicles() == ()


MOUNTS = """\
/dev/sda1 / ext4 rw 0 0
server:/share /mnt/with\\040space nfs4 rw 0 0
//host/bay /mnt/bay cifs rw 0 0
/dev/sdb1 /mnt/stick vfat rw 0 0
"""


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/home/someone/x.db", "ext4"),
        ("/mnt/with space/x.db", "nfs4"),
        ("/mnt/bay/x.db", "cifs"),
        ("/mnt/bays/x.db", "ext4"),
        ("/mnt/stick/x.db", "vfat"),
    ],
)
def test_file_system_of_a_path(path: str, kind: str) -> None:
    assert file_system(Path(path), MOUNTS) == kind


def test_no_write_ahead_log_on_a_network_folder(tmp_path: Path) -> None:
    """S3."""
    mounts = f"/dev/sda1 / ext4 rw 0 0\nserver:/x {tmp_path.resolve()} nfs rw 0 0\n"
    opened = open_database(tmp_path / "shop", now=START, mounts=mounts)
    try:
        assert opened.journal == "truncate"
        assert opened.db.conn.execute("PRAGMA synchronous").fetchone()[0] == 2
        assert len(opened.notices) == 1
        assert "network or shared file system (nfs)" in opened.notices[0]
    finally:
        opened.db.close()


class _NoWal:
    """A connection on a disk where write-ahead logging cannot work."""

    def __init__(self, connection: sqlite3.Connection, answer: str | sqlite3.Error) -> None:
        self._connection, self._answer = connection, answer

    def execute(self, sql: str) -> sqlite3.Cursor:
        if sql == "PRAGMA journal_mode=WAL":
            if isinstance(self._answer, sqlite3.Error):
                raise self._answer
            return self._connection.execute(f"SELECT '{self._answer}'")
        return self._connection.execute(sql)


@pytest.mark.parametrize("answer", ["delete", sqlite3.OperationalError("disk I/O error")])
def test_the_journal_is_read_back_and_replaced(tmp_path: Path, answer: str | sqlite3.Error) -> None:
    """S3: exFAT answers ``delete`` or fails with a disk I/O error."""
    connection = sqlite3.connect(tmp_path / FILE)
    db = Database(connection)
    db.conn = _NoWal(connection, answer)  # type: ignore[assignment]
    notices: list[str] = []
    assert database._choose_journal(db, tmp_path / FILE, "", notices) == "truncate"
    assert len(notices) == 1
    assert "does not support write-ahead logging" in notices[0]
    connection.close()


def test_a_full_disk_is_one_clear_line_and_loses_nothing(tmp_path: Path) -> None:
    with Repository.open(tmp_path, now=ticking()) as store:
        vehicle = store.add_vehicle("blue roadster")
        inspection = store.start_inspection(vehicle.id)
        pages = store.engine.connection.execute("PRAGMA page_count").fetchone()[0]
        store.engine.connection.execute(f"PRAGMA max_page_count={pages}")

        def until_full() -> None:
            for _ in range(1000):
                store.add_remark(inspection.id, "x" * 2000)

        with pytest.raises(StoreError, match=r"the disk is full.*free some space") as caught:
            until_full()
        assert "\n" not in str(caught.value)
        kept = len(store.inspection_record("last").remarks)
        store.engine.connection.execute("PRAGMA max_page_count=100000")
        store.add_remark(inspection.id, "after")
        assert len(store.inspection_record("last").remarks) == kept + 1
        assert store.verify().agrees


def test_a_read_only_database_is_one_clear_line(tmp_path: Path) -> None:
    with Repository.open(tmp_path):
        pass
    path = tmp_path / FILE
    connection = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    with pytest.raises(StoreError, match=r"cannot be written.*--store DIR"), translated(path):
        connection.execute("CREATE TABLE x (a)")
    connection.close()


def test_a_folder_that_cannot_be_made_is_one_clear_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(StoreError, match=r"cannot be made.*--store DIR"):
        Repository.open(tmp_path / "file" / "shop")


def test_a_database_held_by_another_is_one_clear_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database, "BUSY_S", 0.05)
    with Repository.open(tmp_path) as store:
        other = sqlite3.connect(tmp_path / FILE, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreError, match="another program has held the database"):
            store.add_vehicle("blue roadster")
        other.execute("ROLLBACK")
        other.close()
        assert store.add_vehicle("blue roadster").number == 1
