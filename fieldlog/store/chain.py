"""How rows of the record are chained by hash, so that records merge (pure).

Each writer (one copy of a store on one device) has a chain of its own. A row names, as its parents,
every newest row that its writer had seen, its own last one among them::

    hash = SHA-256(canonical text)
    canonical text = JSON of {id, kind, owner, writer, n, made_at, parents, row, children}, keys
                     sorted, no spaces, UTF-8; parents as sorted hex; empty (NULL) columns and what
                     is local to one store left out

So a hash stands for its row and for everything that was known when it was written, and two records
merge by union: no row of one has to be changed to stand beside the rows of the other.

``turn`` orders rows everywhere (ties: by id): microseconds since 1970 by the writer's clock, but
always after every parent, whatever the clock did. It follows from the rest, so it is not hashed.

What no chain can show is rows cut off its end together with what the store noted of its newest rows,
or a record that was written anew from its first row: for that the fingerprint is printed on every
report and can be compared with the store's.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

ZERO = bytes(32)
LOCAL = "local_"
"""Columns and tables that hold for one store only begin so; nothing of them is hashed or merged."""
BEFORE = ""
"""The writer of rows that were kept before records could merge (``fieldlog.store.old_chain``)."""

_UNTOLD = ("hypothesis", "stretch", "reading", "judgement")
"""Tables of parts whose name is not hashed with their rows."""

Cell = str | int | float | bytes | None
Row = Mapping[str, Cell]


@dataclass(frozen=True, slots=True)
class Place:
    """One row's place in the record."""

    id: str
    kind: str
    owner: str
    """Id of the vehicle or inspection that it belongs to."""
    writer: str
    n: int
    """Counts the rows of a writer, from 0."""
    made_at: int
    """What the writer's clock said, microseconds since 1970 (UTC)."""
    turn: int
    hash: bytes
    parents: tuple[bytes, ...]


def canonical(place: Place, row: Row, children: Sequence[Row]) -> bytes:
    """The text that is hashed; raises ``ValueError`` for a number that is not finite."""
    return json_bytes(
        {
            "id": place.id,
            "kind": place.kind,
            "owner": place.owner,
            "writer": place.writer,
            "n": place.n,
            "made_at": place.made_at,
            "parents": sorted(parent.hex() for parent in place.parents),
            "row": present(row),
            "children": [present(child) for child in children],
        }
    )


def parts_of_row(children: Mapping[str, Sequence[Row]]) -> list[Row]:
    """The parts of a row as they are hashed: table by table, in order.

    Of a table that came later the name is hashed as well: a ``word`` and a ``stretch`` of what no word
    covers have the same columns, and one must not pass for the other.
    """
    return [
        row if table in _UNTOLD else {**row, "table": table}
        for table, rows in children.items()
        for row in rows
    ]


def present(row: Row) -> dict[str, Cell]:
    """``row`` without its empty columns and without what is local to one store."""
    return {
        key: value for key, value in row.items() if value is not None and not key.startswith(LOCAL)
    }


def json_bytes(document: Mapping[str, object]) -> bytes:
    """``document`` as JSON that is always the same: keys sorted, no spaces, UTF-8."""
    return json.dumps(
        document, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    ).encode("utf-8")


def digest(*parts: bytes) -> bytes:
    """SHA-256 of ``parts``, one after the other (32 bytes)."""
    return hashlib.sha256(b"".join(parts)).digest()


def fingerprint(hashes: Iterable[bytes]) -> str:
    """SHA-256 (hex) of the sorted ``hashes``: the same for the same set, in whatever order it came."""
    return digest(*sorted(hashes)).hex()


def next_turn(made_at: int, parents: Iterable[int]) -> int:
    """The turn of a row made at ``made_at`` whose parents have those turns."""
    return max([made_at, *(turn + 1 for turn in parents)])


def hash_of(place: Place, row: Row, children: Sequence[Row]) -> bytes:
    """The hash that ``place`` has when ``row`` is as it was written."""
    return digest(canonical(place, row, children))


def seen_from(hashes: Iterable[bytes], newest_first: Iterable[Place]) -> frozenset[bytes]:
    """``hashes`` with everything that was known when those rows were written, as far as is given.

    ``newest_first``: rows, each before its parents. It follows what a row names as its parents, not
    clocks: what another writer did meanwhile was not seen, whichever of both has the later turn.
    """
    seen = set(hashes)
    for place in newest_first:
        if place.hash in seen:
            seen.update(place.parents)
    return frozenset(seen)


@dataclass(frozen=True, slots=True)
class Disagreement:
    """Something in which the record does not agree with itself."""

    where: str
    what: str

    def __str__(self) -> str:
        """``where: what``."""
        return f"{self.where}: {self.what}"


def where(place: Place) -> str:
    """How a row is named in a fault."""
    of = f"row {place.n} of writer {place.writer}" if place.writer else f"record {place.n}"
    return f"{place.kind} {place.id} ({of})"


class Order:
    """Goes through all rows by turn and says which do not follow what they say they follow."""

    def __init__(self, look_up: Callable[[bytes], Place | None]) -> None:
        """``look_up`` finds a row of the record by its hash."""
        self._look_up = look_up
        self._heads: dict[bytes, tuple[str, int, int]] = {}
        """Writer, n and turn of the newest rows so far."""

    @property
    def heads(self) -> frozenset[bytes]:
        """Hashes of the rows gone through that no other one names as a parent."""
        return frozenset(self._heads)

    def follows(
        self, writer: str, n: int, made_at: int, turn: int, hash: bytes, parents: bytes
    ) -> bool:
        """Whether the next row follows the newest one, its writer's, as nearly every row does.

        It costs next to nothing, for rows by the million. Where it is not so, nothing is done, and
        ``step`` says whether it is in order.
        """
        before = self._heads.get(parents)
        if before is None or (before[0], before[1]) != (writer, n - 1):
            return False
        if turn != max(made_at, before[2] + 1):
            return False
        del self._heads[parents]
        self._heads[hash] = (writer, n, turn)
        return True

    def step(self, place: Place) -> list[Disagreement]:
        """Faults of the next row."""
        seen = [self._heads.get(parent) or self._looked_up(parent) for parent in place.parents]
        parents = [parent for parent in seen if parent is not None]
        for parent in place.parents:
            self._heads.pop(parent, None)
        self._heads[place.hash] = (place.writer, place.n, place.turn)
        first = 0 if place.writer else 1
        own = [n for writer, n, _ in parents if writer == place.writer]
        if len(parents) < len(seen) or (place.n > first and place.n - 1 not in own):
            return [Disagreement(where(place), "rows before it are missing")]
        if place.turn != next_turn(place.made_at, (turn for _, _, turn in parents)):
            return [Disagreement(where(place), "not in the order in which it was written")]
        return []

    def _looked_up(self, hash: bytes) -> tuple[str, int, int] | None:
        found = self._look_up(hash)
        return (found.writer, found.n, found.turn) if found else None
