"""Checkpoints of a record: what it is now, and whether it still is what one of them says.

The tree (``proof.merkle``) stands over the hashes of all rows, by turn. Rows that came in by merging may lie
between those that were there, so a checkpoint names its newest rows as well (``heads``): the rows it is of
are those and everything that they were written after.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import Enum

from fieldlog.proof import merkle, note
from fieldlog.proof.note import ORIGIN, Checkpoint, heads_line
from fieldlog.store.chain import fingerprint, seen_from
from fieldlog.store.places import newest_first, place_with
from fieldlog.store.records import EventName
from fieldlog.store.signatures import NOTE, OF
from fieldlog.store.sql import MANY, Read, Tables

TREE = "tree"
"""Key of ``local_state``."""
FEW = 2000
"""Rows that are hashed anew rather than kept: nothing is written for a small record."""
_HASHES = "SELECT hash FROM record NOT INDEXED ORDER BY turn, id"


class Against(Enum):
    """What a record is to a checkpoint that was held against it."""

    SAME = "unchanged since"
    """Every row that was there is there, as it was."""
    OTHER = "is not what it was at"
    """Rows that were there are gone or others, or there are rows between them that were not."""
    PART = "has only part of what there was at"
    """Rows of it are known here by their hash alone: nothing can be said."""


@dataclass(frozen=True, slots=True)
class Owner:
    """What a checkpoint says of one vehicle or inspection."""

    kind: str
    id: str
    rows: int
    fingerprint: str


@dataclass(frozen=True, slots=True)
class Grown:
    """The tree over the first ``size`` rows, so that it goes on from there: it costs 26 s for three million.

    It lies in ``local_state``, is no part of the record, and no checkpoint is held against it: a record
    that was changed behind its back gives checkpoints of what it was.
    """

    size: int
    turn: int
    id: str
    """Of the last row."""
    roots: tuple[bytes, ...]
    """Of the full subtrees, the largest first."""

    @property
    def text(self) -> str:
        """As it is kept."""
        return json.dumps([self.size, self.turn, self.id, [each.hex() for each in self.roots]])


def grown_before(connection: Tables) -> Grown | None:
    """The tree as it was kept; None where none was, or rows came in between since."""
    row = connection.execute(
        "SELECT value FROM local_state WHERE key = ? ORDER BY key", (TREE,)
    ).fetchone()
    try:
        size, turn, id, roots = json.loads(row[0]) if row is not None else (0, 0, "", [])
        kept = Grown(int(size), int(turn), str(id), tuple(bytes.fromhex(each) for each in roots))
    except (ValueError, TypeError):
        return None
    after = "turn > ?1 OR (turn = ?1 AND id > ?2)"
    counts = [
        connection.execute(f"SELECT count(*) FROM record{where}", values).fetchone()[0]
        for where, values in (("", ()), (f" WHERE {after}", (kept.turn, kept.id)))
    ]
    whole = len(kept.roots) == kept.size.bit_count() and all(len(r) == 32 for r in kept.roots)
    return kept if whole and kept.size and counts[0] - counts[1] == kept.size else None


def keep_grown(connection: Tables, grown: Grown) -> None:
    """Keep the tree for the next checkpoint, within an open transaction."""
    connection.execute(
        "INSERT INTO local_state (key, value) VALUES (?, ?) "
        "ON CONFLICT (key) DO UPDATE SET value = excluded.value",
        (TREE, grown.text),
    )


def take(
    connection: Tables, writer: str, owners: Sequence[str], kept: Grown | None = None
) -> tuple[Checkpoint, Grown]:
    """The record as it is now; for each of ``owners`` (ids) its rows and their fingerprint.

    ``kept``: the tree over the first rows of it; and the tree over all of them.
    """
    size, turn, id = (kept.size, kept.turn, kept.id) if kept else (0, -1, "")
    roots = list(kept.roots) if kept else []
    for row in connection.execute(
        f"{MANY}SELECT hash, turn, id FROM record WHERE turn > ?1 OR (turn = ?1 AND id > ?2) "
        "ORDER BY turn, id",
        (turn, id),
    ):
        size, turn, id = size + 1, row[1], row[2]
        merkle.grow(roots, merkle.leaf(row[0]), size)
    heads = [row[0] for row in connection.execute("SELECT hash FROM local_head ORDER BY hash")]
    lines = [owner_line(_owner(connection, owner)) for owner in owners]
    root = merkle.folded(roots)
    made = Checkpoint(f"{ORIGIN}{writer or 'unnamed'}", size, root, (*lines, heads_line(heads)))
    return made, Grown(size, turn, id, tuple(roots))


@dataclass(frozen=True, slots=True)
class KeptCheckpoint:
    """A checkpoint that was put into the record at a sign-off."""

    id: str
    """Of its event."""
    inspection: str
    signature: str
    """Id of the sign-off that it is of."""
    checkpoint: Checkpoint | None
    """None: it cannot be read."""


def kept(connection: Tables, inspection: str | None = None) -> tuple[KeptCheckpoint, ...]:
    """Every checkpoint in the record, or of one inspection (id), oldest first."""
    past, of = ("NOT INDEXED", "") if inspection is None else ("", "AND e.inspection_id = ? ")
    rows = connection.execute(
        f"SELECT e.id, e.inspection_id, e.data FROM event e {past} "
        f"LEFT JOIN record r ON r.id = e.id WHERE e.name = ? {of}ORDER BY r.turn, e.id",
        (EventName.CHECKPOINT.value, *([] if inspection is None else [inspection])),
    )
    return tuple(_kept(row[0], row[1], row[2]) for row in rows)


def _kept(id: str, inspection: str, data: str) -> KeptCheckpoint:
    try:
        told = json.loads(data)
        return KeptCheckpoint(id, inspection, str(told[OF]), note.parse(str(told[NOTE])))
    except (ValueError, KeyError, TypeError):
        return KeptCheckpoint(id, inspection, "", None)


def owner_line(owner: Owner) -> tuple[str, str]:
    """The line of a checkpoint that says it."""
    return owner.kind, f"{owner.id} {owner.rows} {owner.fingerprint}"


def owners_in(checkpoint: Checkpoint) -> tuple[Owner, ...]:
    """What a checkpoint says of vehicles and inspections."""
    found = []
    for kind in ("vehicle", "inspection"):
        for text in checkpoint.all(kind):
            name, _, rest = text.partition(" ")
            rows, _, digest = rest.partition(" ")
            if rows.isdecimal() and len(rows) < 18:
                found.append(Owner(kind, name, int(rows), digest))
    return tuple(found)


def hold(connection: Tables, checkpoints: Sequence[Checkpoint]) -> list[Against]:
    """What the record is to each of ``checkpoints``."""
    sizes = {each.size for each in checkpoints}
    rows = connection.execute(_HASHES)
    roots = roots_at((merkle.leaf(row[0]) for row in rows), sizes)
    return [
        Against.SAME if roots.get(each.size) == each.root else _behind(connection, each)
        for each in checkpoints
    ]


def hold_one(connection: Tables, checkpoints: Sequence[Checkpoint], owner: str) -> list[Against]:
    """What the rows of one vehicle or inspection (id) are to each of ``checkpoints``, which tell of it.

    They are those that the checkpoint counts and whose fingerprint it has, as far as they were there: no
    other row is hashed. Nothing can be said (``PART``) by one that tells nothing of it.
    """
    own = connection.execute(
        "SELECT hash, turn FROM record WHERE owner = ? ORDER BY turn, id", (owner,)
    ).fetchall()
    return [_against_one(connection, each, owner, own) for each in checkpoints]


def _against_one(
    connection: Tables, checkpoint: Checkpoint, owner: str, own: Sequence[Read]
) -> Against:
    told = next((each for each in owners_in(checkpoint) if each.id == owner), None)
    if told is None:
        return Against.PART
    # As a rule rows only came after: those that were there are the first of them.
    if fingerprint(row[0] for row in own[: told.rows]) == told.fingerprint:
        return Against.SAME if len(own) >= told.rows else Against.OTHER
    heads = [place for each in checkpoint.heads if (place := place_with(connection, each))]
    if len(heads) < len(checkpoint.heads) or not heads or not own:
        return Against.OTHER
    between = newest_first(connection, own[0][1], max(place.turn for place in heads))
    seen = seen_from((place.hash for place in heads), between)
    there = [row[0] for row in own if row[0] in seen]
    same = (len(there), fingerprint(there)) == (told.rows, told.fingerprint)
    return Against.SAME if same else Against.OTHER


def roots_at(leaves: Iterator[bytes], sizes: Iterable[int]) -> dict[int, bytes]:
    """The root over the first n leaves for each n of ``sizes`` that there are as many for."""
    wanted, found = sorted(set(sizes), reverse=True), {}
    stack: list[bytes] = []
    count = 0
    while wanted:
        if wanted[-1] == count:
            found[wanted.pop()] = merkle.folded(stack)
            continue
        each = next(leaves, None)
        if each is None:
            break
        count += 1
        merkle.grow(stack, each, count)
    return found


def _behind(connection: Tables, checkpoint: Checkpoint) -> Against:
    """The same by the newest rows it names, with everything that they were written after."""
    seen = set(checkpoint.heads)
    if not seen:
        return Against.OTHER
    kept: list[bytes] = []
    for row in connection.execute(
        "SELECT hash, parents FROM record NOT INDEXED ORDER BY turn DESC, id DESC"
    ):
        if row[0] in seen:
            seen.discard(row[0])
            joined = row[1]
            seen.update(joined[at : at + 32] for at in range(0, len(joined), 32))
            kept.append(row[0])
    if seen:  # of these there is no row
        away = {row[0] for row in connection.execute("SELECT hash FROM elsewhere ORDER BY hash")}
        return Against.PART if seen <= away else Against.OTHER
    same = len(kept) == checkpoint.size
    root = merkle.root(map(merkle.leaf, reversed(kept)))
    return Against.SAME if same and root == checkpoint.root else Against.OTHER


def _owner(connection: Tables, owner: str) -> Owner:
    hashes = [
        row[0]
        for row in connection.execute(
            "SELECT hash FROM record WHERE owner = ? ORDER BY turn, id", (owner,)
        )
    ]
    row = connection.execute("SELECT kind FROM record WHERE id = ?", (owner,)).fetchone()
    return Owner(str(row[0]) if row else "inspection", owner, len(hashes), fingerprint(hashes))
