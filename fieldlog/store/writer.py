"""One write transaction: rows go into their tables and onto their writer's chain, or nowhere."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from functools import lru_cache

from fieldlog.errors import ChangedError, StoreError, UsageError
from fieldlog.store import places, queries, word_index
from fieldlog.store.base import AsSeen, Elsewhere, NewRow, Stored, StoredRow, Taken
from fieldlog.store.chain import Cell, Place, Row, hash_of, next_turn, parts_of_row, present
from fieldlog.store.ids import part_id
from fieldlog.store.old_chain import OldPlace
from fieldlog.store.rows import instant_us
from fieldlog.store.schema import NUMBERED
from fieldlog.store.sql import Tables

Heads = dict[bytes, int]
"""Hash -> turn of the rows that no other one has as a parent."""


def append(
    connection: Tables,
    writer: str,
    rows: Sequence[NewRow],
    now: datetime,
    seen: AsSeen | None = None,
) -> tuple[Stored, ...]:
    """Add ``rows`` as ``writer``, within an open transaction (see ``base.Store.append``)."""
    if places.kind_of(connection, rows[0].id) is not None:
        _expect_same(connection, rows)
        return tuple(Stored(row.id, places.number_of(connection, row.kind, row.id)) for row in rows)
    if seen is not None and places.rows_of_owner(connection, seen.owner) != seen.rows:
        raise ChangedError("the record has changed meanwhile", todo="look at it again")
    chain = _Chain(connection, writer, instant_us(now))
    kept = tuple(_add(connection, chain, row) for row in rows)
    chain.close()
    return kept


def take(
    connection: Tables, rows: Iterable[StoredRow], elsewhere: Sequence[Elsewhere] = ()
) -> Taken:
    """Add what is not here, within an open transaction (see ``base.Store.take``)."""
    heads = _heads(connection)
    taken, owners = 0, set()
    for each in elsewhere:
        heads.pop(each.hash, None)
        away = (each.hash, each.writer, each.n, each.turn, b"".join(sorted(each.behind)))
        connection.execute(
            "INSERT INTO elsewhere (hash, writer, n, turn, behind) VALUES (?, ?, ?, ?, ?) "
            "ON CONFLICT DO NOTHING",
            away,
        )
    for row in rows:
        place = row.place
        here = places.hash_of_row(connection, place.id)
        if here is not None:
            if here != place.hash:
                raise StoreError(
                    f"{place.kind} {place.id} is in both records and is not the same in both",
                    todo="check both with `fieldlog inspection verify`",
                )
            if places.turn_of(connection, place.id) != place.turn:
                raise StoreError(
                    f"{place.kind} {place.id} is in both records and not in the same order in both",
                    todo="check both with `fieldlog inspection verify`",
                )
            continue
        _keep_limits(connection, row.limits)
        number = _next_number(connection, place.kind, place.owner)
        _insert_row(connection, place, row.old, {**row.columns, **number}, row.children)
        for parent in place.parents:
            heads.pop(parent, None)
        if not places.is_elsewhere(connection, place.hash):  # else something here came after it
            heads[place.hash] = place.turn
        taken += 1
        owners.add(place.owner)
    _set_heads(connection, heads)
    return Taken(taken, frozenset(owners))


class _Chain:
    """The chain of one writer while it is being added to: each row is the parent of the next."""

    def __init__(self, connection: Tables, writer: str, made_at: int) -> None:
        self._connection, self._writer, self._made_at = connection, writer, made_at
        self._parents = _heads(connection)
        last = places.last_of_writer(connection, writer)
        self._n = 0
        if last is not None:
            self._n = last.n + 1
            self._parents[last.hash] = last.turn
        self._grown = False

    def place(self, new: NewRow, stored: Row, children: Sequence[Row]) -> Place:
        """The place of the next row; it is the newest of the record now."""
        place = Place(
            id=new.id,
            kind=new.kind,
            owner=new.owner,
            writer=self._writer,
            n=self._n,
            made_at=self._made_at,
            turn=next_turn(self._made_at, self._parents.values()),
            hash=b"",
            parents=tuple(sorted(self._parents)),
        )
        place = replace(place, hash=hash_of(place, stored, children))
        self._n += 1
        self._grown = True
        self._parents = {place.hash: place.turn}
        return place

    def close(self) -> None:
        """Note which row is the newest."""
        if self._grown:
            _set_heads(self._connection, self._parents)


def _add(connection: Tables, chain: _Chain, new: NewRow) -> Stored:
    if new.kind == "photo":
        known = queries.photo_id(connection, new.owner, str(new.columns["media"]))
        if known is not None:
            return Stored(known)
    _check(connection, new)
    _keep_limits(connection, new.limits)
    number = _next_number(connection, new.kind, new.owner)
    stored = _storable({"id": new.id, **new.columns, **number})
    children = {table: [_storable(row) for row in rows] for table, rows in new.children.items()}
    place = chain.place(new, stored, parts_of_row(children))
    _insert_row(connection, place, None, stored, children)
    return Stored(new.id, number.get("local_number"))


def _check(connection: Tables, new: NewRow) -> None:
    """Raise ``UsageError`` for what the record never takes, whoever sends it."""
    if new.kind not in {"correction", "verdict"}:
        return
    finding_id = str(new.columns["finding_id"])
    owner = queries.inspection_of_finding(connection, finding_id)
    if owner is None:
        raise UsageError(f"there is no finding {finding_id}")
    if owner != new.owner:
        raise UsageError(f"finding {finding_id} belongs to another inspection")
    if new.kind == "correction" and queries.is_fallen(connection, owner, finding_id):
        raise UsageError(
            f"finding {finding_id} was already corrected or withdrawn",
            todo="correct the finding that replaced it",
        )


def _expect_same(connection: Tables, rows: Sequence[NewRow]) -> None:
    whole = rows[0].id
    there = {whole, *places.parts_of(connection, part_id(whole, ""))}
    if {row.id for row in rows} != there or not all(_is_kept(connection, row) for row in rows):
        raise StoreError(
            f"{rows[0].kind} {whole} is in the record already, with other content",
            todo="give what is new an id of its own",
        )


def _is_kept(connection: Tables, new: NewRow) -> bool:
    kept = places.content(connection, new.kind, new.id)
    if kept is None:
        return False
    columns, children = kept
    mine = [{"id": new.id, **new.columns}, *(row for rows in new.children.values() for row in rows)]
    theirs = [columns, *(row for rows in children.values() for row in rows)]
    return [present(_storable(row)) for row in mine] == [present(row) for row in theirs]


def _next_number(connection: Tables, kind: str, owner: str) -> dict[str, int]:
    """The next free number of a kind that is counted, in this store or within its inspection."""
    if kind not in NUMBERED:
        return {}
    within = NUMBERED[kind]
    where, values = ("", ()) if within is None else (f" WHERE {within} = ?", (owner,))
    sql = f"SELECT coalesce(max(local_number), 0) + 1 FROM {kind}{where}"
    return {"local_number": int(connection.execute(sql, values).fetchone()[0])}


def _keep_limits(connection: Tables, limits: Mapping[str, str]) -> None:
    for pair in limits.items():
        connection.execute(
            "INSERT INTO limit_text (sha256, text) VALUES (?, ?) ON CONFLICT DO NOTHING", pair
        )


def _heads(connection: Tables) -> Heads:
    rows = connection.execute("SELECT hash, turn FROM local_head ORDER BY hash")
    return {row[0]: row[1] for row in rows}


def _set_heads(connection: Tables, heads: Heads) -> None:
    connection.execute("DELETE FROM local_head")
    for pair in heads.items():
        connection.execute("INSERT INTO local_head (hash, turn) VALUES (?, ?)", pair)


def _insert_row(
    connection: Tables,
    place: Place,
    old: OldPlace | None,
    columns: Row,
    children: Mapping[str, Sequence[Row]],
) -> None:
    _insert(
        connection,
        "record",
        {
            "id": place.id,
            "kind": place.kind,
            "owner": place.owner,
            "writer": place.writer,
            "n": place.n,
            "made_at": place.made_at,
            "turn": place.turn,
            "hash": place.hash,
            "parents": b"".join(place.parents),
        },
    )
    if old is not None:
        chained: Row = {
            "n": old.n,
            "previous": old.previous,
            "hash": old.hash,
            "number": old.number,
        }
        _insert(connection, "old_chain", {"id": place.id, **chained})
    _insert(connection, place.kind, columns)
    for table, rows in children.items():
        for child in rows:
            _insert(connection, table, child)
    if place.kind == "finding":
        word_index.add_finding(connection, place.id)
    if place.kind == "verdict":
        word_index.judged(connection, str(columns["finding_id"]))


def _insert(connection: Tables, table: str, row: Row) -> None:
    connection.execute(_insert_sql(table, tuple(row)), tuple(row.values()))


@lru_cache(maxsize=256)
def _insert_sql(table: str, columns: tuple[str, ...]) -> str:
    named = ", ".join(f'"{column}"' for column in columns)  # "offset" is a word of SQL
    places = ", ".join("?" * len(columns))
    return f"INSERT INTO {table} ({named}) VALUES ({places})"


def _storable(row: Row) -> dict[str, Cell]:
    """``row`` as it will be read back, so that its hash holds.

    SQLite keeps no -0.0 in the way it is hashed, no text can hold half of a surrogate pair (a
    file name that is not UTF-8), and not every engine keeps a NUL in one: those become ``0.0`` and
    escapes such as ``\\udc80`` and ``\\x00``.
    """
    return {column: _cell(value) for column, value in row.items()}


def _cell(value: Cell) -> Cell:
    if isinstance(value, float):
        return value + 0.0  # -0.0 + 0.0 is 0.0
    if isinstance(value, str):
        if not value.isascii():
            value = value.encode("utf-8", "backslashreplace").decode("utf-8")
        if "\0" in value:
            value = value.replace("\0", "\\x00")
    return value
