"""Signing off, what came after, and what is proven of a record: never more than is."""

from __future__ import annotations

import json
import shutil
import sqlite3
import stat
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from fieldlog.errors import ChangedError, StoreError, UsageError
from fieldlog.language.files import load_language as language
from fieldlog.model.finding import Quantity
from fieldlog.proof import note, sshsig
from fieldlog.shop.backup import backup
from fieldlog.shop.proving import NO_WITNESS, Proven, prove, witnesses
from fieldlog.shop.witness import keyring
from fieldlog.shop.workshop import Workshop
from fieldlog.store import schema, word_index
from fieldlog.store.checkpoints import Against
from fieldlog.store.database import FILE
from fieldlog.store.repository import Repository
from fieldlog.store.signatures import signatures
from tests.store_samples import START, ticking


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A signed inspection with a finding after it, and its report in ``out``."""
    folder = tmp_path_factory.mktemp("signed")
    with Workshop.open(folder / "shop", language=language(), now=ticking()) as shop:
        shop.begin("blue roadster", started_at=START)
        inspecting = shop.inspecting()
        inspecting.type("rear tread four thirty seconds")
        inspecting.type("front brake disc cracked")
        ring = keyring(shop.store)
        ring.make("A. Smith", "2468")
        inspecting.sign_off("A. Smith", as_it_stands=True, signer=ring.open("A. Smith", "2468"))
        inspecting.type("horn dead")
        shop.report(out=folder / "out", formats=("html", "json"))
    return folder


@pytest.fixture
def made(template: Path, tmp_path: Path) -> Path:
    shutil.copytree(template, tmp_path / "made")
    return tmp_path / "made"


def _proved(folder: Path, *against: Path | str) -> Proven:
    return prove(folder / "shop", None, [str(each) for each in against], START)


def test_what_is_signed_is_what_whoever_signs_was_told(template: Path) -> None:
    with Repository.look(template / "shop") as store:
        (signed,) = signatures(store.inspection_record("last"))
    one = signed.checkpoint
    assert one is not None
    assert one.is_signed
    assert one.one("by") == one.one("name") == "A. Smith"
    assert one.one("for") == "sign-off"
    assert one.at is not None
    assert one.one("confirmed") == "as it stands"
    assert one.all("dangerous") == ("no. 2 front brake disc: cracked",)
    assert "horn" in one.all("open")
    assert signed.told == f"key {sshsig.fingerprint(one.key)}"


@pytest.mark.skipif(shutil.which("ssh-keygen") is None, reason="OpenSSH's ssh-keygen is not here")
def test_openssh_checks_a_sign_off(template: Path, tmp_path: Path) -> None:
    with Repository.look(template / "shop") as store:
        one = signatures(store.inspection_record("last"))[0].checkpoint
    assert one is not None
    name = note.key_name(one.key)
    (tmp_path / "who").write_text(sshsig.allowed_signer(name, one.key))
    (tmp_path / "sig").write_text(sshsig.armoured(one.key, one.signature))
    command = ["ssh-keygen", "-Y", "verify", "-f", str(tmp_path / "who"), "-I", name]
    command += ["-n", "fieldlog", "-s", str(tmp_path / "sig")]
    assert subprocess.run(command, input=one.body.encode(), check=False).returncode == 0


def test_without_a_key_a_sign_off_says_so(tmp_path: Path) -> None:
    with Workshop.open(tmp_path, language=language(), now=ticking()) as shop:
        shop.begin("blue roadster", started_at=START)
        inspecting = shop.inspecting()
        (event,) = inspecting.sign_off("B. Jones", as_it_stands=True)
        (signed,) = signatures(inspecting.record)
    assert getattr(event, "key", None) == ""
    assert signed.key == ""
    assert signed.told == "not signed with a key"
    assert signed.checkpoint is not None
    assert signed.checkpoint.one("by") == ""


def test_nobody_signs_what_changed_while_it_was_looked_at(tmp_path: Path) -> None:
    with Workshop.open(tmp_path, language=language(), now=ticking()) as shop:
        shop.begin("blue roadster", started_at=START)
        inspecting = shop.inspecting()
        seen = inspecting.record.rows
        shop.inspecting().type("front brake disc cracked")
        with pytest.raises(ChangedError):
            inspecting.sign_off("A. Smith", as_it_stands=True, seen=seen)
        assert signatures(inspecting.record) == ()


def test_what_came_after_is_an_addendum_in_the_report(template: Path) -> None:
    (page,) = (template / "out").glob("*.html")
    (document,) = (template / "out").glob("*.json")
    assert "addendum, not covered by the signature</span> added no. 3" in page.read_text("utf-8")
    told = json.loads(document.read_text("utf-8"))
    assert told["addenda"] == ["added no. 3"]
    assert told["signatures"][0]["key"].startswith("SHA256:")


def test_alone_a_record_agrees_with_itself_and_no_more(template: Path) -> None:
    found = _proved(template)
    assert found.faults == ()
    assert NO_WITNESS in found.told
    assert not any("unchanged" in line for line in found.proven)
    assert any("as it was signed" in line and "A. Smith" in line for line in found.proven)


def test_a_report_is_a_witness(template: Path) -> None:
    for file in (template / "out").iterdir():
        found = _proved(template, file)
        assert found.faults == ()
        assert any(
            line.startswith("unchanged since checkpoint") and f"held by {file.name}" in line
            for line in found.proven
        )


def test_the_text_of_a_code_is_a_witness(template: Path) -> None:
    (kept,) = (template / "shop" / "checkpoints").iterdir()
    found = _proved(template, kept.read_text("utf-8").strip())
    assert "held by the text that was given" in found.proven[-1]
    with pytest.raises(UsageError, match="no checkpoint"):
        _proved(template, "something\nelse")
    with pytest.raises(UsageError, match="cannot be read"):
        _proved(template, "nowhere.html")


def test_a_record_written_anew_shows_by_its_witness_alone(template: Path, tmp_path: Path) -> None:
    """The same shop, with a lesser fault said: it agrees with itself."""
    with Workshop.open(tmp_path / "shop", language=language(), now=ticking()) as shop:
        shop.begin("blue roadster", started_at=START)
        shop.inspecting().type("rear tread four thirty seconds")
    assert _proved(tmp_path).faults == ()
    (page,) = (template / "out").glob("*.html")
    found = _proved(tmp_path, page)
    assert all("the record is not what it was at checkpoint" in fault for fault in found.faults)
    assert found.proven == ()


def test_rows_cut_off_the_end_show_by_their_witness(made: Path) -> None:
    """With the note of the newest rows put right as well, and the index of words."""
    connection = sqlite3.connect(made / "shop" / FILE, isolation_level=None)
    triggers = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
    guards = triggers.fetchall()
    for name, _ in guards:
        connection.execute(f"DROP TRIGGER {name}")
    last = connection.execute("SELECT id, kind, parents FROM record ORDER BY turn DESC").fetchone()
    connection.execute(f"DELETE FROM {last[1]} WHERE id = ?", (last[0],))
    connection.execute("DELETE FROM judgement WHERE verdict_id = ?", (last[0],))
    connection.execute("DELETE FROM record WHERE id = ?", (last[0],))
    connection.execute("UPDATE local_head SET hash = ?", (last[2],))
    for _, sql in guards:
        connection.execute(sql)
    connection.row_factory = sqlite3.Row
    word_index.build(connection)
    connection.close()
    shutil.rmtree(made / "shop" / "checkpoints")
    alone = [fault for fault in _proved(made).faults if "limit text" not in fault]
    assert alone == []
    (page,) = (made / "out").glob("*.html")
    assert any("is not what it was at" in fault for fault in _proved(made, page).faults)


def test_a_changed_checkpoint_shows(made: Path) -> None:
    (kept,) = (made / "shop" / "checkpoints").iterdir()
    text = kept.read_text("utf-8")
    kept.write_text(text.replace(" report\n", " nothing\n"), "utf-8")
    assert any("signature does not fit" in fault for fault in _proved(made).faults)
    kept.write_text(text[:-5], "utf-8")
    assert any("no checkpoint that can be read" in fault for fault in _proved(made).faults)


# -- only read ------------------------------------------------------------------------------------


@pytest.fixture
def locked(made: Path) -> Iterator[Path]:
    """A record in which nothing may be written: for the superuser, too, nothing may be made."""
    places = [path for path in (made / "shop").rglob("*") if path.is_dir()]
    for place in (made / "shop", *places):
        place.chmod(stat.S_IRUSR | stat.S_IXUSR)
    yield made
    for place in (made / "shop", *places):
        place.chmod(stat.S_IRWXU)


def test_looking_changes_no_file(locked: Path, tmp_path: Path) -> None:
    def files() -> dict[str, tuple[int, bytes]]:
        found = [path for path in sorted((locked / "shop").rglob("*")) if path.is_file()]
        return {str(path): (path.stat().st_mtime_ns, path.read_bytes()) for path in found}

    before = files()
    assert _proved(locked).faults == ()
    with Repository.look(locked / "shop") as store:
        assert len(store.inspections()) == 1
        assert len(store.inspection_record("last").findings) == 3
    assert files() == before


def test_a_log_left_by_a_crash_is_read_and_left(made: Path) -> None:
    """What a killed program leaves: the log is there, and is no more after an ordinary opening."""
    folder = made / "shop"
    with Repository.open(folder, now=ticking()) as store:
        store.add_vehicle("red single")
        for ending in ("", "-wal"):
            (made / f"left{ending}").write_bytes((folder / f"{FILE}{ending}").read_bytes())
    for ending in ("", "-wal"):
        (folder / f"{FILE}{ending}").write_bytes((made / f"left{ending}").read_bytes())
    with Repository.look(folder) as store:
        assert [each.name for each in store.vehicles()] == ["blue roadster", "red single"]
    assert (folder / f"{FILE}-wal").read_bytes() == (made / "left-wal").read_bytes()
    assert not (folder / f"{FILE}-shm").exists()
    assert _proved(made).faults == ()
    data = bytearray((made / "left-wal").read_bytes())
    data[60] ^= 1
    (folder / f"{FILE}-wal").write_bytes(data)
    assert any("frame 1 does not fit its sums" in fault for fault in _proved(made).faults)


def test_the_code_on_a_report_reads_as_the_checkpoint(template: Path) -> None:
    import numpy as np
    import zxingcpp

    from fieldlog.report.witness_code import runs

    (kept,) = (template / "shop" / "checkpoints").iterdir()
    text = kept.read_text("utf-8")
    side, dark = runs(text)
    picture = np.full((side + 8, side + 8), 255, np.uint8)
    for y, x, n in dark:
        picture[y + 4, x + 4 : x + 4 + n] = 0
    (code,) = zxingcpp.read_barcodes(np.kron(picture, np.ones((4, 4), np.uint8)))
    assert code.text == text


# -- backup ---------------------------------------------------------------------------------------


def test_a_backup_is_made_while_the_record_is_in_use_and_verified(
    made: Path, tmp_path: Path
) -> None:
    with Repository.open(made / "shop", now=ticking()) as store:
        store.add_vehicle("red single")
        found = backup(made / "shop", tmp_path / "copy", START)
        store.add_vehicle("green twin")
    assert found.rows == prove(made / "shop", None, [], START).checked.rows - 1
    assert prove(tmp_path / "copy", None, [], START).faults == ()
    with Repository.open(tmp_path / "copy", now=ticking()) as copy:
        assert [each.name for each in copy.vehicles()] == ["blue roadster", "red single"]
    assert not (tmp_path / "copy" / "keys").exists()
    with pytest.raises(UsageError, match="is there already"):
        backup(made / "shop", tmp_path / "copy", START)


def test_a_backup_of_a_record_with_a_fault_is_none(made: Path, tmp_path: Path) -> None:
    connection = sqlite3.connect(made / "shop" / FILE)
    connection.execute("DROP TRIGGER remark_no_update")
    connection.close()
    with pytest.raises(StoreError, match="the backup is none"):
        backup(made / "shop", tmp_path / "copy", START)
    assert list(tmp_path.glob("*copy*")) == []


def _changed(folder: Path, table: str, statement: str, *values: object) -> None:
    """Do a statement behind the record's back, and put the guards back."""
    guards = {name: sql for name, sql in schema.guards().items() if f" ON {table} " in sql}
    with sqlite3.connect(folder / FILE) as connection:
        for name in guards:
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute(statement, values)
        for sql in guards.values():
            connection.execute(sql)
    connection.close()


def test_one_inspection_among_many(made: Path) -> None:
    """Its rows in full and the order of all behind them; of the rest it says that it was not read."""
    with Repository.open(made / "shop", now=ticking()) as store:
        head = store.start_inspection(store.add_vehicle("red single").id)
        remarks = [store.add_remark(head.id, text) for text in ("one", "two", "three")]
    witnesses = [str(made / "out" / "inspection-2026-05-04-1.html")]

    def of(key: str | None) -> Proven:
        return prove(made / "shop", key, witnesses, START)

    alone = of("1")
    assert alone.faults == ()
    assert [line for line in alone.told if line.startswith("not checked: what stands in 5 other")]
    assert "none missing" in alone.proven[0]
    assert "rows of the inspection" in alone.proven[1]  # the sign-off
    assert alone.proven[2].startswith("unchanged as to")  # the report
    assert not [line for line in of(None).told if line.startswith("not checked")]

    _changed(made / "shop", "remark", "UPDATE remark SET text = 'x' WHERE id = ?", remarks[0])
    assert of("1").faults == ()
    assert "changed after it was written" in of("2").faults[0]
    assert "changed after it was written" in of(None).faults[0]


@pytest.mark.parametrize(
    "cut", ["row", "finding", "head", "limit", "owner", "its head", "distance", "number"]
)
def test_one_inspection_shows_what_was_done_to_it(made: Path, cut: str) -> None:
    with Repository.open(made / "shop", now=ticking()) as store:
        head = store.start_inspection(store.add_vehicle("red single").id)
        remarks = [store.add_remark(head.id, text) for text in ("one", "two", "three")]
    folder = made / "shop"
    match cut:
        case "row":  # a row behind it, which could have been of it
            _changed(folder, "remark", "DELETE FROM remark WHERE id = ?", remarks[1])
            _changed(folder, "record", "DELETE FROM record WHERE id = ?", remarks[1])
            fault = "rows before it are missing"
        case "finding":
            _changed(folder, "finding", "UPDATE finding SET component = 'horn'")
            fault = "changed after it was written"
        case "head":
            _changed(folder, "remark", "DELETE FROM remark WHERE id = ?", remarks[2])
            _changed(folder, "record", "DELETE FROM record WHERE id = ?", remarks[2])
            fault = "the newest rows are not those that were noted"
        case "owner":  # given to the other inspection, where nobody looks for it
            finding = "(SELECT min(id) FROM finding)"
            _changed(folder, "record", f"UPDATE record SET owner = ? WHERE id = {finding}", head.id)
            fault = "changed after it was written"
        case "its head":  # the row of the inspection itself
            own = f"id = owner AND kind = 'inspection' AND id <> '{head.id}'"
            _changed(folder, "record", f"UPDATE record SET owner = ? WHERE {own}", head.id)
            fault = "changed after it was written"
        case "distance":  # a reading of the vehicle's, given to the other inspection altogether
            with Repository.open(folder, now=ticking()) as store:
                store.add_odometer(
                    store.inspection("1").vehicle_id, Quantity(Fraction(70_000), "km"), sure=True
                )
            reading = "id = (SELECT max(id) FROM odometer)"
            _changed(
                folder,
                "odometer",
                f"UPDATE odometer SET inspection_id = ? WHERE {reading}",
                head.id,
            )
            _changed(folder, "record", f"UPDATE record SET owner = ? WHERE {reading}", head.id)
            fault = "changed after it was written"
        case "limit":
            _changed(folder, "limit_text", "UPDATE limit_text SET text = text || ' '")
            fault = "limit text"
        case _:
            _changed(folder, "finding", "UPDATE finding SET local_number = local_number + 7")
            fault = "was given"
    assert any(fault in each for each in prove(folder, "1", (), START).faults)


def test_one_inspection_written_anew_shows_by_its_report(made: Path) -> None:
    """Its rows are not those that the report counts, though the record agrees with itself."""
    with Repository.look(made / "shop") as store:
        head = store.inspection("1").id
        (one,) = witnesses_of(made)
        assert store.engine.hold([one], head) == [Against.SAME]
        other = replace(
            one,
            lines=tuple((k, v[:-1] + "0") if k == "inspection" else (k, v) for k, v in one.lines),
        )
        fewer = replace(one, lines=tuple(line for line in one.lines if line[0] != "inspection"))
        assert store.engine.hold([other, fewer], head) == [Against.OTHER, Against.PART]


def witnesses_of(made: Path) -> list[note.Checkpoint]:
    return [
        each.checkpoint for each in witnesses(str(made / "out" / "inspection-2026-05-04-1.html"))
    ]
