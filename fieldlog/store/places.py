"""Rows of the record as rows: where each lies, what it holds, what it builds on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby

from fieldlog.store.base import Elsewhere, StoredRow
from fieldlog.store.chain import LOCAL, Cell, Place, Row, fingerprint
from fieldlog.store.old_chain import OldPlace
from fieldlog.store.schema import CHAINED, CHILDREN, MEDIA, NUMBERED
from fieldlog.store.sql import MANY, Read, Tables

Children = dict[str, list[Row]]

_PLACE = "SELECT id, kind, owner, writer, n, made_at, turn, hash, parents FROM record "
_AWAY = (
    "SELECT '' AS id, '' AS kind, '' AS owner, e.writer, e.n, e.turn AS made_at, e.turn, e.hash, "
    "e.behind AS parents FROM elsewhere e "
)


def kind_of(connection: Tables, id: str) -> str | None:
    """Kind of the row of the record with that id, or None when there is no such row."""
    row = connection.execute("SELECT kind FROM record WHERE id = ?", (id,)).fetchone()
    return row[0] if row else None


def hash_of_row(connection: Tables, id: str) -> bytes | None:
    """Hash of the row of the record with that id, or None when there is no such row."""
    row = connection.execute("SELECT hash FROM record WHERE id = ?", (id,)).fetchone()
    return row[0] if row else None


def rows_of_owner(connection: Tables, owner: str) -> int:
    """How many rows of the record belong to a vehicle or an inspection."""
    row = connection.execute("SELECT count(*) FROM record WHERE owner = ?", (owner,)).fetchone()
    return int(row[0])


def fingerprints(connection: Tables) -> dict[str, str]:
    """The fingerprint of the rows of every vehicle and inspection (id)."""
    rows = connection.execute(f"SELECT owner, hash FROM record {MANY} ORDER BY owner, hash")
    grouped = groupby(rows, key=lambda row: row["owner"])
    return {owner: fingerprint(row["hash"] for row in of) for owner, of in grouped}


def turn_of(connection: Tables, id: str) -> int:
    """The turn of the row of the record with that id."""
    return int(connection.execute("SELECT turn FROM record WHERE id = ?", (id,)).fetchone()[0])


def is_elsewhere(connection: Tables, hash: bytes) -> bool:
    """Whether something here was written after a row with that hash while it was not here."""
    sql = "SELECT count(*) FROM elsewhere WHERE hash = ?"
    return bool(connection.execute(sql, (hash,)).fetchone()[0])


def parts_of(connection: Tables, prefix: str) -> tuple[str, ...]:
    """Ids of the rows of the record whose id begins with ``prefix`` (ASCII)."""
    after = prefix[:-1] + chr(ord(prefix[-1]) + 1)
    found = connection.execute(
        "SELECT id FROM record WHERE id >= ? AND id < ? ORDER BY id", (prefix, after)
    )
    return tuple(row[0] for row in found)


def number_of(connection: Tables, kind: str, id: str) -> int | None:
    """The number of a row in this store; None for a kind that is not counted."""
    if kind not in NUMBERED:
        return None
    row = connection.execute(f"SELECT local_number FROM {kind} WHERE id = ?", (id,)).fetchone()
    return int(row[0])


def last_of_writer(connection: Tables, writer: str) -> Place | None:
    """The newest row of a writer, or None before its first."""
    sql = f"{_PLACE}WHERE writer = ? ORDER BY n DESC, turn DESC, id LIMIT 1"
    row = connection.execute(sql, (writer,)).fetchone()
    return place_from(row) if row else None


def place_with(connection: Tables, hash: bytes) -> Place | None:
    """The place of the row with that hash, here or elsewhere; None when nothing is known of it."""
    row = connection.execute(f"{_PLACE}WHERE hash = ?", (hash,)).fetchone()
    if row is None:
        sql = f"{_AWAY}WHERE e.hash = ? ORDER BY e.hash, e.behind LIMIT 1"
        row = connection.execute(sql, (hash,)).fetchone()
    return place_from(row) if row else None


def places(connection: Tables) -> Iterator[Place]:
    """The place of every row, by turn: each after the rows it builds on."""
    for row in connection.execute(f"{_PLACE}{MANY} ORDER BY turn, id"):
        yield place_from(row)


def newest_first(connection: Tables, first: int, last: int) -> Iterator[Place]:
    """The place of every row with a turn from ``first`` to ``last``, each before its parents.

    Rows elsewhere are among them, with what they had seen of this record as their parents.
    """
    sql = (
        f"{_PLACE}WHERE turn BETWEEN ?1 AND ?2 UNION ALL {_AWAY}WHERE e.turn BETWEEN ?1 AND ?2 "
        "ORDER BY turn DESC, id DESC, hash"
    )
    for row in connection.execute(sql, (first, last)):
        yield place_from(row)


def elsewhere(connection: Tables) -> tuple[Elsewhere, ...]:
    """Rows that others have and that are known here by their hash."""
    found = connection.execute(
        "SELECT hash, writer, n, turn, behind FROM elsewhere ORDER BY turn, hash, behind"
    )
    return tuple(
        Elsewhere(row["hash"], row["writer"], row["n"], row["turn"], hashes(row["behind"]))
        for row in found
    )


def hashes(joined: bytes) -> tuple[bytes, ...]:
    """Hashes that were kept one behind the other."""
    return tuple(joined[at : at + 32] for at in range(0, len(joined), 32))


def place_from(row: Read) -> Place:
    """The place of a row of ``record``."""
    return Place(
        id=row["id"],
        kind=row["kind"],
        owner=row["owner"],
        writer=row["writer"],
        n=row["n"],
        made_at=row["made_at"],
        turn=row["turn"],
        hash=row["hash"],
        parents=hashes(row["parents"]),
    )


def old_place(connection: Tables, id: str) -> OldPlace | None:
    """Where a row lay before records could merge; None for a row written since."""
    sql = "SELECT n, previous, hash, number FROM old_chain WHERE id = ?"
    row = connection.execute(sql, (id,)).fetchone()
    return OldPlace(*row) if row else None


def content(connection: Tables, kind: str, id: str) -> tuple[dict[str, Cell], Children] | None:
    """A row with its children by table, nothing local in it; None when it is not in its table."""
    if kind not in CHAINED:
        return None
    row = connection.execute(f"SELECT * FROM {kind} WHERE id = ?", (id,)).fetchone()
    if row is None:
        return None
    children: Children = {
        table: [
            dict(child)
            for child in connection.execute(
                f"SELECT * FROM {table} WHERE {owner} = ? ORDER BY rank", (id,)
            )
        ]
        for table, owner in CHILDREN.get(kind, ())
    }
    return content_of(row, children)


def content_of(
    row: Read, children: Mapping[str, Sequence[Row | Read]]
) -> tuple[dict[str, Cell], Children]:
    """A row of a table with its children, without what is local to one store."""
    columns = {key: row[key] for key in row.keys() if not key.startswith(LOCAL)}  # noqa: SIM118
    return columns, {table: [dict(child) for child in rows] for table, rows in children.items()}


def stored_rows(connection: Tables) -> Iterator[StoredRow]:
    """Every row of a record that agrees with itself, each after the rows it builds on."""
    for place in places(connection):
        kept = content(connection, place.kind, place.id)
        if kept is None:
            continue
        columns, children = kept
        named = [columns, *(row for rows in children.values() for row in rows)]
        yield StoredRow(
            place,
            columns,
            children,
            dict(_limit_texts(connection, {row.get("limit_sha256") for row in named})),
            old_place(connection, place.id) if not place.writer else None,
        )


def _limit_texts(connection: Tables, names: set[Cell]) -> Iterator[tuple[str, str]]:
    for name in sorted(str(name) for name in names if name is not None):
        yield connection.execute(
            "SELECT sha256, text FROM limit_text WHERE sha256 = ?", (name,)
        ).fetchone()


def originals(connection: Tables, kinds: Sequence[str] = tuple(MEDIA)) -> tuple[str, ...]:
    """Name of every clip and photo (``kinds``) that the record speaks of, once each, in order."""
    names: set[str] = set()
    for table, column in ((kind, MEDIA[kind]) for kind in kinds):
        sql = f"SELECT DISTINCT {column} FROM {table} WHERE {column} IS NOT NULL ORDER BY {column}"
        names.update(row[0] for row in connection.execute(sql))
    return tuple(sorted(names))
