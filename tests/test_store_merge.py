"""Two records brought together: everything of both, nothing half, and the other left as it was."""

from __future__ import annotations

import hashlib
import shutil
import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from fieldlog.aftercare.plan import never_confirmed
from fieldlog.errors import StoreError, UsageError
from fieldlog.language.files import load_language
from fieldlog.shop.workshop import Workshop
from fieldlog.store import database, merging
from fieldlog.store.database import FILE, back_up
from fieldlog.store.media import MediaFolder
from fieldlog.store.records import NewEntry, NewUtterance
from fieldlog.store.repository import Repository
from fieldlog.store.schema import guards
from tests import old_stores
from tests.broken_connection import BrokenConnection
from tests.store_contract import everything
from tests.store_samples import START, TREAD, fill, ticking, tone, understood

LATER = START + timedelta(hours=1)


def _files(folder: Path) -> dict[str, str]:
    """Every file under ``folder`` with its hash; the database by what is in it."""
    found = {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file() and not path.name.startswith(FILE)
    }
    beside = {path.name for path in folder.glob(f"{FILE}*")} - {f"{FILE}-wal", f"{FILE}-shm"}
    return {**found, **dict.fromkeys(beside, ""), FILE: str(old_stores.rows(folder))}


@pytest.fixture
def pair(tmp_path: Path) -> tuple[Path, Path]:
    """Two copies of one record, each with a finding and a clip of its own since."""
    one, two = tmp_path / "one", tmp_path / "two"
    with Repository.open(one, now=ticking()) as store:
        fill(store, tmp_path)
    shutil.copytree(one, two)
    for folder, hertz in ((one, 500.0), (two, 600.0)):
        with Repository.open(folder, now=ticking(LATER)) as store:
            _say(store, folder.name, hertz)
    return one, two


def _say(store: Repository, words: str, hertz: float) -> None:
    clip = store.media.save_clip(tone(hertz=hertz))
    store.save(
        store.inspection("last").id,
        NewEntry(
            NewUtterance(understood(words), LATER, clip=clip, source="microphone"),
            finding=replace(TREAD, words=words),
        ),
    )


def test_both_ways_to_the_same_record(pair: tuple[Path, Path]) -> None:
    one, two = pair
    before = _files(two)
    with Repository.open(one, now=ticking(LATER)) as store:
        merged = store.merge(two)
        assert (merged.rows, merged.originals) == (2, 1)
        assert merged.rivalled == ()
        assert merged.fingerprint == store.fingerprint()
        assert store.verify().faults == ()
        read = everything(store.engine)
    assert _files(two) == before
    with Repository.open(two, now=ticking(LATER)) as store:
        assert store.merge(one).fingerprint == merged.fingerprint
        assert everything(store.engine) == read
        assert store.verify().faults == ()
        again = store.merge(one)
        assert (again.rows, again.originals) == (0, 0)
        _say(store, "goes on", 700.0)
        assert store.verify().faults == ()


@pytest.mark.parametrize("first", ["shop", "bay"])
def test_copies_that_an_old_version_let_drift_apart(tmp_path: Path, first: str) -> None:
    """Two real stores that share history by the old rule, each with an odometer reading since."""
    second = {"shop": "bay", "bay": "shop"}[first]
    one, two = (old_stores.unpacked(name, tmp_path) for name in (first, second))
    before = _files(two)
    with Repository.open(one, now=ticking(LATER)) as store:
        merged = store.merge(two)
        # A reading; an utterance, its finding and verdict; a correction and its finding.
        assert merged.rows == 6
    assert _files(two) == before


def test_old_copies_come_to_the_same(tmp_path: Path) -> None:
    one, two = (old_stores.unpacked(name, tmp_path) for name in ("shop", "bay"))
    with Repository.open(two, now=ticking(LATER)) as store:
        store.add_vehicle("since the step")
    with Repository.open(one, now=ticking(LATER)) as store:
        merged = store.merge(two)
        read = everything(store.engine)
        assert store.verify().faults == ()
        words = {each.finding.words: each for each in store.inspection_record("2").findings}
        stands = {name for name, each in words.items() if each.stands}
        assert {"seen in the shop", "seen in the bay"} <= stands
        assert len(stands & {"read again in the shop", "read again in the bay"}) == 1
        ((record, finding),) = merged.rivalled
        assert record.inspection.number == 2
        assert finding.finding.words in stands
        distances = {int(each.distance.value) for each in store.vehicle("1").odometer}
        assert {12_900, 13_000} <= distances
    with Repository.open(two, now=ticking(LATER)) as store:
        assert store.merge(one).fingerprint == merged.fingerprint
        assert everything(store.engine) == read
        assert store.verify().faults == ()


@pytest.mark.parametrize("first", ["question", "finding"])
def test_a_question_is_as_open_in_either_copy(tmp_path: Path, first: str) -> None:
    """Numbers are each copy's own: what came later is told by the order that all copies share."""
    said = {"question": "pads two millimetres", "finding": "rear pads two millimetres"}
    second = {"question": "finding", "finding": "question"}[first]
    one, two = tmp_path / "one", tmp_path / "two"
    language = load_language()
    with Workshop.open(one, language=language) as shop:
        shop.begin("grey twin")
    shutil.copytree(one, two)
    for folder, kind in ((one, first), (two, second)):
        with Workshop.open(folder, language=language) as shop:
            shop.inspecting().type(said[kind])
    shutil.copytree(two, tmp_path / "copy")
    opened = []
    for folder, other in ((one, tmp_path / "copy"), (two, one)):
        with Repository.open(folder) as store:
            store.merge(other)
            opened.append(never_confirmed(store.inspection_record("last")))
    assert opened == [{"question": 0, "finding": 1}[first]] * 2


def test_copies_that_go_on_as_one_writer_merge_all_the_same(pair: tuple[Path, Path]) -> None:
    """A cloned disk: the second copy does not know that it is one, and the chain forks."""
    one, two = pair
    with Repository.open(one) as store:
        writer = store.engine.writer
    with closing(sqlite3.connect(two / FILE)) as connection, connection:
        connection.execute("UPDATE local_state SET value = ? WHERE key = 'writer'", (writer,))
    for folder in (one, two):
        with Repository.open(folder, now=ticking(LATER)) as store:
            assert store.engine.writer == writer
            _say(store, f"forked {folder.name}", 800.0)
    with Repository.open(one, now=ticking(LATER)) as store:
        store.merge(two)
        _say(store, "after", 900.0)
        assert store.verify().faults == ()
        read = everything(store.engine)
    with Repository.open(two, now=ticking(LATER)) as store:
        store.merge(one)
        assert everything(store.engine) == read
        assert store.verify().faults == ()


def test_into_an_empty_store_and_from_one(pair: tuple[Path, Path], tmp_path: Path) -> None:
    with Repository.open(tmp_path / "empty") as store:
        merged = store.merge(pair[0])
        assert merged.rows == merged.rows_there
        assert store.verify().faults == ()
        assert store.inspection_record("1").inspection.number == 1
    with Repository.open(tmp_path / "none"):
        pass
    with Repository.open(pair[0]) as store, pytest.raises(StoreError, match="holds no rows"):
        store.merge(tmp_path / "none")


# -- what is refused ------------------------------------------------------------------------------


def _refused(pair: tuple[Path, Path], match: str, kind: type[Exception] = StoreError) -> None:
    one, two = pair
    other_before = _files(two) if (two / FILE).exists() else None
    with Repository.open(one) as store:
        before = (everything(store.engine), _files(one))
        with pytest.raises(kind, match=match) as caught:
            store.merge(two)
        assert "\n" not in str(caught.value)
        assert "Next: " in str(caught.value)
        after = (everything(store.engine), _files(one))
        assert {k: v for k, v in after[1].items() if not k.startswith("media/")} == {
            k: v for k, v in before[1].items() if not k.startswith("media/")
        }
        assert after[0] == before[0]
        assert store.verify().agrees
    if other_before is not None:
        assert _files(two) == other_before


def test_no_record_there(pair: tuple[Path, Path]) -> None:
    shutil.rmtree(pair[1])
    _refused(pair, "there is no record here")
    assert not pair[1].exists()


def test_the_record_itself(pair: tuple[Path, Path]) -> None:
    one, _ = pair
    with Repository.open(one) as store, pytest.raises(UsageError, match="is this record itself"):
        store.merge(one)
    link = one.with_name("link")
    link.symlink_to(one)
    with Repository.open(one) as store, pytest.raises(UsageError, match="is this record itself"):
        store.merge(link)


def _unguarded(folder: Path, statement: str) -> None:
    with closing(sqlite3.connect(folder / FILE)) as connection, connection:
        for name in guards():
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute(statement)
        for again in guards().values():
            connection.execute(again)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE finding SET value_num = 9 WHERE value_num IS NOT NULL",
        "DELETE FROM remark",
        "DELETE FROM local_head",
        "UPDATE record SET turn = turn + 1 WHERE n = 5",
    ],
)
def test_a_record_that_does_not_agree_with_itself(pair: tuple[Path, Path], statement: str) -> None:
    _unguarded(pair[1], statement)
    _refused(pair, r"does not agree with itself, so nothing of it was taken .* --store ")


def test_a_clip_that_is_missing_there(pair: tuple[Path, Path]) -> None:
    shutil.rmtree(pair[1] / "media")
    _refused(pair, "does not agree with itself")


def test_a_database_set_aside_there(pair: tuple[Path, Path]) -> None:
    (pair[1] / f"{FILE}.corrupt-20260504T083001Z").touch()
    _refused(pair, "set aside as damaged")


@pytest.mark.parametrize("how", ["cut", "scribbled", "nonsense"])
def test_a_damaged_file(pair: tuple[Path, Path], how: str) -> None:
    path = pair[1] / FILE
    data = bytearray(path.read_bytes())
    if how == "cut":
        data = data[: len(data) // 2]
    elif how == "scribbled":
        data[4096 : 4096 * 20] = b"\x55" * (4096 * 19)
    else:
        data = bytearray(b"this was never a database, and it is long enough to be one" * 100)
    path.write_bytes(bytes(data))
    one, two = pair
    with Repository.open(one) as store:
        before = everything(store.engine)
        with pytest.raises(StoreError, match=r"damaged|cut short|not a database") as caught:
            store.merge(two)
        assert str(path) in str(caught.value)
        assert everything(store.engine) == before
    assert path.read_bytes() == bytes(data)
    assert not list(two.glob(f"{FILE}.corrupt-*"))


def test_a_record_of_a_newer_version(pair: tuple[Path, Path]) -> None:
    with closing(sqlite3.connect(pair[1] / FILE)) as connection, connection:
        connection.execute(
            "INSERT INTO _sqlite_migrations (migration_set, name, applied_at) "
            "VALUES ('fieldlog', '9001_later', '2030-01-01')"
        )
    _refused(pair, r"two.fieldlog\.db: was written by a newer fieldlog")


def test_a_database_of_another_program(pair: tuple[Path, Path]) -> None:
    (pair[1] / FILE).unlink()
    with closing(sqlite3.connect(pair[1] / FILE)) as connection, connection:
        connection.execute("CREATE TABLE recipes (a)")
    _refused(pair, "some other program")


def test_a_record_that_another_program_holds(
    pair: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database, "BUSY_S", 0.05)
    with closing(sqlite3.connect(pair[1] / FILE, isolation_level=None)) as other:
        other.execute("PRAGMA locking_mode=EXCLUSIVE")
        other.execute("BEGIN EXCLUSIVE")
        with Repository.open(pair[0]) as store:
            before = everything(store.engine)
            with pytest.raises(StoreError, match="another program has held the database"):
                store.merge(pair[1])
            assert everything(store.engine) == before


def test_a_record_that_another_program_is_writing_is_taken_as_last_saved(
    pair: tuple[Path, Path],
) -> None:
    with Repository.open(pair[1], now=ticking(LATER)) as open_there:
        _say(open_there, "said meanwhile", 1000.0)
        open_there.engine.connection.execute("BEGIN IMMEDIATE")
        with Repository.open(pair[0], now=ticking(LATER)) as store:
            assert store.merge(pair[1]).rows == 4
            assert store.verify().agrees
        open_there.engine.connection.execute("ROLLBACK")


def test_a_folder_that_cannot_be_written_is_read_all_the_same(
    pair: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A stick that is read-only: SQLite then refuses to open a database in its usual way."""
    asked: list[sqlite3.Connection] = []

    def refusing(source: sqlite3.Connection, target: Path) -> None:
        asked.append(source)
        if len(asked) == 1:
            error = sqlite3.OperationalError("unable to open database file")
            error.sqlite_errorcode = sqlite3.SQLITE_CANTOPEN
            raise error
        back_up(source, target)

    monkeypatch.setattr("fieldlog.store.merging.back_up", refusing)
    with Repository.open(pair[0]) as store:
        assert store.merge(pair[1]).rows == 2
    assert len(asked) == 2


def test_an_error_at_any_write_leaves_nothing_half_merged(pair: tuple[Path, Path]) -> None:
    with Repository.open(pair[0], now=ticking(LATER)) as store:
        before = everything(store.engine)
        connection = store.engine.connection
        for at in range(200):
            failing = BrokenConnection(connection, at)
            store.engine.connection = failing
            try:
                store.merge(pair[1])
            except StoreError:
                pass
            finally:
                store.engine.connection = connection
            if not failing.failed:
                break
            assert everything(store.engine) == before
            assert store.verify().agrees
        assert at > 5
        assert everything(store.engine) != before
        assert store.verify().agrees


def test_a_full_disk_is_one_clear_line(pair: tuple[Path, Path]) -> None:
    with Repository.open(pair[1], now=ticking(LATER)) as there:
        for _ in range(50):
            there.add_remark(there.inspection("last").id, "x" * 2000)
    with Repository.open(pair[0]) as store:
        before = everything(store.engine)
        ask = store.engine.connection.execute
        pages = ask("PRAGMA page_count").fetchone()[0]
        ask(f"PRAGMA max_page_count={pages}")
        with pytest.raises(StoreError, match=r"the disk is full.*free some space"):
            store.merge(pair[1])
        ask("PRAGMA max_page_count=100000")
        assert everything(store.engine) == before
        assert store.merge(pair[1]).rows == 52


def test_an_original_that_cannot_be_kept_leaves_every_row_out(
    pair: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(self: MediaFolder, source: Path, suffix: str | None = None) -> str:
        raise StoreError("the original cannot be kept (no space left on device)", todo="free some")

    monkeypatch.setattr(MediaFolder, "save_file", full)
    _refused(pair, "no space left on device")


def test_what_is_told_meanwhile(pair: tuple[Path, Path]) -> None:
    told: list[tuple[merging.Stage, int]] = []
    with Repository.open(pair[0]) as store:
        merged = store.merge(pair[1], lambda step, done: told.append((step, done)))
    assert [step for step, _ in told if step is merging.Stage.CHECK] == [merging.Stage.CHECK]
    assert max(done for step, done in told if step is merging.Stage.ROWS) == merged.rows_there - 1
    assert any(step is merging.Stage.ORIGINALS for step, _ in told)
