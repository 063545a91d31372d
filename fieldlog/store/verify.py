"""Whether the record agrees with itself: the whole of it, or one inspection with its vehicle.

What is looked for: a row changed, taken out, put in or moved; a clip or photo missing or changed; a
record that is empty, whose database was set aside, or that is no longer guarded against change. A
record cut off at its end, or written anew from its first row with hashes and all, agrees with itself
too: only a fingerprint kept elsewhere (on a printed report) tells.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterable

from fieldlog.store import queries
from fieldlog.store.chain import Link, check_chain, check_links
from fieldlog.store.database import set_aside_files
from fieldlog.store.media import MediaFolder
from fieldlog.store.migrations import CHAINED, CHILDREN, guards
from fieldlog.store.records import Verification


def verify_store(
    connection: sqlite3.Connection, media: MediaFolder, chains: tuple[str, ...] | None
) -> Verification:
    """Check ``chains`` (ids; None: all, and their order of arrival) with clips and photos.

    The ``fingerprint`` of the answer is that of the first chain named, or of the whole store.
    """
    faults = [
        f"{path.name}: set aside as damaged; what it holds may be missing from this record"
        for path in set_aside_files(media.folder.parent)
    ]
    faults += _missing_guards(connection)
    rows = checked_media = 0
    names = chains or tuple(
        row[0] for row in connection.execute("SELECT DISTINCT chain FROM record ORDER BY chain")
    )
    fingerprint = ""
    for position, name in enumerate(names):
        links = _links(connection, "WHERE chain = ? ORDER BY n", name)
        if not links:
            faults.append(f"chain {name}: no row of it is in the record")
        contents = {
            link.id: content
            for link in links
            if (content := queries.content(connection, link.kind, link.id))
        }
        found = check_chain(links, contents)
        faults += [f"{fault.where}: {fault.what}" for fault in found]
        rows += len(links)
        if position == 0 and links:
            fingerprint = links[-1].hash.hex()
        for row, _ in contents.values():
            for column in ("clip", "media"):
                kept = row.get(column)
                if isinstance(kept, str):
                    checked_media += 1
                    fault = media.fault(kept)
                    if fault:
                        faults.append(f"{kept}: {fault}")
    faults += _stray_rows(connection, chains)
    faults += _limit_texts(connection)
    if chains is None:
        if not rows:
            faults.append("the record holds no rows: there is nothing to check")
        every = _links(connection, "ORDER BY seq")
        faults += [f"{fault.where}: {fault.what}" for fault in check_links(every)]
        fingerprint = every[-1].link.hex() if every else ""
    return Verification(len(names), rows, checked_media, fingerprint, tuple(faults))


def _links(connection: sqlite3.Connection, clause: str, *values: object) -> list[Link]:
    sql = f"SELECT seq, id, kind, chain, n, made_at, hash, link FROM record {clause}"
    return [Link(*row) for row in connection.execute(sql, values)]


def _stray_rows(connection: sqlite3.Connection, chains: tuple[str, ...] | None) -> list[str]:
    """Rows put in beside the chain: of the whole store (None), or those that ``chains`` own."""
    strays = []
    for table in CHAINED:
        sql = (
            f"SELECT t.id FROM {table} t LEFT JOIN record r ON r.id = t.id "
            "WHERE (r.id IS NULL OR r.kind != ?)"
        )
        if chains is None:
            strays += _named(table, connection.execute(sql, (table,)))
            continue
        columns = {row[1] for row in connection.execute(f"PRAGMA table_info({table})")}
        for owner in [c for c in ("inspection_id", "vehicle_id") if c in columns] or ["id"]:
            for name in chains:
                found = connection.execute(f"{sql} AND t.{owner} = ?", (table, name))
                strays += _named(table, found)
    if chains is None:
        for parent, below in CHILDREN.items():
            for table, owner in below:
                strays += _named(
                    table,
                    connection.execute(
                        f"SELECT DISTINCT t.{owner} FROM {table} t "
                        f"LEFT JOIN {parent} p ON p.id = t.{owner} WHERE p.id IS NULL"
                    ),
                )
    return sorted(set(strays))


def _named(table: str, rows: Iterable[sqlite3.Row]) -> list[str]:
    return [f"{table} {row[0]}: put in beside the record" for row in rows]


def _missing_guards(connection: sqlite3.Connection) -> list[str]:
    """Triggers that refuse change and are gone, or refuse no more."""
    there = dict(
        connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    )
    return [
        f"trigger {name}: gone or changed; the database no longer refuses such a change"
        for name, statement in sorted(guards().items())
        if there.get(name) != statement
    ]


def _limit_texts(connection: sqlite3.Connection) -> list[str]:
    """Limit texts that no longer agree with their hash."""
    return [
        f"limit text {sha256[:12]}: changed after it was written"
        for sha256, text in connection.execute("SELECT sha256, text FROM limit_text")
        if hashlib.sha256(text.encode("utf-8")).hexdigest() != sha256
    ]
