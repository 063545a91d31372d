"""What somebody who can write every file may do to a record: to its files, rows, log and bundles."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
import struct
from collections.abc import Callable
from pathlib import Path

from fieldlog.bundle.archive import Archive
from fieldlog.bundle.archive import write as write_archive
from fieldlog.bundle.make import tags
from fieldlog.lab.proofs.rewriting import (
    Rows,
    altered,
    change,
    changing,
    without,
    written_anew,
)
from fieldlog.lab.proofs.shops import START, picture, ticking
from fieldlog.proof import note
from fieldlog.proof.keys import FOLDER, Keyring
from fieldlog.shop.witness import HANDED_OUT
from fieldlog.shop.workshop import Workshop
from fieldlog.store.database import FILE
from fieldlog.store.media import MediaFolder, clip_flac

Act = Callable[[Path], None]
"""Done to a copy of ``Shops``: its folder has ``shop``, ``held``, ``earlier``, ``other`` and a bundle."""


# -- files ----------------------------------------------------------------------------------------


def to_originals(ending: str, act: Callable[[list[Path]], object]) -> Act:
    """To the originals of clips or photos that end so, sorted."""
    return lambda folder: void(act(sorted((folder / "shop" / "media").glob(f"*/*.{ending}"))))


def void(_: object) -> None:
    """Nothing."""


def flip(path: Path, at: int = -20) -> None:
    """One byte changed."""
    data = bytearray(path.read_bytes())
    data[at] ^= 0x55
    path.write_bytes(data)


def exchange(paths: list[Path]) -> None:
    """Two files with each other's content."""
    one, two = paths[:2]
    first, second = one.read_bytes(), two.read_bytes()
    one.write_bytes(second)
    two.write_bytes(first)


def to_copies(act: Callable[[list[Path]], object]) -> Act:
    """To the copies that are made of photos."""
    return lambda folder: void(act(sorted((folder / "shop" / "copies").glob("*.jpg"))))


def other_original(kind: str, column: str, ending: str) -> Act:
    """Another clip or photo in the place of one, under its own hash, with the record written anew."""

    def act(folder: Path) -> None:
        from fieldlog.lab.proofs.shops import tone

        media = MediaFolder(folder / "shop" / "media")
        data = picture(99) if ending == "jpg" else clip_flac(tone(999.0))
        name = media.save_bytes(data, ending)
        written_anew(altered(kind, 0, **{column: name}))(folder / "shop")

    return act


# -- the database's own parts ---------------------------------------------------------------------


def to_rows(*statements: str) -> Act:
    """Statements by somebody who takes off the guards and puts them back."""
    return lambda folder: change(statements[0], *statements[1:])(folder / "shop")


def to_schema(*statements: str) -> Act:
    """Statements by somebody who leaves the guards as they are."""

    def act(folder: Path) -> None:
        with contextlib.closing(
            sqlite3.connect(folder / "shop" / FILE, isolation_level=None)
        ) as connection:
            for each in statements:
                connection.execute(each)

    return act


def written_over(alter: Callable[[Rows], Rows | None]) -> Act:
    """The rows altered, and every hash put right."""
    return lambda folder: written_anew(alter)(folder / "shop")


def index_page(folder: Path) -> None:
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


def roots(folder: Path) -> None:
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


def to_guards(statement: str) -> Act:
    """A trigger taken off, and another put in its place."""
    return to_schema("DROP TRIGGER remark_no_update", statement)


def schema_text(old: str, new: str) -> Act:
    """The text of a table changed, past the database."""
    return to_schema(
        "PRAGMA writable_schema=ON",
        f"UPDATE sqlite_master SET sql = replace(sql, '{old}', '{new}') WHERE name = 'finding'",
    )


# -- the log --------------------------------------------------------------------------------------


def to_log(alter: Callable[[bytes, int], bytes | None]) -> Act:
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


def frames_changed(log: bytes, page: int) -> bytes:
    """One bit of a row changed."""
    return log[:-100] + bytes([log[-100] ^ 1]) + log[-99:]


def frames_exchanged(log: bytes, page: int) -> bytes:
    """Two pages in the other order."""
    first, second, *rest = _frames(log, page)
    return log[:32] + second + first + b"".join(rest)


def log_cut(log: bytes, page: int) -> bytes:
    """Up to the last commit but two, so that the later rows are gone and the sums fit."""
    frames = _frames(log, page)
    ends = [n for n, frame in enumerate(frames, 1) if frame[4:8] != bytes(4)]
    return log[:32] + b"".join(frames[: ends[-3]])


def frames_rehashed(log: bytes, page: int) -> bytes:
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


def to_checkpoints(alter: Callable[[list[Path]], object]) -> Act:
    """To the notes that were handed out, oldest first."""
    return lambda folder: void(alter(sorted((folder / "shop" / HANDED_OUT).iterdir())))


def note_edited(paths: list[Path]) -> None:
    """What it is for changed."""
    text = paths[-1].read_text("utf-8")
    paths[-1].write_text(text.replace("\nfor ", "\nfor no ", 1), "utf-8")


def note_forged(paths: list[Path]) -> None:
    """Another one beside it, without a signature."""
    one = note.parse(paths[-1].read_text("utf-8"))
    assert one is not None
    unsigned = note.Checkpoint(one.origin, one.size, bytes(32), one.lines[:2])
    paths[-1].with_name("forged.txt").write_text(unsigned.text, "utf-8")


def note_resigned(paths: list[Path]) -> None:
    """Another root, signed by the record's own key."""
    one = note.parse(paths[-1].read_text("utf-8"))
    signer = Keyring(paths[-1].parents[1] / FOLDER).of_record()
    assert one is not None
    assert signer is not None
    unsigned = note.Checkpoint(one.origin, one.size, bytes(32), one.lines[:2])
    paths[-1].write_text(signer.sign(unsigned).text, "utf-8")


def note_signatures(paths: list[Path]) -> None:
    """One's signature under the other."""
    one, two = (note.parse(path.read_text("utf-8")) for path in paths[:2])
    assert one is not None
    assert two is not None
    paths[0].write_text(one.signed(two.signature).text, "utf-8")


def to_bundle(alter: Callable[[dict[str, bytes]], object]) -> Act:
    """Its members altered, and its tags made anew."""

    def act(folder: Path) -> None:
        path = folder / "bundle.zip"
        with Archive(path) as archive:
            members = {name: archive.read(name, 1 << 30) for name in archive.members}
        alter(members)
        payload = {name: data for name, data in members.items() if name.startswith("data/")}
        whole = {**payload, **tags(payload, "")}
        with path.open("wb") as stream:
            write_archive(stream, whole)

    return act


def rows_exchanged(members: dict[str, bytes]) -> None:
    """Two rows in the other order."""
    for name in ("data/rows.jsonl", "data/places.jsonl"):
        lines = members[name].splitlines(keepends=True)
        lines[1], lines[2] = lines[2], lines[1]
        members[name] = b"".join(lines)


def bundle_anew(folder: Path) -> None:
    """The record written anew with a fault left out, and a bundle of that, signed by its own key."""
    written_anew(
        without(lambda row: row.columns.get("condition") == "cracked")
    )  # rows that hang on it stay
    shop = folder / "shop"
    written_anew(altered("finding", 1, condition="sound"))(shop)
    with Workshop.open(shop, now=ticking()) as opened:
        opened.bundle("1", out=folder / "anew").replace(folder / "bundle.zip")


def swap(table: str, column: str) -> Act:
    """The values of a column exchanged between two rows."""

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


def removed(table: str, where: str) -> tuple[str, ...]:
    """What removes rows with their place in the record."""
    return (
        f"DELETE FROM record WHERE id IN (SELECT id FROM {table} WHERE {where})",
        f"DELETE FROM {table} WHERE {where}",
    )


def replaced(folder: Path, by: str, *, media: bool = True) -> None:
    """Another store in the place of the record; ``media``: with its files."""
    for part in (folder / "shop").glob(f"{FILE}*"):
        part.unlink()
    if media:
        shutil.rmtree(folder / "shop")
        shutil.copytree(folder / by, folder / "shop")
        return
    with Workshop.open(folder / "shop", now=ticking()) as shop:
        shop.add_vehicle("nothing to see")
    shutil.rmtree(folder / "shop" / HANDED_OUT)
