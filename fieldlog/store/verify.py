"""Checking the whole record, or one inspection with its vehicle, against its hashes."""

from __future__ import annotations

import hashlib
import sqlite3

from fieldlog.store.chain import Link, Row, check_chain, check_links
from fieldlog.store.media import MediaFolder
from fieldlog.store.migrations import CHAINED, CHILDREN
from fieldlog.store.records import Verification


def verify_store(
    connection: sqlite3.Connection, media: MediaFolder, chains: tuple[str, ...] | None
) -> Verification:
    """Check ``chains`` (ids; None: all, and their order of arrival) with clips and photos.

    The ``fingerprint`` of the answer is that of the first chain named, or of the whole store.
    """
    faults: list[str] = []
    rows = checked_media = 0
    names = chains or tuple(
        row[0] for row in connection.execute("SELECT DISTINCT chain FROM record ORDER BY chain")
    )
    fingerprint = ""
    for position, name in enumerate(names):
        links = _links(connection, "WHERE chain = ? ORDER BY n", name)
        contents = {link.id: content for link in links if (content := _content(connection, link))}
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
    faults += _stray_rows(connection, names)
    faults += _limit_texts(connection)
    if chains is None:
        every = _links(connection, "ORDER BY seq")
        faults += [f"{fault.where}: {fault.what}" for fault in check_links(every)]
        fingerprint = every[-1].link.hex() if every else ""
    return Verification(len(names), rows, checked_media, fingerprint, tuple(faults))


def _links(connection: sqlite3.Connection, clause: str, *values: object) -> list[Link]:
    sql = f"SELECT seq, id, kind, chain, n, made_at, hash, link FROM record {clause}"
    return [Link(*row) for row in connection.execute(sql, values)]


def _content(connection: sqlite3.Connection, link: Link) -> tuple[Row, list[Row]] | None:
    if link.kind not in CHAINED:
        return None
    row = connection.execute(f"SELECT * FROM {link.kind} WHERE id = ?", (link.id,)).fetchone()
    if row is None:
        return None
    children: list[Row] = [
        dict(child)
        for table, owner in CHILDREN.get(link.kind, ())
        for child in connection.execute(
            f"SELECT * FROM {table} WHERE {owner} = ? ORDER BY rank", (link.id,)
        )
    ]
    return dict(row), children


def _stray_rows(connection: sqlite3.Connection, chains: tuple[str, ...]) -> list[str]:
    """Rows put in beside the chain: they have an owner but no place in the record."""
    strays = []
    for table in CHAINED:
        columns = {row[1] for row in connection.execute(f"PRAGMA table_info({table})")}
        owners = [c for c in ("inspection_id", "vehicle_id") if c in columns] or ["id"]
        for owner in owners:
            for name in chains:
                sql = (
                    f"SELECT t.id FROM {table} t LEFT JOIN record r ON r.id = t.id "
                    f"WHERE t.{owner} = ? AND (r.id IS NULL OR r.kind != ?)"
                )
                strays += [
                    f"{table} {row[0]}: put in beside the record"
                    for row in connection.execute(sql, (name, table))
                ]
    return sorted(set(strays))


def _limit_texts(connection: sqlite3.Connection) -> list[str]:
    """Limit texts that no longer agree with their hash."""
    return [
        f"limit text {sha256[:12]}: changed after it was written"
        for sha256, text in connection.execute("SELECT sha256, text FROM limit_text")
        if hashlib.sha256(text.encode("utf-8")).hexdigest() != sha256
    ]
