"""Many bays, one shop: bundles handed over by folder and object store, whatever is cut off."""

from __future__ import annotations

import contextlib
import os
import random
import shutil
import signal
import sqlite3
import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from fieldlog.bundle.handover import FOLDER, FolderPlace, HandoverPlace, fetch
from fieldlog.bundle.object_place import ObjectPlace, object_place
from fieldlog.bundle.parts import ALONE, LARGEST, NAME, BundlePart, cuts, list_bytes, read_list
from fieldlog.cli import main
from fieldlog.errors import OwnTroubleError, StoreError
from fieldlog.store.records import NewEntry
from fieldlog.store.repository import Repository
from fieldlog.store.trouble import is_own
from tests.handing_over import (
    add_inspection,
    bay,
    fetches,
    list_in,
    print_of_bay,
    put_forged,
    sends,
    sent,
)
from tests.store_plain import everything
from tests.store_samples import START, TREAD, ticking

__all__ = ["bay", "print_of_bay", "sent"]


# -- parts ----------------------------------------------------------------------------------------


def test_a_large_original_is_a_part_of_its_own_and_everything_is_in_some_part(sent: Path) -> None:
    place = FolderPlace(sent)
    for name in place.lists():
        parts = read_list(name, list_in(place, name))
        assert all(place.get(part) is not None for part in parts.parts)
    sizes = [
        part.size for name in place.lists() for part in read_list(name, list_in(place, name)).parts
    ]
    assert 2 * ALONE in sizes
    from fieldlog.bundle.archive import Member

    huge = Member("x", 100, 2 * LARGEST + 5, 0)
    assert list(cuts(huge.at + huge.size + 7, [huge, Member("y", 10, 20, 0)])) == [
        (0, 100), (100, LARGEST), (100 + LARGEST, LARGEST), (100 + 2 * LARGEST, 5), (105 + 2 * LARGEST, 7),
    ]  # fmt: skip


@pytest.mark.parametrize(
    "change",
    [
        lambda data: data[:-1],
        lambda data: data.replace(b"parts 1", b"parts 2"),
        lambda data: data.replace(b"[[", b'[["../../../etc/passwd",5],[', 1),
        lambda data: data.replace(b",", b", ", 1),
        lambda data: b"[" * 100_000,
        lambda data: b"{}",
        lambda data: b"\xff",
        lambda data: data.replace(b"]]", b'],["' + b"0" * 64 + b'",99999999999]]'),
        lambda data: data.replace(b"]]", b'],["' + b"0" * 64 + b'",0]]'),
        lambda data: data.replace(b"]]", b'],["' + b"0" * 64 + b'",true]]'),
    ],
)
def test_a_list_that_is_not_written_as_one_is_refused(
    sent: Path, change: Callable[[bytes], bytes]
) -> None:
    name = sorted(FolderPlace(sent).lists())[0]
    data = list_in(FolderPlace(sent), name)
    assert list_bytes(read_list(name, data)) == data
    with pytest.raises(ValueError):
        read_list(name, change(data))
    with pytest.raises(ValueError):
        read_list(name[:-1] + ("0" if name[-1] != "0" else "1"), data)


# -- a folder -------------------------------------------------------------------------------------


def test_the_shop_has_what_the_bay_has_and_again_changes_nothing(
    bay: Path, sent: Path, print_of_bay: str, tmp_path: Path
) -> None:
    found, print_of = fetches(tmp_path / "shop", FolderPlace(sent))
    assert (found.bundles, found.aside, found.waiting) == (3, (), ())
    assert found.originals == 3
    assert print_of == print_of_bay
    again, print_of = fetches(tmp_path / "shop", FolderPlace(sent))
    assert (again.bundles, again.known, print_of) == (0, 3, print_of_bay)
    copied = tmp_path / "sent"
    shutil.copytree(sent, copied)
    done = sends(bay, FolderPlace(copied))
    assert (done.bundles, done.bytes, done.known) == (0, 0, 3)
    shutil.rmtree(tmp_path / "shop" / FOLDER)  # what was taken is forgotten, and taken once more
    forgotten, print_of = fetches(tmp_path / "shop", FolderPlace(sent))
    assert (forgotten.bundles, forgotten.rows, print_of) == (3, 0, print_of_bay)
    with Repository.look(bay) as one, Repository.look(tmp_path / "shop") as other:
        assert everything(one) == everything(other)
        assert other.verify().faults == ()


def test_what_changed_is_handed_over_and_its_photos_are_not_again(
    bay: Path, sent: Path, tmp_path: Path
) -> None:
    """A stick that comes back: only the rows go over, whatever they speak of."""
    copied, folder = tmp_path / "bay", FolderPlace(tmp_path / "sent")
    shutil.copytree(bay, copied)
    shutil.copytree(sent, folder.folder)
    with Repository(copied, now=ticking(START + timedelta(days=1))) as store:
        store.add_remark(store.inspection("2").id, "one more")
        print_of_bay = store.fingerprint()
    done = sends(copied, folder)
    assert (done.bundles, done.known) == (1, 2)
    assert done.bytes < ALONE
    assert fetches(tmp_path / "shop", folder)[1] == print_of_bay


class _CutOff(Exception):
    pass


@dataclass
class _Cut:
    """A place whose line is cut at one of its calls."""

    place: HandoverPlace
    left: int
    named: str = "cut"

    def __getattr__(self, name: str) -> Any:
        self.left -= 1
        if self.left < 0:
            raise _CutOff
        return getattr(self.place, name)


def test_cut_off_anywhere_it_goes_on_where_it_was(
    bay: Path, print_of_bay: str, tmp_path: Path
) -> None:
    folder = FolderPlace(tmp_path / "sent")
    folder.folder.mkdir()
    sending = fetching = 0
    allowed = 1
    while True:  # each time it gets a little farther
        try:
            sends(bay, _Cut(folder, allowed))
            break
        except _CutOff:
            sending, allowed = sending + 1, allowed + 3
    allowed = 1
    while True:
        try:
            found, print_of = fetches(tmp_path / "shop", _Cut(folder, allowed))
            break
        except _CutOff:
            fetching, allowed = fetching + 1, allowed + 2
    assert sending > 2
    assert fetching > 1
    assert (print_of, found.aside, found.waiting) == (print_of_bay, (), ())


def test_a_bay_and_a_shop_killed_at_random_come_to_the_same_record(
    bay: Path, print_of_bay: str, tmp_path: Path
) -> None:
    """Two bays that share a vehicle, killed while they send; the shop, while it fetches."""
    rng = random.Random(4)
    other = tmp_path / "other"
    shutil.copytree(bay, other)
    with Repository(other, now=ticking(START + timedelta(days=2))) as store:
        add_inspection(store, store.vehicle("1").id, "in the other bay")
    folder = FolderPlace(tmp_path / "sent")
    folder.folder.mkdir()
    works: list[Callable[[], object]] = [
        lambda: sends(bay, folder),
        lambda: sends(other, folder),
        lambda: fetches(tmp_path / "shop", folder),
    ]
    killed = sum(killed_after(rng.uniform(0.01, 0.25), rng.choice(works)) for _ in range(6))
    assert killed >= 2
    for work in works:
        work()
    found, print_of = fetches(tmp_path / "shop", folder)
    assert (found.aside, found.waiting) == ((), ())
    with Repository(tmp_path / "expected") as expected:
        expected.merge(bay)
        expected.merge(other)
        assert print_of == expected.fingerprint()
    with Repository.look(tmp_path / "shop") as store:
        assert store.verify().faults == ()


def killed_after(seconds: float, work: Callable[[], object]) -> bool:
    """Do ``work`` in a process of its own and kill it; whether it was not done by then."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # other threads do not matter to one that is killed anyway
        child = os.fork()
    if child == 0:
        with contextlib.suppress(BaseException):
            work()
        os._exit(0)
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if os.waitpid(child, os.WNOHANG)[0]:
            return False
        time.sleep(0.005)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return True


def test_a_clock_that_is_wrong_and_the_same_bay_twice(bay: Path, tmp_path: Path) -> None:
    """A copy of the bay's folder whose clock stands a year back, and one a year ahead; all at one place."""
    folder = FolderPlace(tmp_path / "sent")
    folder.folder.mkdir()
    for days in (-365, 365):
        copied = tmp_path / f"bay {days}"
        shutil.copytree(bay, copied)
        with Repository(copied, now=ticking(START + timedelta(days=days))) as store:
            of = store.inspection("1").id
            finding = store.inspection_record(of).findings[1]
            store.save(of, NewEntry(finding=TREAD, corrects=finding.id, reason=f"{days}"))
            add_inspection(store, store.vehicle("1").id, f"{days}")
        sends(copied, folder)
    sends(bay, folder)
    prints = set()
    for order in ("one", "two"):
        names = sorted(folder.lists(), reverse=order == "two")
        with Repository(tmp_path / order) as store:
            for name in names:
                fetch(store, folder, START, only=name)
            assert store.verify().faults == ()
            record = store.inspection_record(of)
            standing = tuple(each.id for each in record.findings if each.stands and each.rivals)
            assert len(standing) == 1  # the newer correction rules, the other one is told
            prints.add((store.fingerprint(), standing))
    assert len(prints) == 1


# -- what is damaged, or hostile ------------------------------------------------------------------


def test_what_is_damaged_or_hostile_is_set_aside_by_name_and_the_others_are_taken(
    sent: Path, print_of_bay: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = FolderPlace(tmp_path / "sent")
    shutil.copytree(sent, folder.folder)
    hostile = put_forged(folder, tmp_path)
    bad = "inspection-" + "0" * 20 + "-" + "0" * 16 + "-" + "0" * 64
    (folder.folder / "lists" / bad).write_bytes(b"{}")
    (folder.folder / "lists" / "..\x1b[2J").write_bytes(b"{}")
    os.mkfifo(folder.folder / "lists" / (bad[:-1] + "1"))
    monkeypatch.setenv("FIELDLOG_HOME", str(tmp_path / "shop"))
    done = CliRunner().invoke(main, ["bundle", "fetch", str(folder.folder)])
    assert done.exit_code == 9, done.output
    assert "3 bundles taken" in done.output
    assert f"{bad[:-1]}1: not whole there" in done.output
    assert f"{hostile}: set aside (" in done.output
    assert f"{bad}: set aside (its list cannot be read)" in done.output
    assert print_of_bay in done.output
    aside = tmp_path / "shop" / FOLDER / "set-aside"
    assert {each.name for each in aside.iterdir()} == {
        f"{hostile}.zip",
        f"{hostile}.txt",
        f"{bad}.txt",
    }
    again = CliRunner().invoke(main, ["bundle", "fetch", str(folder.folder)])
    assert again.exit_code == 9
    assert f"{hostile}: set aside (" in again.output
    assert "0 bundles taken" in again.output


def test_a_part_that_is_damaged_on_its_way_is_waited_for_and_sent_again(
    bay: Path, sent: Path, print_of_bay: str, tmp_path: Path
) -> None:
    folder = FolderPlace(tmp_path / "sent")
    shutil.copytree(sent, folder.folder)
    parts = sorted((folder.folder / "parts").rglob("*"), key=lambda path: path.stat().st_size)
    damaged, gone = [path for path in parts if path.is_file()][-2:]
    damaged.write_bytes(damaged.read_bytes()[:-1] + b"\0")
    gone.unlink()
    found, print_of = fetches(tmp_path / "shop", folder)
    assert found.waiting
    assert found.aside == ()
    assert print_of != print_of_bay
    sends(bay, folder, again=True)
    found, print_of = fetches(tmp_path / "shop", folder)
    assert print_of == print_of_bay


def test_a_full_disk_of_the_shop_sets_nothing_aside(
    sent: Path, print_of_bay: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from fieldlog.store import writer

    real, left = writer.take, 3

    def full(*arguments: Any) -> Any:
        nonlocal left
        left -= 1
        if left < 0:
            error = sqlite3.OperationalError("database or disk is full")
            error.sqlite_errorcode = sqlite3.SQLITE_FULL
            raise error
        return real(*arguments)

    for allowed in (0, 1, 3):  # while it is tried out, and while it is taken
        left = allowed
        monkeypatch.setattr(writer, "take", full)
        with pytest.raises(OwnTroubleError, match="the disk is full"):
            fetches(tmp_path / "shop", FolderPlace(sent))
        assert not (tmp_path / "shop" / FOLDER / "set-aside").exists()
        shutil.rmtree(tmp_path / "shop")
    monkeypatch.setattr(writer, "take", real)
    assert fetches(tmp_path / "shop", FolderPlace(sent))[1] == print_of_bay


@pytest.mark.parametrize(
    ("cause", "own"),
    [
        (OSError(28, "No space left on device"), True),
        (sqlite3.IntegrityError("UNIQUE constraint failed"), False),
        ("DiskFull", True),
        ("AdminShutdown", True),
        ("LockNotAvailable", True),
        ("OperationalError", True),
        ("ProgramLimitExceeded", False),  # a name too long for an index
        ("ForeignKeyViolation", False),
        ("DataError", False),  # a NUL in a text
        (None, False),
    ],
)
def test_whose_trouble_it_is(cause: Exception | str | None, own: bool) -> None:
    if isinstance(cause, str):
        errors = pytest.importorskip("psycopg.errors", reason="psycopg is not installed")
        kind = getattr(errors, cause, None) or getattr(pytest.importorskip("psycopg"), cause)
        cause = kind()
    error = StoreError("x")
    error.__cause__ = cause  # type: ignore[assignment]
    assert is_own(error) == own


# -- an object store ------------------------------------------------------------------------------


def test_an_object_store_is_a_place(bay: Path, print_of_bay: str, tmp_path: Path) -> None:
    stores = pytest.importorskip(
        "obstore.store", reason="obstore is not installed (extra object-store)"
    )
    place = ObjectPlace(stores.MemoryStore(), "s3://shop/bays")
    assert sends(bay, place).bundles == 3
    assert sends(bay, place).known == 3
    found, print_of = fetches(tmp_path / "shop", place)
    assert (found.bundles, found.aside, print_of) == (3, (), print_of_bay)
    assert place.get(BundlePart("0" * 64, 5)) is None
    assert not place.has(BundlePart("0" * 64, 5))
    assert place.get_list("none") is None
    with pytest.raises(StoreError, match="is no address of an object store"):
        object_place("nothing://x")
    away = ObjectPlace(
        stores.S3Store(
            "shop", endpoint="http://127.0.0.1:9", access_key_id="a", secret_access_key="b",
            region="x", client_options={"allow_http": True}, retry_config={"max_retries": 0},
        ),
        "s3://shop/bays",
    )  # fmt: skip
    with pytest.raises(OwnTroubleError, match="the object store does not do it") as raised:
        away.lists()
    assert "\n" not in str(raised.value)


def test_nothing_is_handed_over_to_a_stick_that_is_not_there(bay: Path, tmp_path: Path) -> None:
    gone = tmp_path / "stick"
    sent = CliRunner().invoke(main, ["bundle", "send", str(gone / "bays"), "--store", str(bay)])
    assert sent.exit_code == 8
    assert "the folder above it is not there" in sent.output
    assert not gone.exists()


def test_one_that_cannot_be_bundled_stops_no_other(bay: Path, tmp_path: Path) -> None:
    copied = tmp_path / "bay"
    shutil.copytree(bay, copied)
    next(
        path for path in (copied / "media").rglob("*.jpg") if path.stat().st_size >= ALONE
    ).unlink()
    done = sends(copied, FolderPlace(tmp_path / "sent", new=True))
    assert done.bundles == 2
    assert len(done.refused) == 1
    assert "an original cannot be read" in done.refused[0]


def test_names_say_what_a_bundle_is_of(sent: Path) -> None:
    kinds = sorted(name.partition("-")[0] for name in FolderPlace(sent).lists())
    assert kinds == ["inspection", "inspection", "vehicle"]
    assert all(NAME.fullmatch(name) for name in FolderPlace(sent).lists())


def test_the_commands_send_and_fetch(bay: Path, print_of_bay: str, tmp_path: Path) -> None:
    def run(*arguments: str, code: int = 0) -> str:
        done = CliRunner().invoke(main, ["bundle", *arguments])
        assert done.exit_code == code, done.output
        return done.output

    stick, shop = str(tmp_path / "stick"), str(tmp_path / "shop")
    assert "there is no such folder" in run("fetch", stick, "--store", shop, code=8)
    assert not Path(shop).exists()
    assert "3 bundles handed over" in run("send", stick, "--store", str(bay))
    assert print_of_bay in run("fetch", stick, "--store", shop)
    assert "0 bundles handed over (0.0 MB), 3 were there" in run("send", stick, "--store", str(bay))
