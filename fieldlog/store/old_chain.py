"""The rule by which rows were chained before records could merge (pure).

Such rows are never hashed anew. Each vehicle and each inspection was a chain, and a second digest
tied all rows of the store in their order of arrival::

    hash = SHA-256(previous hash || canonical text)      previous hash of row 0: 32 zero bytes
    link = SHA-256(previous link || hash)

The canonical text had instants as ISO 8601 and the numbers of utterances and findings in it. The
``link`` is such a row's hash in the record of today, so the last one is the parent of the first row
written since.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fieldlog.quantities.instants import instant_text
from fieldlog.store.chain import (
    ZERO,
    Cell,
    Disagreement,
    Place,
    Row,
    digest,
    json_bytes,
    present,
    where,
)
from fieldlog.store.rows import instant_from

INSTANTS: Mapping[str, str] = {
    "odometer": "read_at",
    "inspection": "started_at",
    "utterance": "said_at",
    "mark": "at",
    "photo": "utc",
    "event": "at",
}
"""Kind -> its column that was text and is microseconds since 1970 now."""


@dataclass(frozen=True, slots=True)
class OldPlace:
    """A row's place in the chain it was written to."""

    n: int
    """Counts the rows of its vehicle or inspection, from 0."""
    previous: bytes
    """Hash of the row before it in that chain."""
    hash: bytes
    number: int | None
    """The number that was hashed with an utterance or a finding."""


def old_text(place: Place, old: OldPlace, row: Row, children: Sequence[Row]) -> bytes:
    """The text that was hashed when the row was written."""
    then: dict[str, Cell] = present(row)
    column = INSTANTS.get(place.kind)
    if column is not None:
        at = then.get(column)
        if isinstance(at, int):
            then[column] = instant_text(instant_from(at))
    if old.number is not None:
        then["number"] = old.number
    return json_bytes(
        {
            "id": place.id,
            "kind": place.kind,
            "chain": place.owner,
            "n": old.n,
            "made_at": instant_text(instant_from(place.made_at)),
            "row": then,
            "children": [present(child) for child in children],
        }
    )


def old_faults(
    place: Place, old: OldPlace, row: Row, children: Sequence[Row]
) -> list[Disagreement]:
    """What does not agree in a row that was kept before records could merge."""
    faults = []
    if digest(old.previous, old_text(place, old, row, children)) != old.hash:
        faults.append(Disagreement(where(place), "changed after it was written"))
    link = place.parents[0] if place.parents else ZERO
    if digest(link, old.hash) != place.hash:
        faults.append(Disagreement(where(place), "not in the order in which it was written"))
    return faults
