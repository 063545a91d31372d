"""Looking for findings by their words, component, verdict and day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from fieldlog.model.finding import Finding
from fieldlog.model.state import State
from fieldlog.store.queries import NEWEST_NAME, corrections, finding_from, rows_of
from fieldlog.store.rows import instant_from, instant_us
from fieldlog.store.sql import Tables
from fieldlog.store.standing import standing
from fieldlog.store.word_index import first_place, under, words_in

MOST = 200
"""Found at once; what is older needs more words."""
_ROUNDS = 5
"""How often further ones are looked for where many do not stand any more."""
_ALIKE = 40
"""Words that begin as one that is looked for."""
_COUNTED = 20_000
"""Two words that are both this frequent are taken as equally rare."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is looked for; what is empty is not asked of."""

    words: tuple[str, ...] = ()
    """Each of them, in any case, begins a word of what was said or of the names of what it is about."""
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
    """The newest findings that are wanted, at most ``MOST``; the newest said first."""
    needed = _needed(connection, wanted)
    if needed is None:
        return ()
    found: list[FoundFinding] = []
    below = first_place(instant_us(wanted.until)) if wanted.until else (1 << 63) - 1
    since = first_place(instant_us(wanted.since)) if wanted.since else 0
    for _ in range(_ROUNDS):
        places = _places(connection, needed, since, below)
        found += _standing(connection, places)
        if len(places) < MOST or len(found) >= MOST:
            break
        below = places[-1]
    return tuple(found[:MOST])


def _needed(connection: Tables, wanted: Wanted) -> list[tuple[str, ...]] | None:
    """For each thing asked for the words that will do, the rarest thing first; None: one has none."""
    asked = [(word, "") for text in wanted.words for word in words_in(text)]
    asked += [(word, "c:") for word in words_in(wanted.component)]
    needed = [_alike(connection, f"{kind}{word}") for word, kind in asked]
    if wanted.state is not None:
        needed.append((under(wanted.state.value),))
    if not all(needed) or (not asked and (any(wanted.words) or wanted.component.strip())):
        return None
    return sorted(needed, key=lambda words: sum(_how_many(connection, word) for word in words))


def _alike(connection: Tables, begin: str) -> tuple[str, ...]:
    """The words that begin so, at most ``_ALIKE``: each is found from the one before, none is scanned."""
    found: list[str] = []
    sql = "SELECT min(word) FROM local_word WHERE word {} ?"
    word = connection.execute(sql.format(">="), (begin,)).fetchone()[0]
    while word is not None and word.startswith(begin) and len(found) < _ALIKE:
        found.append(word)
        word = connection.execute(sql.format(">"), (word,)).fetchone()[0]
    return tuple(found)


def _how_many(connection: Tables, word: str) -> int:
    """Findings under a word, counted no further than needed."""
    sql = f"SELECT count(*) FROM (SELECT 1 FROM local_word WHERE word = ? LIMIT {_COUNTED}) AS few"
    return int(connection.execute(sql, (word,)).fetchone()[0])


def _places(
    connection: Tables, needed: Sequence[tuple[str, ...]], since: int, below: int
) -> list[int]:
    """The newest places under all that is needed, from ``since`` to before ``below``."""
    values: list[str | int] = []
    if not needed:
        sql = "local_found a WHERE 1 = 1"
    else:
        first, *others = needed
        sql = f"local_word a WHERE a.word {_one_of(first)}"
        values += first
        for number, words in enumerate(others):
            sql += (
                f" AND EXISTS (SELECT 1 FROM local_word w{number} WHERE w{number}.word "
                f"{_one_of(words)} AND w{number}.place = a.place)"
            )
            values += words
    once = "DISTINCT " if needed and len(needed[0]) > 1 else ""  # a finding stands under several
    sql = (
        f"SELECT {once}a.place FROM {sql} AND a.place >= ? AND a.place < ? "
        f"ORDER BY a.place DESC LIMIT {MOST}"
    )
    return [row[0] for row in rows_of(connection, sql, *values, since, below)]


def _one_of(words: Sequence[str]) -> str:
    return "= ?" if len(words) == 1 else f"IN ({', '.join('?' * len(words))})"


def _standing(connection: Tables, places: Sequence[int]) -> list[FoundFinding]:
    """The findings at ``places`` that stand, in their order."""
    if not places:
        return []
    rows = rows_of(
        connection,
        f"SELECT f.*, i.local_number AS of_number, {NEWEST_NAME} AS vehicle, "
        "v.local_number AS of_vehicle, coalesce(u.said_at, i.started_at) AS at, p.state AS state "
        "FROM local_found p JOIN finding f ON f.id = p.finding_id "
        "JOIN inspection i ON i.id = f.inspection_id JOIN vehicle v ON v.id = i.vehicle_id "
        f"LEFT JOIN utterance u ON u.id = f.utterance_id WHERE p.place IN ({', '.join('?' * len(places))}) "
        "ORDER BY p.place DESC",
        *places,
    )
    of = tuple(dict.fromkeys(row["inspection_id"] for row in rows))
    made = corrections(connection, f"WHERE i.id IN ({', '.join('?' * len(of))}) ", *of)[0]
    fallen = standing(made).fallen
    return [
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
        if row["id"] not in fallen
    ]
