"""How rows of the record are chained by hash (pure: rows come in, digests go out).

Each vehicle and each inspection is one chain. Row *n* of a chain has::

    hash = SHA-256(previous hash || canonical text)      previous hash of row 0: 32 zero bytes
    canonical text = JSON of {id, kind, chain, n, made_at, row, children}, keys sorted,
                     no spaces, UTF-8, empty (NULL) columns left out

so a chain can be checked without the rest of the store. A second digest ties all rows of
one store in their order of arrival, so that cutting off the end of one chain shows as well::

    link = SHA-256(previous link || hash)

What no chain can show is rows cut off at the very end of the whole store; for that, the record's
fingerprint (the last hash) is printed on every report and can be compared with the store's. Nor can
it show a record that was written anew from its first row.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

ZERO = bytes(32)

Cell = str | int | float | bytes | None
Row = Mapping[str, Cell]

LOCAL_COLUMNS = frozenset({("vehicle", "number"), ("inspection", "number")})
"""``(table, column)`` that count within one store only and so stay outside the hash."""


@dataclass(frozen=True, slots=True)
class Link:
    """One row's place in its chain and in the store."""

    seq: int
    id: str
    kind: str
    chain: str
    n: int
    made_at: str
    hash: bytes
    link: bytes


def canonical(
    *, id: str, kind: str, chain: str, n: int, made_at: str, row: Row, children: Sequence[Row]
) -> bytes:
    """The text that is hashed; raises ``ValueError`` for a number that is not finite."""
    document = {
        "id": id,
        "kind": kind,
        "chain": chain,
        "n": n,
        "made_at": made_at,
        "row": _present(row, kind),
        "children": [_present(child, "") for child in children],
    }
    return json.dumps(
        document, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    ).encode("utf-8")


def _present(row: Row, kind: str) -> dict[str, Cell]:
    return {
        key: value
        for key, value in row.items()
        if value is not None and (kind, key) not in LOCAL_COLUMNS
    }


def digest(previous: bytes, text: bytes) -> bytes:
    """SHA-256 of the previous digest followed by ``text`` (32 bytes)."""
    return hashlib.sha256(previous + text).digest()


@dataclass(frozen=True, slots=True)
class Fault:
    """Something in the record that is not as it was written."""

    where: str
    what: str


def check_chain(
    links: Sequence[Link], contents: Mapping[str, tuple[Row, Sequence[Row]]]
) -> list[Fault]:
    """Faults of one chain: gaps, rows missing or changed. ``contents`` maps a row's id to it.

    After a changed row the check goes on from the hash that was stored, so each change is named
    once rather than condemning everything after it.
    """
    faults: list[Fault] = []
    previous = ZERO
    for expected, link in enumerate(links):
        where = f"{link.kind} {link.id} (row {link.n} of {link.chain})"
        if link.n != expected and (expected == 0 or links[expected - 1].n + 1 != link.n):
            faults.append(Fault(where, "rows before it are missing"))
        content = contents.get(link.id)
        if content is None:
            faults.append(Fault(where, "its content is missing"))
        else:
            row, children = content
            text = canonical(
                id=link.id,
                kind=link.kind,
                chain=link.chain,
                n=link.n,
                made_at=link.made_at,
                row=row,
                children=children,
            )
            if digest(previous, text) != link.hash:
                faults.append(Fault(where, "changed after it was written"))
        previous = link.hash
    return faults


def check_links(links: Sequence[Link], *, previous: bytes = ZERO, first: int = 1) -> list[Fault]:
    """Faults in the order of arrival of the whole store: rows taken out, put in or moved."""
    faults: list[Fault] = []
    expected = first
    for link in links:
        where = f"{link.kind} {link.id} (record {link.seq})"
        if link.seq != expected:
            faults.append(Fault(where, f"records {expected} to {link.seq - 1} are missing"))
        elif digest(previous, link.hash) != link.link:
            faults.append(Fault(where, "not in the order in which it was written"))
        previous, expected = link.link, link.seq + 1
    return faults
