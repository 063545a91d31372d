"""Every kind of tampering with every part of a record: named, or seen by a witness, or why it is none."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
import struct
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import click

from fieldlog.bundle.archive import Archive
from fieldlog.bundle.archive import write as write_archive
from fieldlog.bundle.checking import check_bundle, held_against
from fieldlog.bundle.make import tags
from fieldlog.errors import FieldlogError
from fieldlog.lab.proofs.rewriting import (
    Rows,
    altered,
    change,
    changing,
    exchanged,
    without,
    written_anew,
)
from fieldlog.lab.proofs.shops import START, fill, picture, ticking
from fieldlog.proof import note
from fieldlog.proof.keys import FOLDER, Keyring
from fieldlog.shop import witness
from fieldlog.shop.proving import prove, witnesses
from fieldlog.shop.witness import HANDED_OUT
from fieldlog.shop.workshop import Workshop
from fieldlog.store.database import FILE
from fieldlog.store.media import MediaFolder, clip_flac

Act = Callable[[Path], None]
"""Done to a copy of ``Shops``: its folder has ``shop``, ``held``, ``earlier``, ``other`` and a bundle."""

WAYS = ("edit", "remove", "insert", "swap", "older copy", "rehash")
ONCE = "a row is written once, so there is no older one; an older database is an older whole store"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one cell."""

    how: str
    """``named``, ``by a witness``, ``none`` (does not apply) or ``NOT SEEN``."""
    told: str


def prepare(folder: Path) -> None:
    """A signed record with two vehicles, what others hold of it, an earlier copy, another record."""
    with Workshop.open(folder / "shop", now=ticking()) as shop:
        first = fill(shop.store, "blue roadster")
        ring = witness.keyring(shop.store)
        ring.make("A. Smith", "2468")
        shop.bundle("1", out=folder / "earlier-bundle").rename(folder / "earlier.zip")
    shutil.copytree(folder / "shop", folder / "earlier")
    with Workshop.open(folder / "shop", now=ticking(START.replace(hour=12))) as shop:
        fill(shop.store, "red single", 7)
        signer = ring.open("A. Smith", "2468")
        shop.inspecting(first).sign_off("A. Smith", as_it_stands=True, signer=signer)
        for number in ("1", "2"):
            shop.report(number, folder / "held", ("html",))
        shop.bundle("1", out=folder).rename(folder / "bundle.zip")
    with Workshop.open(folder / "other", now=ticking()) as shop:
        fill(shop.store, "green twin", 3)


# -- files ----------------------------------------------------------------------------------------


def _original(ending: str, act: Callable[[list[Path]], object]) -> Act:
    return lambda folder: _void(act(sorted((folder / "shop" / "media").glob(f"*/*.{ending}"))))


def _void(_: object) -> None:
    """Nothing."""


def _flip(path: Path, at: int = -20) -> None:
    data = bytearray(path.read_bytes())
    data[at] ^= 0x55
    path.write_bytes(data)


def _exchange(paths: list[Path]) -> None:
    one, two = paths[:2]
    first, second = one.read_bytes(), two.read_bytes()
    one.write_bytes(second)
    two.write_bytes(first)


def _copies(act: Callable[[list[Path]], object]) -> Act:
    return lambda folder: _void(act(sorted((folder / "shop" / "copies").glob("*.jpg"))))


def _other_original(kind: str, column: str, ending: str) -> Act:
    """Another clip or photo in the place of one, under its own hash, with the record written anew."""

    def act(folder: Path) -> None:
        from fieldlog.lab.proofs.shops import tone

        media = MediaFolder(folder / "shop" / "media")
        data = picture(99) if ending == "jpg" else clip_flac(tone(999.0))
        name = media.save_bytes(data, ending)
        written_anew(altered(kind, 0, **{column: name}))(folder / "shop")

    return act


# -- the database's own parts ---------------------------------------------------------------------


def _sql(*statements: str) -> Act:
    return lambda folder: change(statements[0], *statements[1:])(folder / "shop")


def _form(*statements: str) -> Act:
    """Statements by somebody who leaves the guards as they are."""

    def act(folder: Path) -> None:
        with contextlib.closing(
            sqlite3.connect(folder / "shop" / FILE, isolation_level=None)
        ) as connection:
            for each in statements:
                connection.execute(each)

    return act


def _anew(alter: Callable[[Rows], Rows | None]) -> Act:
    return lambda folder: written_anew(alter)(folder / "shop")


def _index_page(folder: Path) -> None:
    """Bytes of an entry of an index changed, past the database."""
    path = folder / "shop" / FILE
    with contextlib.closing(sqlite3.connect(path)) as connection:
        size = connection.execute("PRAGMA page_size").fetchone()[0]
        root = connection.execute(
            "SELECT rootpage FROM sqlite_master WHERE name = 'finding_history' ORDER BY name"
        ).fetchone()[0]
    data = bytearray(path.read_bytes())
    page = data[(root - 1) * size : root * size]
    at = page.rindex(b"drive chain")
    data[(root - 1) * size + at : (root - 1) * size + at + 5] = b"brake"
    path.write_bytes(data)


def _roots(folder: Path) -> None:
    """Two indexes that point to each other's pages."""
    with contextlib.closing(
        sqlite3.connect(folder / "shop" / FILE, isolation_level=None)
    ) as connection:
        connection.execute("PRAGMA writable_schema=ON")
        pair = [
            connection.execute(
                "SELECT rootpage FROM sqlite_master WHERE name = ?", (n,)
            ).fetchone()[0]
            for n in ("remark_of_inspection", "event_of_inspection")
        ]
        for name, root in zip(
            ("remark_of_inspection", "event_of_inspection"), pair[::-1], strict=True
        ):
            connection.execute("UPDATE sqlite_master SET rootpage = ? WHERE name = ?", (root, name))


def _guard(statement: str) -> Act:
    return _form("DROP TRIGGER remark_no_update", statement)


def _schema_text(old: str, new: str) -> Act:
    return _form(
        "PRAGMA writable_schema=ON",
        f"UPDATE sqlite_master SET sql = replace(sql, '{old}', '{new}') WHERE name = 'finding'",
    )


# -- the log --------------------------------------------------------------------------------------


def _with_log(alter: Callable[[bytes, int], bytes | None]) -> Act:
    """What a crash leaves: the last rows are in the log alone; ``alter`` gets it and its page size."""

    def act(folder: Path) -> None:
        shop = folder / "shop"
        with Workshop.open(shop, now=ticking(START.replace(hour=15))) as opened:
            head = opened.store.inspection("1").id
            for words in ("one", "two"):
                opened.store.add_remark(head, words)
            opened.report("1", folder / "held", ("json",))  # somebody holds this, too
            kept = {end: (shop / f"{FILE}{end}").read_bytes() for end in ("", "-wal")}
        changed = alter(kept["-wal"], struct.unpack(">I", kept["-wal"][8:12])[0])
        (shop / FILE).write_bytes(kept[""])
        if changed is not None:
            (shop / f"{FILE}-wal").write_bytes(changed)
        shutil.rmtree(shop / HANDED_OUT)  # its own copies of what others hold

    return act


def _frames(log: bytes, page: int) -> list[bytes]:
    step = page + 24
    return [log[at : at + step] for at in range(32, len(log) - step + 1, step)]


def _frames_changed(log: bytes, page: int) -> bytes:
    return log[:-100] + bytes([log[-100] ^ 1]) + log[-99:]


def _frames_exchanged(log: bytes, page: int) -> bytes:
    first, second, *rest = _frames(log, page)
    return log[:32] + second + first + b"".join(rest)


def _log_cut(log: bytes, page: int) -> bytes:
    """Up to the last commit but two, so that the later rows are gone and the sums fit."""
    frames = _frames(log, page)
    ends = [n for n, frame in enumerate(frames, 1) if frame[4:8] != bytes(4)]
    return log[:32] + b"".join(frames[: ends[-3]])


def _frames_rehashed(log: bytes, page: int) -> bytes:
    """A remark changed in the log, with every sum put right."""
    from fieldlog.store.form import summed

    order = ">" if struct.unpack(">I", log[:4])[0] & 1 else "<"
    sums, out = summed(log[:24], (0, 0), order), [log[:32]]
    for frame in _frames(log, page):
        body = frame[24:].replace(b"two", b"too")
        sums = summed(body, summed(frame[:8], sums, order), order)
        out.append(frame[:16] + struct.pack(">2I", *sums) + body)
    return b"".join(out)


# -- checkpoints and bundles ----------------------------------------------------------------------


def _checkpoint(alter: Callable[[list[Path]], object]) -> Act:
    return lambda folder: _void(alter(sorted((folder / "shop" / HANDED_OUT).iterdir())))


def _note_edited(paths: list[Path]) -> None:
    text = paths[-1].read_text("utf-8")
    paths[-1].write_text(text.replace("\nfor ", "\nfor no ", 1), "utf-8")


def _note_forged(paths: list[Path]) -> None:
    one = note.parse(paths[-1].read_text("utf-8"))
    assert one is not None
    unsigned = note.Checkpoint(one.origin, one.size, bytes(32), one.lines[:2])
    paths[-1].with_name("forged.txt").write_text(unsigned.text, "utf-8")


def _note_resigned(paths: list[Path]) -> None:
    one = note.parse(paths[-1].read_text("utf-8"))
    signer = Keyring(paths[-1].parents[1] / FOLDER).of_record()
    assert one is not None
    assert signer is not None
    unsigned = note.Checkpoint(one.origin, one.size, bytes(32), one.lines[:2])
    paths[-1].write_text(signer.sign(unsigned).text, "utf-8")


def _note_signatures(paths: list[Path]) -> None:
    one, two = (note.parse(path.read_text("utf-8")) for path in paths[:2])
    assert one is not None
    assert two is not None
    paths[0].write_text(one.signed(two.signature).text, "utf-8")


def _bundle(alter: Callable[[dict[str, bytes]], object], *, tagged: bool = True) -> Act:
    def act(folder: Path) -> None:
        path = folder / "bundle.zip"
        with Archive(path) as archive:
            members = {name: archive.read(name, 1 << 30) for name in archive.members}
        alter(members)
        payload = {name: data for name, data in members.items() if name.startswith("data/")}
        whole = {**payload, **tags(payload, "")} if tagged else members
        with path.open("wb") as stream:
            write_archive(stream, whole)

    return act


def _rows_exchanged(members: dict[str, bytes]) -> None:
    for name in ("data/rows.jsonl", "data/places.jsonl"):
        lines = members[name].splitlines(keepends=True)
        lines[1], lines[2] = lines[2], lines[1]
        members[name] = b"".join(lines)


def _bundle_anew(folder: Path) -> None:
    """The record written anew with a fault left out, and a bundle of that, signed by its own key."""
    written_anew(
        without(lambda row: row.columns.get("condition") == "cracked")
    )  # rows that hang on it stay
    shop = folder / "shop"
    written_anew(altered("finding", 1, condition="sound"))(shop)
    with Workshop.open(shop, now=ticking()) as opened:
        opened.bundle("1", out=folder / "anew").replace(folder / "bundle.zip")


_FINDING = (
    "UPDATE finding SET {} WHERE id = (SELECT min(id) FROM finding WHERE value_num IS NOT NULL)"
)
_SWAP = (
    "UPDATE {0} SET {1} = (SELECT o.{1} FROM {0} o WHERE o.id != {0}.id AND o.id IN "
    "((SELECT min(id) FROM {0}), (SELECT max(id) FROM {0}))) "
    "WHERE id IN ((SELECT min(id) FROM {0}), (SELECT max(id) FROM {0}))"
)


def _swap(table: str, column: str) -> Act:
    def act(folder: Path) -> None:
        with changing(folder / "shop") as connection:
            pair = connection.execute(
                f"SELECT id, {column} FROM {table} ORDER BY id = (SELECT min(id) FROM {table}) DESC, "
                "id DESC LIMIT 2"
            ).fetchall()
            assert pair[0][1] != pair[1][1]
            if column == "local_number":  # no two may be the same, not even in between
                connection.execute(f"UPDATE {table} SET {column} = 999 WHERE id = ?", (pair[1][0],))
            for (id, _), (_, value) in zip(pair, pair[::-1], strict=True):
                connection.execute(f"UPDATE {table} SET {column} = ? WHERE id = ?", (value, id))

    return act


def _removed(table: str, where: str) -> tuple[str, ...]:
    return (
        f"DELETE FROM record WHERE id IN (SELECT id FROM {table} WHERE {where})",
        f"DELETE FROM {table} WHERE {where}",
    )


_LAST = "SELECT id FROM record ORDER BY turn DESC LIMIT 1 OFFSET {}"
NOT_HASHED = "it has no hash: it is made from what has one"

Cells = Mapping[str, Act | str]
"""Way -> what is done, or why there is nothing to do."""

TABLE: dict[str, Cells] = {
    "value": {
        "edit": _sql(_FINDING.format("value_num = value_num + 1")),
        "remove": _sql(_FINDING.format("value_num = NULL, value_den = NULL, unit = NULL")),
        "insert": _sql(
            "UPDATE verdict SET severity = 'minor' WHERE id = (SELECT min(id) FROM verdict)"
        ),
        "swap": _swap("odometer", "value_num"),
        "older copy": ONCE,
        "rehash": _anew(altered("finding", 0, value_num=1)),
    },
    "row": {
        "edit": _sql("UPDATE finding SET component = 'horn' WHERE condition = 'cracked'"),
        "remove": _sql(*_removed("remark", "id = (SELECT min(id) FROM remark)")),
        "insert": _sql(
            "INSERT INTO remark (id, inspection_id, text) SELECT 'forged', min(id), 'all is well' "
            "FROM inspection"
        ),
        "swap": _swap("remark", "inspection_id"),
        "older copy": ONCE,
        "rehash": _anew(without(lambda row: row.place.kind == "remark")),
    },
    "order": {
        "edit": _sql(f"UPDATE record SET turn = turn + 9 WHERE id = ({_LAST.format(3)})"),
        "remove": "an order has no part of its own: see row",
        "insert": "an order has no part of its own: see row",
        "swap": _swap("record", "turn"),
        "older copy": ONCE,
        "rehash": _anew(exchanged("remark")),
    },
    "link": {
        "edit": _sql(f"UPDATE record SET parents = zeroblob(32) WHERE id = ({_LAST.format(2)})"),
        "remove": _sql(f"UPDATE record SET parents = x'' WHERE id = ({_LAST.format(2)})"),
        "insert": _sql(
            "UPDATE record SET parents = CAST(parents || (SELECT hash FROM record ORDER BY turn LIMIT 1) AS BLOB) "
            f"WHERE id = ({_LAST.format(2)})"
        ),
        "swap": _swap("record", "parents"),
        "older copy": ONCE,
        "rehash": _anew(without(lambda row: row.place.kind == "attachment")),
    },
    "vehicle": {
        "edit": _sql("UPDATE vehicle SET name = 'green twin' WHERE local_number = 1"),
        "remove": _sql(
            "DELETE FROM vehicle WHERE local_number = 2",
            "DELETE FROM record WHERE kind = 'vehicle' AND id NOT IN (SELECT id FROM vehicle)",
        ),
        "insert": _sql("INSERT INTO vehicle (id, local_number, name) VALUES ('forged', 3, 'x')"),
        "swap": _swap("inspection", "vehicle_id"),
        "older copy": ONCE,
        "rehash": _anew(altered("vehicle", 0, name="green twin")),
    },
    "inspection": {
        "edit": _sql("UPDATE inspection SET inspector = 'nobody' WHERE local_number = 1"),
        "remove": _sql(
            "DELETE FROM inspection WHERE local_number = 2",
            "DELETE FROM record WHERE kind = 'inspection' AND id NOT IN (SELECT id FROM inspection)",
        ),
        "insert": _sql(
            "INSERT INTO inspection (id, local_number, vehicle_id, started_at, zone, inspector, place, "
            "settings, program) SELECT 'forged', 3, min(id), 0, '', '', '', '{}', '' FROM vehicle"
        ),
        "swap": _swap("inspection", "local_number"),
        "older copy": ONCE,
        "rehash": _anew(altered("inspection", 0, inspector="nobody")),
    },
    "verdict": {
        "edit": _sql("UPDATE verdict SET state = 'within'"),
        "remove": _sql(*_removed("verdict", "state = 'faulty'")),
        "insert": _sql(
            "INSERT INTO verdict (id, inspection_id, finding_id, state, reason, cautions) SELECT "
            "'forged', inspection_id, finding_id, 'within', '', '[]' FROM verdict LIMIT 1"
        ),
        "swap": _sql(
            "UPDATE verdict SET state = CASE state WHEN 'beyond' THEN 'within' WHEN 'within' THEN "
            "'beyond' ELSE state END"
        ),
        "older copy": "the older verdict rules again when the newer is removed: see remove",
        "rehash": _anew(altered("verdict", 1, state="within", severity=None)),
    },
    "correction": {
        "edit": _sql("UPDATE correction SET reason = 'measured again'"),
        "remove": _sql(*_removed("correction", "1")),
        "insert": _sql(
            "INSERT INTO correction (id, inspection_id, finding_id, reason, made_by) SELECT 'forged', "
            "inspection_id, id, 'misheard', 'review' FROM finding WHERE condition = 'cracked' LIMIT 1"
        ),
        "swap": _swap("correction", "finding_id"),
        "older copy": "the older finding stands again when the correction is removed: see remove",
        "rehash": _anew(without(lambda row: row.place.kind == "correction")),
    },
    "clip": {
        "edit": _original("flac", lambda paths: _flip(paths[0])),
        "remove": _original("flac", lambda paths: paths[0].unlink()),
        "insert": "a file that no row names is shown nowhere; sound saved just before a crash is one",
        "swap": _original("flac", _exchange),
        "older copy": "an original is written once, under its hash",
        "rehash": _other_original("utterance", "clip", "flac"),
    },
    "photo": {
        "edit": _original("jpg", lambda paths: _flip(paths[0])),
        "remove": _original("jpg", lambda paths: paths[0].unlink()),
        "insert": "a file that no row names is shown nowhere",
        "swap": _original("jpg", _exchange),
        "older copy": "an original is written once, under its hash",
        "rehash": _other_original("photo", "media", "jpg"),
    },
    "thumbnail": {
        "edit": _copies(lambda paths: paths[0].write_bytes(picture(55))),
        "remove": "it is made again from its original when it is missing",
        "insert": "a copy of no photo is shown nowhere",
        "swap": _copies(_exchange),
        "older copy": "it is made from an original, which is written once",
        "rehash": NOT_HASHED,
    },
    "index page": {
        "edit": _index_page,
        "remove": _form("DROP INDEX finding_history"),
        "insert": _form("CREATE INDEX forged ON finding(words)"),
        "swap": _roots,
        "older copy": "an older page of one index is an edit of it",
        "rehash": NOT_HASHED,
    },
    "trigger": {
        "edit": _guard(
            "CREATE TRIGGER remark_no_update BEFORE UPDATE ON remark BEGIN SELECT 1; END"
        ),
        "remove": _form("DROP TRIGGER remark_no_update"),
        "insert": _form(
            "CREATE TRIGGER forged AFTER INSERT ON finding BEGIN DELETE FROM local_state; END"
        ),
        "swap": _guard(
            "CREATE TRIGGER remark_no_update BEFORE DELETE ON remark "
            "BEGIN SELECT RAISE(ABORT, 'the record is append-only'); END"
        ),
        "older copy": "triggers are the same in every version that has the table",
        "rehash": "it has no hash; its text is compared",
    },
    "schema": {
        "edit": _schema_text("CHECK (value_den > 0)", "CHECK (value_den > 9)"),
        "remove": _form("DROP TABLE elsewhere"),
        "insert": _form("CREATE TABLE forged (a)"),
        "swap": _form(
            "ALTER TABLE local_state RENAME TO passing",
            "ALTER TABLE local_head RENAME TO local_state",
            "ALTER TABLE passing RENAME TO local_head",
        ),
        "older copy": "an older form is brought up to date step by step, in a copy when only read",
        "rehash": "it has no hash; its text is compared",
    },
    "WAL": {
        "edit": _with_log(_frames_changed),
        "remove": _with_log(lambda log, page: None),
        "insert": "SQLite reads no frame without the marks and sums of its log; with them it is rehash",
        "swap": _with_log(_frames_exchanged),
        "older copy": _with_log(_log_cut),
        "rehash": _with_log(_frames_rehashed),
    },
    "whole store": {
        "edit": "it is one of those above",
        "remove": lambda folder: (folder / "shop" / FILE).unlink(),
        "insert": lambda folder: _replaced(folder, "other", media=False),
        "swap": lambda folder: _replaced(folder, "other"),
        "older copy": lambda folder: _replaced(folder, "earlier"),
        "rehash": _anew(lambda rows: rows),
    },
    "checkpoint": {
        "edit": _checkpoint(_note_edited),
        "remove": _sql(*_removed("event", "name = 'checkpoint'")),
        "insert": _checkpoint(_note_forged),
        "swap": _checkpoint(_note_signatures),
        "older copy": "an older checkpoint still holds: the record only grows",
        "rehash": _checkpoint(_note_resigned),
    },
    "bundle file": {
        "edit": lambda folder: _flip(folder / "bundle.zip", 2000),
        "remove": lambda folder: (folder / "bundle.zip").unlink(),
        "insert": _bundle(lambda members: members.update({f"data/media/{'0' * 64}.jpg": b"x"})),
        "swap": _bundle(_rows_exchanged),
        "older copy": lambda folder: _void((folder / "earlier.zip").replace(folder / "bundle.zip")),
        "rehash": _bundle_anew,
    },
}


def _replaced(folder: Path, by: str, *, media: bool = True) -> None:
    for part in (folder / "shop").glob(f"{FILE}*"):
        part.unlink()
    if media:
        shutil.rmtree(folder / "shop")
        shutil.copytree(folder / by, folder / "shop")
        return
    with Workshop.open(folder / "shop", now=ticking()) as shop:
        shop.add_vehicle("nothing to see")
    shutil.rmtree(folder / "shop" / HANDED_OUT)


def outcome(template: Path, part: str, way: str) -> Outcome:
    """One cell: done to a copy of what ``prepare`` made, then verified alone and by a witness."""
    act = TABLE[part][way]
    if isinstance(act, str):
        return Outcome("none", act)
    with tempfile.TemporaryDirectory(prefix="fieldlog-") as made:
        folder = Path(made) / "a"
        shutil.copytree(template, folder)
        act(folder)
        look = _bundle_faults if part == "bundle file" else _faults
        alone = look(folder, False)
        if alone:
            return Outcome("named", alone[0])
        seen = look(folder, True)
        return Outcome("by a witness", seen[0]) if seen else Outcome("NOT SEEN", "")


def _faults(folder: Path, witnessed: bool) -> list[str]:
    against = [str(path) for path in sorted((folder / "held").iterdir())] if witnessed else []
    try:
        return list(prove(folder / "shop", None, against, START).faults)
    except FieldlogError as error:
        return [error.what]


def _bundle_faults(folder: Path, witnessed: bool) -> list[str]:
    try:
        content = check_bundle(folder / "bundle.zip", START)
    except FieldlogError as error:
        return [error.what]
    faults = list(content.faults)
    for path in sorted((folder / "held").iterdir()) if witnessed else []:
        for each in witnesses(str(path)):
            about_it = any(content.id in text for text in each.checkpoint.all(content.kind))
            if about_it and each.checkpoint.one("for") == "report":
                faults += held_against(content, each.checkpoint, each.held_by)[0]
    return faults


def page(results: Mapping[tuple[str, str], Outcome]) -> str:
    """The table as a page."""
    lines = [
        "# Tampering",
        "",
        "Made by `python -m fieldlog.lab tampering --page > docs/tampering.md`: each cell is done to a copy of a",
        "signed record by somebody who can write every file, puts back the guards that he took off, and in the",
        "column *rehash* puts every hash right that he can; what nobody but the owner of a PIN can sign, he leaves",
        "out. Then `verify` looks at it, alone and with what others hold of it (reports).",
        "",
        "- **named**: `verify` names it by itself.",
        "- **witness**: it agrees with itself and cannot be seen without a witness; with one it is.",
        "- **no**: it does not apply, for the reason given below.",
        "",
        f"| | {' | '.join(WAYS)} |",
        f"|---|{'---|' * len(WAYS)}",
    ]
    signs = {
        "named": "named",
        "by a witness": "**witness**",
        "none": "no",
        "NOT SEEN": "**NOT SEEN**",
    }
    for part in TABLE:
        cells = " | ".join(signs[results[part, way].how] for way in WAYS)
        lines.append(f"| {part} | {cells} |")
    counted = [result.how for result in results.values()]
    lines += [
        "",
        f"{counted.count('named')} are named, {counted.count('by a witness')} are seen by a witness, "
        f"{counted.count('none')} do not apply, {counted.count('NOT SEEN')} are not seen.",
        "",
        "## What is said of each",
        "",
        "| what | how | the first thing that is told, or why it does not apply |",
        "|---|---|---|",
    ]
    for (part, way), result in results.items():
        lines.append(f"| {part}, {way} | {signs[result.how]} | {_shown(result.told)} |")
    return "\n".join([*lines, ""])


def _shown(text: str) -> str:
    """Without names that differ from run to run."""
    import re

    text = re.sub(r"\b[0-9a-f]{64}\b", "<sha256>", text)
    text = re.sub(r"\b[0-9a-hjkmnp-tv-z]{20}(-\w+)?\b", "<id>", text)
    text = re.sub(r"SHA256:\S+", "SHA256:...", text)
    text = re.sub(r"\b[0-9a-f]{12}\b", "<hash>", text)
    return text.replace("|", "\\|").replace("\n", " ")


@click.command()
@click.option(
    "--page", "as_page", is_flag=True, help="Print the page instead of a line for each cell."
)
@click.option("--only", default="", help="One part, such as clip.")
def tampering(as_page: bool, only: str) -> None:
    """Tamper with every part of a record in every way, and see what verify says.

    \b
    Examples:
      python -m fieldlog.lab tampering
      python -m fieldlog.lab tampering --only clip
    """
    results: dict[tuple[str, str], Outcome] = {}
    with tempfile.TemporaryDirectory(prefix="fieldlog-") as made:
        template = Path(made)
        prepare(template)
        for part in TABLE:
            for way in WAYS if only in {"", part} else ():
                results[part, way] = found = outcome(template, part, way)
                if not as_page:
                    click.echo(f"{part:<12} {way:<11} {found.how:<13} {found.told[:150]}")
    if as_page:
        click.echo(page(results), nl=False)
    if any(found.how == "NOT SEEN" for found in results.values()):
        raise SystemExit(1)
