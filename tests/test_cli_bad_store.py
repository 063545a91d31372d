"""A record that is not there, older, newer, locked, read-only or on a full disk: every command that
works with it says in one line what, where and what to do; nothing is lost and nothing is made.
"""

from __future__ import annotations

import hashlib
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing, suppress
from datetime import datetime
from pathlib import Path

import pytest

from fieldlog.errors import StoreError
from fieldlog.store import database
from fieldlog.store.database import FILE
from fieldlog.store.repository import Repository
from tests.old_stores import rows, unpacked
from tests.spoken import run, spoken, stub_listener
from tests.test_cli_bad_input import refused

COMMANDS = {
    "enter": ("inspection", "enter", "rear tread 4 mm", "--store", "RECORD"),
    "listen": (
        *("listen", "--source", "SOUND", "--fast", "--inspection", "last"),
        *("--store", "RECORD"),
    ),
    "listen anew": ("listen", "--source", "SOUND", "--fast", "--vehicle", "x", "--store", "RECORD"),
    "hear": ("inspection", "hear", "SOUND", "--store", "RECORD"),
    "merge into": ("store", "merge", "OTHER", "--store", "RECORD"),
    "merge from": ("store", "merge", "RECORD", "--store", "OTHER"),
    "report": ("report", "--html", "--pdf", "--json", "--csv", "--out", "OUT", "--store", "RECORD"),
    "show": ("inspection", "show", "--store", "RECORD"),
    "due": ("vehicle", "due", "1", "--store", "RECORD"),
}
MAKES_ONE = {"listen anew", "merge into"}
"""Commands that begin a record where there is none."""
READS = {"report", "show", "due"}
"""Commands that only read, and need neither room in the record nor leave to write it."""
every_command = pytest.mark.parametrize("name", COMMANDS)


class Bench:
    """A record with one finding, another one to merge with, and a recording."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.record, self.other, self.out = folder / "record", folder / "other", folder / "out"
        self.sound = folder / "walk.wav"

    def fill(self) -> None:
        for place in (self.record, self.other):
            done = run("vehicle", "add", place.name, "--store", place)
            assert done.exit_code == 0, done.output
        run("inspection", "start", "record", "--store", self.record)
        run("inspection", "enter", "front tread 4 mm", "--store", self.record)
        spoken(self.sound)

    def command(self, name: str) -> list[str]:
        places = {"RECORD": self.record, "OTHER": self.other, "OUT": self.out, "SOUND": self.sound}
        return [str(places.get(part, part)) for part in COMMANDS[name]]

    def state(self) -> dict[str, str]:
        """Every file with its contents; of an open database the write-ahead files come and go."""
        return {
            path.relative_to(self.folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
            for path in sorted(self.folder.rglob("*"))
            if path.is_file() and not path.name.endswith(("-wal", "-shm"))
        }


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What each test has a copy of."""
    folder = tmp_path_factory.mktemp("bench")
    Bench(folder).fill()
    return folder


@pytest.fixture
def bench(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Bench:
    stub_listener(monkeypatch)
    shutil.copytree(made, tmp_path, dirs_exist_ok=True)
    copied = Bench(tmp_path)
    for place in (copied.record, copied.other):
        Repository.open(
            place
        ).close()  # a copy writes as a writer of its own, from its first opening on
    return copied


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(database, "BUSY_S", 0.2)


@every_command
def test_no_record(bench: Bench, name: str) -> None:
    shutil.rmtree(bench.record)
    before = bench.state()
    result = run(*bench.command(name))
    if name in MAKES_ONE:
        assert result.exit_code == 0, result.output
        return
    refused(result, 8, "there is no record here", str(bench.record), "name the")
    assert bench.state() == before
    assert not bench.record.exists()


@every_command
def test_an_emptied_record_is_not_begun_anew(bench: Bench, name: str) -> None:
    """A file of no bytes beside the clips of a record is what is left of it, and no place for another."""
    (bench.record / FILE).write_bytes(b"")
    clip = bench.record / "media" / "ab" / "abcd.flac"
    clip.parent.mkdir(parents=True)
    clip.write_bytes(b"said before")
    before = bench.state()
    refused(run(*bench.command(name)), 8, "is empty", str(bench.record))
    assert bench.state() == before


@pytest.mark.parametrize("words", ["vehicle list", "inspection list", "inspection verify"])
def test_looking_makes_no_record(words: str, tmp_path: Path) -> None:
    refused(run(*words.split(), "--store", tmp_path / "a"), 8, "there is no record here")
    refused(run("vehicle", "add", "x", "--set", "rim=cheese", "--store", tmp_path / "a"), 2, "rim")
    refused(run("store", "merge", tmp_path / "b", "--store", tmp_path / "a"), 8, "no record here")
    assert list(tmp_path.iterdir()) == []


@every_command
def test_a_newer_record(bench: Bench, name: str) -> None:
    with closing(sqlite3.connect(bench.record / FILE)) as connection, connection:
        connection.execute(
            "INSERT INTO _sqlite_migrations (migration_set, name, applied_at) SELECT "
            "migration_set, 'm999_from_the_future', applied_at FROM _sqlite_migrations LIMIT 1"
        )
    before = bench.state()
    refused(run(*bench.command(name)), 8, "newer fieldlog", "update fieldlog", str(bench.record))
    assert bench.state() == before


@every_command
def test_a_locked_record(bench: Bench, name: str, quick: None) -> None:
    before = bench.state()
    with closing(sqlite3.connect(bench.record / FILE, isolation_level=None)) as other:
        other.execute("PRAGMA locking_mode=EXCLUSIVE")
        other.execute("BEGIN EXCLUSIVE")
        result = run(*bench.command(name))
        other.execute("ROLLBACK")
    if name in READS:
        assert result.exit_code == 0, result.output
        return
    refused(result, 8, "another program has held", "close it and repeat", str(bench.record))
    assert bench.state() == before
    assert run(*bench.command(name)).exit_code == 0


UNPRIVILEGED = """
import ctypes, os, sys
if os.geteuid() == 0:  # the superuser may write everywhere, but for these capabilities (Linux)
    for capability in (1, 2):  # CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH
        if ctypes.CDLL(None).prctl(24, capability, 0, 0, 0):  # PR_CAPBSET_DROP, from exec on
            sys.exit(77)
os.execv(sys.executable, [sys.executable, "-c", *sys.argv[1:]])
"""
COMMAND = """
import sys
from fieldlog.cli import main
from fieldlog.listeners import choose
from tests.spoken import Stub
choose.open_listener = lambda *_, **__: Stub()
main(sys.argv[1:])
"""


def runs_alone(*arguments: str) -> tuple[int, str]:
    """A command in a process that obeys file permissions: exit code and stderr."""
    done = subprocess.run(
        [sys.executable, "-c", UNPRIVILEGED, COMMAND, *arguments],
        cwd=Path(__file__).resolve().parents[1],
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode == 77:
        pytest.skip("the superuser may write everywhere here")
    return done.returncode, done.stderr


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="permissions as Linux has them")
@pytest.mark.parametrize("name", ["enter", "listen", "listen anew", "merge into"])
def test_a_read_only_record(tmp_path: Path, name: str) -> None:
    bench = read_only(tmp_path)
    before = bench.state()
    code, told = runs_alone(*bench.command(name))
    (line,) = told.splitlines()
    assert code == 8
    assert f"{bench.record / FILE}: cannot be written. Next: make the folder writable" in line
    assert bench.state() == before
    assert not bench.out.exists()


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="permissions as Linux has them")
def test_a_read_only_stick_can_be_taken_in(tmp_path: Path) -> None:
    assert runs_alone(*read_only(tmp_path).command("merge from"))[0] == 0


def read_only(folder: Path) -> Bench:
    """A bench whose record nobody may write."""
    bench = Bench(folder)
    bench.fill()
    for path in (*bench.record.rglob("*"), bench.record):
        path.chmod(0o555 if path.is_dir() else 0o444)
    return bench


def fill(store: Repository) -> None:
    """Use up what is free inside the database, which cannot grow."""
    head = store.inspection("last").id
    for size in (2000, 200, 2):
        with suppress(StoreError):
            while True:
                store.add_remark(head, "x" * size)


@pytest.mark.parametrize("name", ["enter", "hear", "merge into"])
def test_a_full_disk(bench: Bench, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_room(folder: Path, *, now: datetime) -> database.Opened:
        opened = database.open_database(folder, now=now)
        pages = opened.db.conn.execute("PRAGMA page_count").fetchone()[0]
        opened.db.conn.execute(f"PRAGMA max_page_count={pages}")
        return opened

    # a row that no half-empty page can take
    assert run("vehicle", "add", "x" * 9000, "--store", bench.other).exit_code == 0
    monkeypatch.setattr("fieldlog.store.sqlite_store.open_database", no_room)
    with Repository.open(bench.record) as store:
        fill(store)
    for each in ("enter", "hear"):  # the tables that no remark goes to have pages of their own
        while run(*bench.command(each)).exit_code == 0:
            pass
    with Repository.open(bench.record) as store:
        before = store.fingerprint()
    result = run(*bench.command(name))
    monkeypatch.undo()
    assert result.exit_code == 8, result.output
    (told,) = [line for line in result.stderr.splitlines() if line.startswith("fieldlog: ")]
    assert "the disk is full" in told
    assert "free some space and repeat" in told
    assert str(bench.record) in told
    with Repository.open(bench.record) as store:
        assert store.fingerprint() == before
        assert store.verify().agrees
    stub_listener(monkeypatch)
    assert run(*bench.command(name)).exit_code == 0


def test_a_report_on_a_full_disk(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    before = bench.state()

    there = Path.replace

    def full(self: Path, target: Path) -> Path:
        if target.parent == bench.out:
            raise OSError(28, "No space left on device", str(target))
        return there(self, target)

    monkeypatch.setattr(Path, "replace", full)
    refused(run(*bench.command("report")), 8, "no space left", "--out DIR", str(bench.out))
    monkeypatch.undo()
    assert list(bench.out.iterdir()) == []
    made = {name: each for name, each in bench.state().items() if "/keys/" not in name}
    assert made == before  # but for the key that a report is vouched for with, made once


@pytest.mark.parametrize("name", sorted(set(COMMANDS) - {"due"}))  # its log there is made up
def test_a_record_of_an_earlier_version(bench: Bench, tmp_path: Path, name: str) -> None:
    shutil.rmtree(bench.record)
    unpacked("shop", tmp_path).rename(bench.record)
    before = (bench.record / FILE).read_bytes()
    old = unpacked("shop", tmp_path / "as it was") / FILE
    result = run(*bench.command(name))
    assert result.exit_code == 0, result.output
    if name == "merge from" or name in READS:
        assert (bench.record / FILE).read_bytes() == before
        return
    assert "brought up to date; a copy of the old state is" in result.stderr
    (kept,) = bench.record.glob(f"{FILE}.before-*")
    assert rows(kept) == rows(old)
    with Repository.open(bench.record) as store:
        assert store.verify().agrees
