"""Whether the record agrees with itself: the whole of it, or one inspection with its vehicle.

One fault does not hide the next. Of the whole record everything is read from the tables themselves, past
their indexes. What is looked for: a row changed, taken out, put in or moved; a table row without its row of
the record; a clip or photo missing or changed; numbers that were not given so; a record that is empty, whose
database was set aside, whose pages, log, tables or triggers are not as fieldlog makes them.

One inspection among a million findings is to be checked in seconds: its rows and those of its vehicle are
found by the indexes and checked in full, and the chains of all writers are followed from the first of them to
the newest row, link by link, so that a row taken out behind it leaves a gap. The content of other rows, what
came before, pages and indexes are not gone through: ``Verification.unread`` counts those rows.

A record cut off at its end (with the note of its newest rows), or written anew from its first row with
hashes and all, agrees with itself too: only what somebody else holds tells (``checkpoints``).
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from typing import Any

from fieldlog.store import word_index
from fieldlog.store.base import Verification
from fieldlog.store.chain import (
    BEFORE,
    Disagreement,
    Order,
    Place,
    fingerprint,
    hash_of,
    parts_of_row,
    where,
)
from fieldlog.store.media import MediaFolder
from fieldlog.store.old_chain import old_faults
from fieldlog.store.places import content_of, old_place, place_from, place_with
from fieldlog.store.schema import CHAINED, CHILDREN, MEDIA, NUMBERED, TABLES
from fieldlog.store.sql import MANY, Read, Tables

Owners = tuple[str, ...] | None
_ROW = "writer, n, made_at, turn, hash, parents, id, kind, owner"
_NOT_NOTED = "the newest rows are not those that were noted: rows after them are missing or put in"


def verify_store(
    connection: Tables, media: MediaFolder, owners: Owners, form: Sequence[str] = ()
) -> Verification:
    """Check the rows of ``owners`` (ids; None: all) with clips and photos, and the order of all.

    ``form``: what the engine found wrong with the database itself. The ``fingerprint`` of the answer is
    that of the first owner, or of the whole store.
    """
    check = _Check(connection, media, owners)
    check.faults += form
    return check.result()


class _Check:
    def __init__(self, connection: Tables, media: MediaFolder, owners: Owners) -> None:
        self.connection, self.media, self.owners = connection, media, owners
        self.faults: list[str] = []
        self.hashes: dict[str, list[bytes]] = {owner: [] for owner in owners or ()}
        self.writers: set[str] = set()
        self.originals: set[str] = set()
        self.rows = self.linked = 0
        self.past = "NOT INDEXED" if owners is None else ""

    def result(self) -> Verification:
        heads, away = self._order() if self.owners is None else self._own_order()
        for kind in CHAINED:
            self._tried(f"table {kind}", lambda kind=kind: self._kind(kind))
        self._tried("record", self._unknown_kinds)
        for name in sorted(self.originals):
            fault = self.media.fault(name)
            if fault:
                self.faults.append(f"{name}: {fault}")
        for owner, of in self.hashes.items():
            if not of:
                self.faults.append(f"{owner}: no row of it is in the record")
        self._tried("old_chain", self._stray_old)
        self._tried("local numbers", self._numbers)
        self._tried("limit_text", self._limit_texts)
        if self.owners is None:
            self._tried("search", lambda: self.faults.extend(word_index.faults(self.connection)))
        if not self.rows and self.owners is None:
            self.faults.append("the record holds no rows: there is nothing to check")
        return Verification(
            len(self.writers),
            self.rows,
            len(self.originals),
            fingerprint(self.hashes[self.owners[0]] if self.owners else heads),
            self._earlier(),
            tuple(dict.fromkeys(self.faults)),
            away,
            self.linked,
            0 if self.owners is None else self._unread(),
        )

    def _tried(self, what: str, step: Any) -> None:
        """Go on with the next where the pages of one table cannot be read."""
        try:
            step()
        except (sqlite3.DatabaseError, ValueError, TypeError, OverflowError) as error:
            self.faults.append(f"{what}: cannot be read to its end ({error})")

    # -- the order of all rows --------------------------------------------------------------------

    def _order(self) -> tuple[frozenset[bytes], int]:
        """Hashes of the newest rows, and how many rows are known by their hash alone."""
        order = Order(lambda hash: place_with(self.connection, hash))
        away: set[bytes] = set()

        def step() -> None:
            rows = self.connection.execute(
                f"{MANY}SELECT {_ROW} FROM record NOT INDEXED ORDER BY turn, id"
            )
            self._in_order(order, rows)

        self._tried("record", step)
        self._tried("elsewhere", lambda: away.update(self._away(order.heads)))
        noted: set[bytes] = set()
        self._tried("local_head", lambda: noted.update(self._noted()))
        if noted != order.heads:
            self.faults.append(_NOT_NOTED)
        return order.heads, len(away)

    def _own_order(self) -> tuple[frozenset[bytes], int]:
        """The same from the first row of ``owners`` on: a row taken out behind it leaves a gap."""
        away: set[bytes] = set()
        order = Order(lambda hash: place_with(self.connection, hash))

        def step() -> None:
            begin = self.connection.execute(
                f"SELECT min(turn) FROM record WHERE {self._only('owner')}", self.owners or ()
            ).fetchone()[0]
            rows = self.connection.execute(
                f"{MANY}SELECT {_ROW} FROM record WHERE turn >= ? ORDER BY turn, id", (begin,)
            )
            self.linked = self._in_order(order, rows)

        self._tried("record", step)
        self._tried("elsewhere", lambda: away.update(self._away(order.heads)))
        self._tried("local_head", lambda: self._noted_fit(order.heads))
        return order.heads, len(away)

    def _in_order(self, order: Order, rows: Iterable[Read]) -> int:
        count = 0
        for row in rows:
            count += 1
            if not order.follows(row[0], row[1], row[2], row[3], row[4], row[5]):
                self.faults += map(str, order.step(place_from(row)))
        return count

    def _noted_fit(self, heads: frozenset[bytes]) -> None:
        """The newest rows are among the noted; what is noted besides is here and older."""
        noted = frozenset(self._noted())
        older = [place_with(self.connection, each) for each in noted - heads]
        if not heads <= noted or not all(one and one.id for one in older):
            self.faults.append(_NOT_NOTED)

    def _unread(self) -> int:
        """Rows of the record whose content was not read."""
        row = self.connection.execute("SELECT count(*) FROM record").fetchone()
        return int(row[0]) - self.rows

    def _noted(self) -> list[bytes]:
        return [
            row[0] for row in self.connection.execute("SELECT hash FROM local_head ORDER BY hash")
        ]

    def _away(self, heads: frozenset[bytes]) -> Iterator[bytes]:
        """Hashes of rows that others have; what this copy wrote itself is never among them."""
        own = self.connection.execute(
            "SELECT coalesce(value, '') FROM local_state WHERE key = 'writer' ORDER BY key"
        ).fetchone()
        for row in self.connection.execute(
            "SELECT e.hash, e.writer, r.id FROM elsewhere e LEFT JOIN record r ON r.hash = e.hash "
            "ORDER BY e.hash, e.behind"
        ).fetchall():
            name = f"elsewhere {row[0].hex()[:12]}"
            if row[0] in heads:
                self.faults.append(f"{name}: nothing here was written after it: put in")
            if row[2] is not None:
                continue
            if own is not None and row[1] == own[0]:
                self.faults.append(f"{name}: this copy wrote it itself, and it is missing")
            yield row[0]

    # -- the rows themselves ----------------------------------------------------------------------

    def _kind(self, kind: str) -> None:
        """Every row of the record of one kind beside every row of its table, both in order of id."""
        below = CHILDREN.get(kind, ())
        streams = [
            _grouped(self._records(kind), "id"),
            _grouped(self._table(kind), "id"),
            *(_grouped(self._children(child, parent), parent) for child, parent in below),
        ]
        for name, (places, rows, *parts) in _side_by_side(streams):
            children = {child: part for (child, _), part in zip(below, parts, strict=True)}
            if not places and not rows:
                strays = [child for child in children if children[child]]
                self.faults += [f"{child} {name}: put in beside the record" for child in strays]
                continue
            if len(rows) > 1 or len(places) > 1:
                self.faults.append(f"{kind} {name}: is there more than once")
            if not places and self.owners is not None and self._is_anothers(kind, name):
                continue
            if not places:
                self.faults.append(f"{kind} {name}: put in beside the record")
                continue
            self._row(place_from(places[0]), rows[0] if rows else None, children)

    def _row(self, place: Place, row: Any, children: dict[str, list[Any]]) -> None:
        self.rows += 1
        self.writers.add(place.writer)
        self.hashes.setdefault(place.owner, []).append(place.hash)
        try:
            found = self._row_faults(place, row, children)
        except (ValueError, TypeError, OverflowError) as error:
            found = [Disagreement(where(place), f"cannot be read ({error})")]
        self.faults += map(str, found)

    def _row_faults(
        self, place: Place, row: Any, children: dict[str, list[Any]]
    ) -> Sequence[Disagreement]:
        if row is None:
            return [Disagreement(where(place), "its content is missing")]
        columns, below = content_of(row, children)
        original = columns.get(MEDIA.get(place.kind, ""))
        if isinstance(original, str):
            self.originals.add(original)
        parts = parts_of_row(below)
        if place.writer:
            same = hash_of(place, columns, parts) == place.hash
            return [] if same else [Disagreement(where(place), "changed after it was written")]
        old = old_place(self.connection, place.id)
        if old is None:
            return [Disagreement(where(place), "its place in the old chain is missing")]
        return old_faults(place, old, columns, parts)

    def _is_anothers(self, kind: str, id: str) -> bool:
        """Whether it belongs to another vehicle or inspection; told where its content says it does not."""
        row = self.connection.execute(
            f"SELECT {_ROW} FROM record WHERE id = ? AND kind = ? ORDER BY id", (id, kind)
        ).fetchone()
        if row is None or row["owner"] in (self.owners or ()):
            return False
        # The vehicle's other inspections name it and are their own; whatever else names it is of it.
        if kind != "inspection" or id in (self.owners or ()):
            self.faults.append(f"{where(place_from(row))}: changed after it was written")
        return True

    def _records(self, kind: str) -> Iterable[Read]:
        only = self._only("owner")
        return self.connection.execute(
            "SELECT id, kind, owner, writer, n, made_at, turn, hash, parents "
            f"FROM record {self.past} WHERE kind = ? AND {only} ORDER BY id",
            (kind, *(self.owners or ())),
        )

    def _table(self, kind: str) -> Iterable[Read]:
        named = [c for c in ("inspection_id", "vehicle_id") if f" {c} TEXT" in TABLES[kind]] or [
            "id"
        ]
        # A row of the record may say that a row is of these; so may the row itself.
        only = " OR ".join([self._of_record("id"), *map(self._only, named)])
        return self.connection.execute(
            f"SELECT * FROM {kind} {self.past} WHERE {only} ORDER BY id",
            (self.owners or ()) * (1 + len(named)),
        )

    def _children(self, child: str, parent: str) -> Iterable[Read]:
        return self.connection.execute(
            f"SELECT * FROM {child} {self.past} WHERE {self._of_record(parent)} "
            f"ORDER BY {parent}, rank",
            self.owners or (),
        )

    def _only(self, column: str) -> str:
        return "1 = 1" if self.owners is None else f"{column} IN ({_marks(self.owners)})"

    def _of_record(self, column: str) -> str:
        if self.owners is None:
            return "1 = 1"
        return f"{column} IN (SELECT id FROM record WHERE owner IN ({_marks(self.owners)}))"

    def _unknown_kinds(self) -> None:
        known = ", ".join("?" * len(CHAINED))
        for row in self.connection.execute(
            f"SELECT id, kind FROM record {self.past} WHERE {self._only('owner')} "
            f"AND kind NOT IN ({known}) ORDER BY id",
            ((self.owners or ()) + CHAINED),
        ):
            self.faults.append(
                f"record {row[0]}: there is no kind {row[1]!r}: its content is missing"
            )

    def _stray_old(self) -> None:
        if self.owners is None:
            self.faults += [
                f"old_chain {row[0]}: put in beside the record"
                for row in self.connection.execute(
                    "SELECT o.id FROM old_chain o LEFT JOIN record r ON r.id = o.id "
                    "WHERE r.id IS NULL OR r.writer != '' ORDER BY o.id"
                )
            ]

    def _numbers(self) -> None:
        """Numbers are given 1, 2, 3 as rows arrive; no hash holds them, for they are this store's own."""
        for kind, within in NUMBERED.items():
            group = f"t.{within}" if within else "''"
            # Of one inspection: its own utterances and findings, and every vehicle and inspection (few).
            only = self._only(f"t.{within}") if within else "1 = 1"
            rows = self.connection.execute(
                f"SELECT {group} AS of, t.id AS id, t.local_number AS number, r.owner AS owner "
                f"FROM {kind} t {self.past} JOIN record r ON r.id = t.id WHERE {only} "
                "ORDER BY of, r.rowid, t.id",
                (self.owners or ()) if within else (),
            )
            for _, members in groupby(rows, key=lambda row: row["of"]):
                for wanted, row in enumerate(members, 1):
                    if row["number"] != wanted and (
                        self.owners is None or row["owner"] in self.owners
                    ):
                        self.faults.append(
                            f"{kind} {row['id']}: its number is {row['number']}, and {wanted} was given"
                        )

    def _limit_texts(self) -> None:
        """Limit texts that no longer agree with their hash, or that a row names and that are gone."""
        there = set()
        named = self._named_limits()
        for sha256, text in self.connection.execute(
            f"SELECT sha256, text FROM limit_text {self.past} ORDER BY sha256"
        ):
            there.add(sha256)
            data = text.encode("utf-8", "surrogateescape")
            if hashlib.sha256(data).hexdigest() != sha256 and (
                self.owners is None or sha256 in named
            ):
                self.faults.append(f"limit text {sha256[:12]}: changed after it was written")
        for sha256 in sorted(named - there):
            self.faults.append(f"limit text {sha256[:12]}: its content is missing")
        if self.owners is None:
            for sha256 in sorted(there - named):
                self.faults.append(f"limit text {sha256[:12]}: no row names it: put in")

    def _named_limits(self) -> set[str]:
        named = self.connection.execute(
            f"SELECT limit_sha256 AS sha256 FROM judgement {self.past} "
            f"WHERE {self._of_record('verdict_id')} UNION "
            f"SELECT limit_sha256 FROM vehicle_limit {self.past} WHERE {self._only('vehicle_id')} "
            "ORDER BY sha256",
            (self.owners or ()) * 2,
        )
        return {row[0] for row in named if row[0] is not None}

    def _earlier(self) -> str:
        """What was printed as the fingerprint of the last row before records could merge."""
        if self.owners is None:
            sql = "SELECT hash FROM record WHERE writer = ? ORDER BY n DESC, id LIMIT 1"
        else:
            sql = (
                "SELECT o.hash FROM old_chain o JOIN record r ON r.id = o.id WHERE r.owner = ? "
                "ORDER BY o.n DESC, o.id LIMIT 1"
            )
        try:
            of = BEFORE if self.owners is None else self.owners[0]
            row = self.connection.execute(sql, (of,)).fetchone()
        except sqlite3.DatabaseError:
            return ""
        return row[0].hex() if row else ""


Group = tuple[str, list[Read]]


def _grouped(rows: Iterable[Read], column: str) -> Iterator[Group]:
    for name, members in groupby(rows, key=lambda row: row[column]):
        yield name, list(members)


def _side_by_side(
    streams: Sequence[Iterator[Group]],
) -> Iterator[tuple[str, list[list[Read]]]]:
    """Each name with its rows of every stream (ordered by name), none where a stream has none."""
    heads = [next(stream, None) for stream in streams]
    while any(head is not None for head in heads):
        name = min(head[0] for head in heads if head is not None)
        here = [head is not None and head[0] == name for head in heads]
        yield name, [head[1] if at and head else [] for head, at in zip(heads, here, strict=True)]
        heads = [
            next(stream, None) if at else head
            for stream, head, at in zip(streams, heads, here, strict=True)
        ]


def _marks(owners: tuple[str, ...]) -> str:
    return ", ".join("?" * len(owners))
