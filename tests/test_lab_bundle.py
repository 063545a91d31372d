"""Bundles: made, checked with no trust, merged in any order, checked in a browser."""

from __future__ import annotations

import hashlib
import json
import os
import random
import shutil
import struct
import subprocess
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import jsonschema
import pytest

from fieldlog.bundle.archive import BAG, Archive
from fieldlog.bundle.archive import write as write_archive
from fieldlog.bundle.checking import check_bundle, merge
from fieldlog.bundle.lines import schema
from fieldlog.bundle.make import tags
from fieldlog.bundle.page import page
from fieldlog.errors import StoreError
from fieldlog.lab.proofs.orders import states_after, told
from fieldlog.lab.proofs.shops import START, fill, grown_apart, ticking
from fieldlog.shop.proving import prove
from fieldlog.shop.witness import keyring
from fieldlog.shop.workshop import Workshop
from fieldlog.store.repository import Repository
from tests import old_stores
from tests.browser import browser

if TYPE_CHECKING:
    from playwright.sync_api import Browser

__all__ = ["browser"]


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record of two vehicles; a bundle of one inspection and one of the vehicle, signed."""
    folder = tmp_path_factory.mktemp("bundles")
    with Workshop.open(folder / "shop", now=ticking()) as opened:
        first = fill(opened.store, "blue roadster")
        fill(opened.store, "red single", 7)
        opened.store.add_remark(first, "after the other one")
        ring = keyring(opened.store)
        ring.make("A. Smith", "2468")
        signer = ring.open("A. Smith", "2468")
        opened.bundle("1", out=folder, signer=signer).rename(folder / "inspection.zip")
        opened.bundle(vehicle="blue roadster", out=folder).rename(folder / "vehicle.zip")
    return folder


def _members(path: Path) -> dict[str, bytes]:
    with Archive(path) as archive:
        return {name: archive.read(name, 1 << 30) for name in archive.members}


def _written(members: dict[str, bytes], target: Path, *, tagged: bool = True) -> Path:
    """A bundle of ``members``, with its manifests made anew as somebody would who changed it."""
    if tagged:
        payload = {name: data for name, data in members.items() if name.startswith("data/")}
        members = {**payload, **tags(payload, "2026-05-04")}  # type: ignore[dict-item]
    with target.open("wb") as stream:
        write_archive(stream, members)
    return target


# -- made -----------------------------------------------------------------------------------------


def test_a_bundle_has_no_fault_and_any_archive_program_opens_it(shop: Path) -> None:
    content = check_bundle(shop / "inspection.zip", START)
    assert content.faults == ()
    assert content.checkpoint is not None
    assert content.checkpoint.one("by") == "A. Smith"
    with zipfile.ZipFile(shop / "inspection.zip") as archive:
        assert archive.testzip() is None
        names = archive.namelist()
        assert names == sorted(names)
        for line in archive.read(f"{BAG}manifest-sha256.txt").decode().splitlines():
            sha, name = line.split("  ")
            assert hashlib.sha256(archive.read(BAG + name)).hexdigest() == sha


def test_the_same_record_makes_the_same_bytes(shop: Path, tmp_path: Path) -> None:
    made = []
    for number in range(2):
        with Workshop(Repository.look(shop / "shop"), now=lambda: START) as opened:
            made.append(opened.bundle("1", out=tmp_path / str(number)).read_bytes())
    assert made[0] == made[1]


def test_every_line_fits_the_schema_that_is_in_it(shop: Path) -> None:
    members = _members(shop / "vehicle.zip")
    assert members["data/schema.json"] == schema()
    validator = jsonschema.Draft202012Validator(json.loads(schema()))
    validator.check_schema(json.loads(schema()))
    lines = members["data/rows.jsonl"].decode().splitlines()
    kinds = set()
    for line in lines:
        validator.validate(json.loads(line))
        kinds.add(json.loads(line)["kind"])
    assert {"vehicle", "inspection", "utterance", "finding", "verdict", "photo"} <= kinds
    row = json.loads(lines[0])
    row["row"]["more"] = 1
    assert not validator.is_valid(row)


@pytest.mark.skipif(shutil.which("ssh-keygen") is None, reason="OpenSSH's ssh-keygen is not here")
def test_openssh_checks_a_bundle_s_signature(shop: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(shop / "inspection.zip") as archive:
        archive.extractall(tmp_path)
    data = tmp_path / BAG / "data"
    name = (data / "allowed_signers").read_text().split(" ")[0]
    command = ["ssh-keygen", "-Y", "verify", "-f", str(data / "allowed_signers"), "-I", name]
    command += ["-n", "fieldlog", "-s", str(data / "signed.txt.sig")]
    text = (data / "signed.txt").read_bytes()
    assert subprocess.run(command, input=text, check=False).returncode == 0


def test_a_bundle_is_a_witness_of_its_record(shop: Path) -> None:
    found = prove(shop / "shop", None, [str(shop / "vehicle.zip")], START)
    assert found.faults == ()
    assert any(
        "unchanged since checkpoint" in line and "vehicle.zip" in line for line in found.proven
    )


# -- merged ---------------------------------------------------------------------------------------


def test_merged_it_reads_as_it_was(shop: Path, tmp_path: Path) -> None:
    with Repository.open(tmp_path / "other", now=ticking()) as other:
        first = merge(other, shop / "inspection.zip", START)
        assert first.rows == first.rows_there
        again = merge(other, shop / "inspection.zip", START)
        assert (again.rows, again.originals) == (0, 0)
        with Repository.look(shop / "shop") as ours:
            mine = ours.inspection_record("1")
            theirs = other.inspection_record(mine.inspection.id)
        assert theirs.fingerprint == mine.fingerprint
        assert [each.finding for each in theirs.findings] == [
            each.finding for each in mine.findings
        ]
        assert theirs.uncovered == mine.uncovered
        assert other.verify().faults == ()
        assert other.verify().elsewhere > 0
        other.add_remark(mine.inspection.id, "goes on")
        assert other.verify().faults == ()


def test_random_orders_come_to_one_record(tmp_path: Path) -> None:
    """A cut of `python -m fieldlog.lab merges --orders 100`."""
    chance = random.Random(3)
    contents = [check_bundle(path, START) for path in grown_apart(tmp_path, chance)]
    assert [each.faults for each in contents] == [()] * len(contents)
    assert len(states_after(contents, 6, chance)) == 1


def test_what_is_said_of_rows_elsewhere_never_makes_one_s_own_missing(
    shop: Path, tmp_path: Path
) -> None:
    """The part of a record comes back to the record itself."""
    shutil.copytree(shop / "shop", tmp_path / "shop")
    with Repository.open(tmp_path / "shop", now=ticking()) as ours:
        before = told(ours.engine)
        assert merge(ours, shop / "inspection.zip", START).rows == 0
        assert told(ours.engine).replace(repr(ours.engine.elsewhere()), "()") == before
        assert ours.verify().faults == ()


def test_rows_of_earlier_versions_go_in_and_out(tmp_path: Path) -> None:
    folder = old_stores.unpacked("shop", tmp_path)
    with Workshop.open(folder, now=ticking()) as opened:
        path = opened.bundle("last", out=tmp_path)
        record = opened.store.inspection_record("last")
    assert check_bundle(path, START).faults == ()
    with Repository.open(tmp_path / "other", now=ticking()) as other:
        merge(other, path, START)
        assert other.verify().faults == ()
        assert other.inspection_record(record.inspection.id).fingerprint == record.fingerprint


# -- with no trust --------------------------------------------------------------------------------


def _line(members: dict[str, bytes], name: str, change: Callable[[list[bytes]], object]) -> None:
    lines = members[f"data/{name}"].splitlines(keepends=True)
    change(lines)
    members[f"data/{name}"] = b"".join(lines)


def _edit(members: dict[str, bytes]) -> None:
    members["data/rows.jsonl"] = members["data/rows.jsonl"].replace(b'"cracked"', b'"sound"')


def _rehash(members: dict[str, bytes]) -> None:
    """A row changed with its hash put right where it stands."""
    rows = members["data/rows.jsonl"].splitlines()
    places = members["data/places.jsonl"].splitlines()
    for number, line in enumerate(rows):
        if b'"cracked"' in line and b'"kind":"finding"' in line:
            rows[number] = line.replace(b'"cracked"', b'"sound"')
            place = json.loads(places[number])
            place["hash"] = hashlib.sha256(rows[number]).hexdigest()
            places[number] = json.dumps(place, sort_keys=True, separators=(",", ":")).encode()
    members["data/rows.jsonl"] = b"".join(line + b"\n" for line in rows)
    members["data/places.jsonl"] = b"".join(line + b"\n" for line in places)


def _drop(members: dict[str, bytes]) -> None:
    """The last row, a remark, left out with its place: nothing inside points at it."""
    _line(members, "rows.jsonl", lambda lines: lines.pop())
    _line(members, "places.jsonl", lambda lines: lines.pop())
    about = json.loads(members["data/about.json"])
    about["rows"] -= 1
    members["data/about.json"] = json.dumps(about).encode()


def _photo(members: dict[str, bytes]) -> None:
    name = next(name for name in members if name.endswith(".jpg"))
    members[name] = members[name][:-3] + b"\x00\xff\xd9"


def _signature(members: dict[str, bytes]) -> None:
    text = members["data/checkpoint.txt"]
    members["data/checkpoint.txt"] = text.replace(b"by A. Smith", b"by B. Jones")


CHANGES: dict[str, tuple[Callable[[dict[str, bytes]], object], str]] = {
    "edit": (_edit, "changed after it was written"),
    "rehash": (_rehash, "are not those of the record that the checkpoint is of"),
    "drop": (_drop, "some are missing, put in or others"),
    "swap": (lambda m: _line(m, "rows.jsonl", lambda r: r.insert(1, r.pop(2))), "changed after"),
    "photo": (_photo, "changed since it was kept"),
    "no photo": (lambda m: m.pop(next(n for n in m if n.endswith(".jpg"))), "is missing"),
    "more": (lambda m: m.update({f"data/media/{'0' * 64}.jpg": b"x"}), "no row names it"),
    "signature": (_signature, "signature does not fit"),
    "turn": (
        lambda m: m.update(
            {"data/places.jsonl": m["data/places.jsonl"].replace(b'"turn":1', b'"turn":2')}
        ),
        "not in the order in which it was written",
    ),
    "unsigned": (
        lambda m: m.update({"data/checkpoint.txt": m["data/signed.txt"] + b"\n"}),
        "there is a signature, and the checkpoint has none",
    ),
}


@pytest.mark.parametrize("name", CHANGES)
def test_what_somebody_changed_is_named_and_not_taken(
    shop: Path, tmp_path: Path, name: str
) -> None:
    members = _members(shop / "inspection.zip")
    change, why = CHANGES[name]
    change(members)
    path = _written(members, tmp_path / "changed.zip")
    assert why in " ".join(check_bundle(path, START).faults)
    with Repository.open(tmp_path / "other") as other:
        with pytest.raises(StoreError, match="nothing of it was taken"):
            merge(other, path, START)
        assert other.vehicles() == ()


def test_without_new_manifests_a_change_shows_at_once(shop: Path, tmp_path: Path) -> None:
    members = _members(shop / "inspection.zip")
    _edit(members)
    path = _written(members, tmp_path / "changed.zip", tagged=False)
    assert "data/rows.jsonl: is not what the manifest says" in check_bundle(path, START).faults


def _patched(old: bytes, new: bytes, *, count: int = 1) -> Callable[[bytes], bytes]:
    return lambda data: data.replace(old, new, count)


def _flag(data: bytes) -> bytes:
    """The first member said to be encrypted, in both its headers."""
    at = data.index(b"PK\x01\x02")
    data = data[:6] + struct.pack("<H", 1) + data[8:]
    return data[: at + 8] + struct.pack("<H", 1) + data[at + 10 :]


def _zipped(**changes: object) -> bytes:
    """An archive that the library makes, with a member that is not as ours are."""
    import io

    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED if changes.get("packed") else 0) as archive:
        for name in changes["names"]:  # type: ignore[attr-defined]
            info = zipfile.ZipInfo(str(name), (1980, 1, 1, 0, 0, 0))
            info.create_system = 3
            info.external_attr = int(changes.get("mode", 0o100644)) << 16  # type: ignore[call-overload]
            info.compress_type = zipfile.ZIP_DEFLATED if changes.get("packed") else 0
            archive.writestr(info, b"\x00" * int(changes.get("size", 10)))  # type: ignore[call-overload]
    return out.getvalue()


_OK = f"{BAG}bagit.txt"
HOSTILE: dict[str, tuple[Callable[[bytes], bytes], str]] = {
    "empty": (lambda _: b"", "too short"),
    "noise": (lambda _: b"PK\x03\x04" + os.urandom(500), "does not end"),
    "cut": (lambda data: data[:-40], "does not end"),
    "behind": (lambda data: data + b"\x00", "does not end"),
    "before": (lambda data: b"MZ" + data, "is not where it says"),
    "bomb": (lambda _: _zipped(names=[_OK], packed=True, size=50 << 20), "is compressed"),
    "parent": (lambda _: _zipped(names=[f"{BAG}../../x"]), "no bundle has a member"),
    "absolute": (lambda _: _zipped(names=["/etc/passwd"]), "no bundle has a member"),
    "drive": (lambda _: _zipped(names=["C:\\x"]), "no bundle has a member"),
    "link": (lambda _: _zipped(names=[_OK], mode=0o120777), "is no plain file"),
    "folder": (lambda _: _zipped(names=[BAG], mode=0o40755), "no bundle has a member"),
    "other name inside": (_patched(b"bagit.txt", b"bogit.txt"), "two headers differ"),
    "other size inside": (
        lambda data: data[:18] + struct.pack("<II", 5, 5) + data[26:],
        "two headers differ",
    ),
    "encrypted": (_flag, "encrypted"),
    "zip64": (
        lambda data: data[:-12] + b"\xff" * 8 + data[-4:],
        "is not where it says",
    ),
    "sum": (_patched(b"BagIt-Version: 1.0", b"BagIt-Version: 9.9"), "does not fit its sum"),
    "comment": (lambda data: data[:-2] + b"\x01\x00x", "does not end"),
}


@pytest.mark.filterwarnings("ignore:Duplicate name")
@pytest.mark.parametrize("name", [*HOSTILE, "twice"])
def test_an_archive_that_is_none_of_ours_is_refused(shop: Path, tmp_path: Path, name: str) -> None:
    change, why = HOSTILE.get(name, (lambda _: _zipped(names=[_OK, _OK]), "twice"))
    path = tmp_path / "hostile.zip"
    path.write_bytes(change((shop / "inspection.zip").read_bytes()))
    with pytest.raises(StoreError, match=why):
        check_bundle(path, START)


def test_what_is_no_file_is_refused_at_once(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.zip")
    for path in (tmp_path / "pipe.zip", tmp_path, tmp_path / "nowhere.zip"):
        with pytest.raises(StoreError):
            check_bundle(path, START)


@pytest.mark.parametrize(
    "line",
    [
        b"[" * 100_000,
        b'{"id":1}',
        b"null",
        b"\xff\xfe",
        b'{"a":' * 50_000,
        b'{"n":' + b"9" * 10_000 + b"}",
    ],
)
def test_lines_that_are_none_are_named(shop: Path, tmp_path: Path, line: bytes) -> None:
    for name in ("rows.jsonl", "places.jsonl", "elsewhere.jsonl", "limits.jsonl"):
        members = _members(shop / "inspection.zip")
        _line(members, name, lambda lines: lines.insert(0, line + b"\n"))
        assert check_bundle(_written(members, tmp_path / "lines.zip"), START).faults


def test_values_that_no_record_could_show_are_not_taken(shop: Path, tmp_path: Path) -> None:
    """Hashes, proof and fingerprints are put right by the sender, who has a key as well."""
    with Workshop.open(tmp_path / "bad", now=ticking()) as bad:
        head = fill(bad.store, "blue roadster")
        connection = bad.store.engine.connection
        finding = connection.execute("SELECT id FROM finding ORDER BY id LIMIT 1").fetchone()[0]
        from fieldlog.store.base import NewRow

        columns = {"inspection_id": head, "finding_id": finding, "state": "excellent"}
        row = NewRow("verdict", "forged", head, {**columns, "reason": "", "cautions": "[]"})
        bad.store.append([row], START)
        with pytest.raises(StoreError, match="a record does not take it"):
            bad.bundle("1", out=tmp_path)


# -- in a browser ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def offline(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("page") / "verify-bundle.html"
    path.write_text(page(), encoding="utf-8")
    return path


def test_the_page_may_do_nothing_but_check(offline: Path) -> None:
    text = offline.read_text("utf-8")
    assert "default-src 'none'" in text
    assert "unsafe" not in text
    assert "http:" not in text
    assert "https:" not in text


@pytest.fixture
def checked(browser: Browser, offline: Path) -> Iterator[Callable[[Path], str]]:
    """Gives a bundle to the page and returns what it says; any request but for the page fails."""
    context = browser.new_context(offline=True)
    tab = context.new_page()
    asked: list[str] = []
    faults: list[str] = []
    tab.on("request", lambda request: asked.append(request.url))
    tab.on("pageerror", lambda error: faults.append(str(error)))
    tab.on("console", lambda message: faults.append(message.text))
    tab.goto(offline.as_uri())

    def run(path: Path) -> str:
        tab.set_input_files("#file", path)
        tab.wait_for_function("name => outcome.textContent.startsWith(name)", arg=path.name)
        return tab.inner_text("main")

    yield run
    assert asked == [offline.as_uri()]
    assert faults == []
    context.close()


def test_a_browser_checks_a_bundle(
    shop: Path, tmp_path: Path, checked: Callable[[Path], str]
) -> None:
    for name in ("inspection.zip", "vehicle.zip"):
        said = checked(shop / name)
        assert f"{name}: it agrees with itself." in said
        assert "Every row, clip and photo in it is what its hash says." in said
    assert "signed as A. Smith with key SHA256:" in checked(shop / "inspection.zip")
    for name, (change, _) in CHANGES.items():
        if name in {"turn", "unsigned"}:
            continue  # the page says that it does not check the order
        members = _members(shop / "inspection.zip")
        change(members)
        path = _written(members, tmp_path / f"{name.replace(' ', '-')}.zip")
        assert f"{path.name}: it cannot be trusted." in checked(path), name
    for name, (spoil, _) in HOSTILE.items():
        path = tmp_path / f"hostile-{name.replace(' ', '-')}.zip"
        path.write_bytes(spoil((shop / "inspection.zip").read_bytes()))
        assert f"{path.name}: it cannot be trusted." in checked(path), name
