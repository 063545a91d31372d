"""Looking for findings by their words, component, verdict and day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from fieldlog.model.finding import Finding
from fieldlog.model.state import State
from fieldlog.store.queries import NEWEST_NAME, corrections, finding_from, rows_of
from fieldlog.store.rows import instant_from, instant_us
from fieldlog.store.sql import Tables
from fieldlog.store.standing import standing

MOST = 200
"""Found at once; what is older needs more words."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is looked for; what is empty is not asked of."""

    words: tuple[str, ...] = ()
    """Each of them, in any case, in what was said or in the names of what it is about."""
    component: str = ""
    state: State | None = None
    since: datetime | None = None
    until: datetime | None = None
    """Before this instant."""


@dataclass(frozen=True, slots=True)
class FoundFinding:
    """A finding that stands, with where it is."""

    finding: Finding
    number: int
    state: State | None
    at: datetime
    inspection: int
    vehicle: str
    vehicle_number: int
    exchange: str
    """Id of the utterance it was said in; of itself, where nothing was said."""


def search(connection: Tables, wanted: Wanted) -> tuple[FoundFinding, ...]:
    """The newest findings that are wanted, at most ``MOST``."""
    where = ["1 = 1"]
    values: list[str | int] = []
    for word in wanted.words:
        where.append(
            "lower(f.words || ' ' || f.component || ' ' || coalesce(f.position, '') || ' ' || "
            "coalesce(f.characteristic, '') || ' ' || coalesce(f.condition, '') || ' ' || "
            "coalesce(f.code, '')) LIKE ? ESCAPE '\\'"
        )
        values.append(f"%{_plain(word)}%")
    if wanted.component:
        where.append("lower(f.component) LIKE ? ESCAPE '\\'")
        values.append(f"%{_plain(wanted.component)}%")
    if wanted.state is not None:
        where.append("state = ?")
        values.append(wanted.state.value)
    for sign, at in ((">=", wanted.since), ("<", wanted.until)):
        if at is not None:
            where.append(f"at {sign} ?")
            values.append(instant_us(at))
    rows = rows_of(
        connection,
        f"SELECT * FROM (SELECT f.*, i.local_number AS of_number, {NEWEST_NAME} AS vehicle, "
        "v.local_number AS of_vehicle, coalesce(u.said_at, i.started_at) AS at, r.turn AS turn, "
        "(SELECT w.state FROM verdict w JOIN record x ON x.id = w.id WHERE w.finding_id = f.id "
        "ORDER BY x.turn DESC, x.id DESC LIMIT 1) AS state FROM finding f "
        "JOIN record r ON r.id = f.id JOIN inspection i ON i.id = f.inspection_id "
        "JOIN vehicle v ON v.id = i.vehicle_id LEFT JOIN utterance u ON u.id = f.utterance_id) f "
        f"WHERE {' AND '.join(where)} ORDER BY turn DESC, id DESC LIMIT {3 * MOST}",
        *values,
    )
    fallen: dict[str, frozenset[str]] = {}
    for of in dict.fromkeys(row["inspection_id"] for row in rows):
        made = corrections(connection, "WHERE i.id = ? ", of)[0]
        fallen[of] = frozenset(standing(made).fallen)
    found = (
        FoundFinding(
            finding_from(row, ()),
            row["local_number"],
            State(row["state"]) if row["state"] else None,
            instant_from(row["at"]),
            row["of_number"],
            row["vehicle"],
            row["of_vehicle"],
            row["utterance_id"] or row["id"],
        )
        for row in rows
        if row["id"] not in fallen[row["inspection_id"]]
    )
    return tuple(found)[:MOST]


def _plain(word: str) -> str:
    """``word`` with nothing in it that ``LIKE`` reads as a pattern, in the case that is compared."""
    word = "".join(letter.lower() if letter.isascii() else letter for letter in word)
    return word.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")
