"""Whether the record agrees with itself: the whole of it, or one inspection with its vehicle.

What is looked for: a row changed, taken out, put in or moved; a clip or photo missing or changed; a
record that is empty, whose database was set aside, or that is no longer guarded against change. A
record cut off at its end (with the note of its newest rows), or written anew from its first row with
hashes and all, agrees with itself too: only a fingerprint kept elsewhere (on a printed report) tells.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterable, Iterator, Sequence

from fieldlog.store.chain import BEFORE, Disagreement, Order, Place, fingerprint, hash_of, where
from fieldlog.store.database import set_aside_files
from fieldlog.store.media import MediaFolder
from fieldlog.store.old_chain import old_faults
from fieldlog.store.places import content, old_place, place_with, places
from fieldlog.store.records import Verification
from fieldlog.store.schema import CHAINED, CHILDREN, MEDIA, guards


def verify_store(
    connection: sqlite3.Connection, media: MediaFolder, owners: tuple[str, ...] | None
) -> Verification:
    """Check the rows of ``owners`` (ids; None: all) with clips and photos, and the order of all.

    The ``fingerprint`` of the answer is that of the first owner, or of the whole store.
    """
    faults = [
        f"{path.name}: set aside as damaged; what it holds may be missing from this record"
        for path in set_aside_files(media.folder.parent)
    ]
    faults += _missing_guards(connection)
    order = Order(lambda hash: place_with(connection, hash))
    hashes: dict[str, list[bytes]] = {owner: [] for owner in owners or ()}
    writers: set[str] = set()
    rows = 0
    originals: list[str] = []
    for place in places(connection):
        found = order.step(place)
        if owners is None or place.owner in hashes:
            hashes.setdefault(place.owner, []).append(place.hash)
            found += _row_faults(connection, place, originals)
            writers.add(place.writer)
            rows += 1
        faults += map(str, found)
    for name in originals:
        fault = media.fault(name)
        if fault:
            faults.append(f"{name}: {fault}")
    faults += [f"{owner}: no row of it is in the record" for owner, of in hashes.items() if not of]
    faults += _stray_rows(connection, owners)
    faults += _limit_texts(connection)
    faults += _newest(connection, order.heads)
    if not order.heads:
        faults.append("the record holds no rows: there is nothing to check")
    return Verification(
        len(writers),
        rows,
        len(originals),
        fingerprint(hashes[owners[0]] if owners else order.heads),
        _earlier(connection, owners[0] if owners else None),
        tuple(faults),
    )


def _row_faults(
    connection: sqlite3.Connection, place: Place, originals: list[str]
) -> Sequence[Disagreement]:
    """What does not agree in one row; the originals it names are added to ``originals``."""
    kept = content(connection, place.kind, place.id)
    if kept is None:
        return [Disagreement(where(place), "its content is missing")]
    columns, below = kept
    original = columns.get(MEDIA.get(place.kind, ""))
    if isinstance(original, str):
        originals.append(original)
    children = [row for rows in below.values() for row in rows]
    if place.writer:
        same = hash_of(place, columns, children) == place.hash
        return [] if same else [Disagreement(where(place), "changed after it was written")]
    old = old_place(connection, place.id)
    if old is None:
        return [Disagreement(where(place), "its place in the old chain is missing")]
    return old_faults(place, old, columns, children)


def _newest(connection: sqlite3.Connection, heads: frozenset[bytes]) -> list[str]:
    """Rows cut off the end: the store noted its newest rows, and others are the newest now."""
    noted = {row[0] for row in connection.execute("SELECT hash FROM local_head ORDER BY hash")}
    if noted == heads:
        return []
    return ["the newest rows are not those that were noted: rows after them are missing or put in"]


def _earlier(connection: sqlite3.Connection, owner: str | None) -> str:
    """What was printed as the fingerprint of the last row before records could merge."""
    if owner is None:
        sql = "SELECT hash FROM record WHERE writer = ? ORDER BY n DESC, id LIMIT 1"
    else:
        sql = (
            "SELECT o.hash FROM old_chain o JOIN record r ON r.id = o.id WHERE r.owner = ? "
            "ORDER BY o.n DESC, o.id LIMIT 1"
        )
    row = connection.execute(sql, (BEFORE if owner is None else owner,)).fetchone()
    return row[0].hex() if row else ""


def _stray_rows(connection: sqlite3.Connection, owners: tuple[str, ...] | None) -> list[str]:
    """Rows put in beside the record: in the whole store (None), or of ``owners``."""
    strays = []
    for table in CHAINED:
        for column, owner in _owned(connection, table, owners):
            found = connection.execute(
                f"SELECT t.id FROM {table} t LEFT JOIN record r ON r.id = t.id "
                f"WHERE (r.id IS NULL OR r.kind != ?) AND t.{column} = ? ORDER BY t.id"
                if column
                else f"SELECT t.id FROM {table} t LEFT JOIN record r ON r.id = t.id "
                "WHERE r.id IS NULL OR r.kind != ? ORDER BY t.id",
                (table, owner) if column else (table,),
            )
            strays += _named(table, found)
    if owners is None:
        for parent, below in CHILDREN.items():
            for table, column in below:
                strays += _named(
                    table,
                    connection.execute(
                        f"SELECT DISTINCT t.{column} AS id FROM {table} t "
                        f"LEFT JOIN {parent} p ON p.id = t.{column} WHERE p.id IS NULL ORDER BY id"
                    ),
                )
        strays += _named(
            "old_chain",
            connection.execute(
                "SELECT o.id FROM old_chain o LEFT JOIN record r ON r.id = o.id "
                "WHERE r.id IS NULL OR r.writer != '' ORDER BY o.id"
            ),
        )
    return sorted(set(strays))


def _owned(
    connection: sqlite3.Connection, table: str, owners: tuple[str, ...] | None
) -> Iterator[tuple[str, str]]:
    """By which column, and for whom, a table is looked through; one pair of nothing: all of it."""
    if owners is None:
        yield "", ""
        return
    columns = {row[1] for row in connection.execute(f"PRAGMA table_info({table})")}
    for column in [c for c in ("inspection_id", "vehicle_id") if c in columns] or ["id"]:
        yield from ((column, owner) for owner in owners)


def _named(table: str, rows: Iterable[sqlite3.Row]) -> list[str]:
    return [f"{table} {row[0]}: put in beside the record" for row in rows]


def _missing_guards(connection: sqlite3.Connection) -> list[str]:
    """Triggers that refuse change and are gone, or refuse no more."""
    there = dict(
        connection.execute(
            "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' ORDER BY name"
        ).fetchall()
    )
    return [
        f"trigger {name}: gone or changed; the database no longer refuses such a change"
        for name, statement in sorted(guards().items())
        if there.get(name) != statement
    ]


def _limit_texts(connection: sqlite3.Connection) -> list[str]:
    """Limit texts that no longer agree with their hash, or that a row names and that are gone."""
    changed = [
        f"limit text {sha256[:12]}: changed after it was written"
        for sha256, text in connection.execute(
            "SELECT sha256, text FROM limit_text ORDER BY sha256"
        )
        if hashlib.sha256(text.encode("utf-8")).hexdigest() != sha256
    ]
    gone = connection.execute(
        "SELECT DISTINCT n.sha256 FROM (SELECT limit_sha256 AS sha256 FROM judgement "
        "UNION SELECT limit_sha256 FROM vehicle_limit) n "
        "LEFT JOIN limit_text t ON t.sha256 = n.sha256 "
        "WHERE n.sha256 IS NOT NULL AND t.sha256 IS NULL ORDER BY n.sha256"
    )
    return [*changed, *(f"limit text {row[0][:12]}: its content is missing" for row in gone)]
