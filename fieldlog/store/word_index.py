"""By which words a finding is looked for: derived from its row, so that a search reads no other finding.

Every finding has a ``place``: the instant it was said at (microseconds) times ``SLOTS``, and which of those at
that instant it is. So the places of a word are in the order of time, and a day is a range of them. What a
finding is about, and what was said, stands under each of its words; its component's words under ``c:`` too,
its newest verdict under ``s:``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from fieldlog.store.sql import MANY, Read, Tables

SLOTS = 2048
"""Places of one microsecond; where they do not do, those of the next are taken."""
LAST = (1 << 63) // SLOTS - 1
"""Instants beyond (in the year 2112) have the places of this one."""
_WORD = re.compile(r"[^\W_]+(?:[./'][^\W_]+)*")
_PARTS = ("words", "component", "position", "characteristic", "condition", "code")
_AT = "coalesce(u.said_at, i.started_at)"
_FINDING = (
    f"SELECT f.id, f.words, f.component, f.position, f.characteristic, f.condition, f.code, {_AT} AS at, "
    "coalesce((SELECT v.state FROM verdict v JOIN record x ON x.id = v.id WHERE v.finding_id = f.id "
    "ORDER BY x.turn DESC, x.id DESC LIMIT 1), '') AS state FROM finding f "
    "JOIN inspection i ON i.id = f.inspection_id LEFT JOIN utterance u ON u.id = f.utterance_id "
)
ITS_TABLES = ("local_found", "local_word")
"""Nothing in them is of the record: they are made of it."""
_MOST = 200
"""Words of one statement."""


def words_in(text: str) -> tuple[str, ...]:
    """The words of ``text`` as they are looked for: in one case, each once."""
    return tuple(dict.fromkeys(_WORD.findall(text.casefold())))


def words_of(finding: Read) -> frozenset[str]:
    """Every word that the row of a finding stands under, but for its verdict."""
    told = " ".join(finding[part] or "" for part in _PARTS)
    return frozenset((*words_in(told), *(f"c:{word}" for word in words_in(finding["component"]))))


def under(state: str) -> str:
    """The word of a verdict; of none it is ``s:``."""
    return f"s:{state}"


def first_place(at: int) -> int:
    """The first place of an instant (microseconds since 1970)."""
    return min(max(at, 0), LAST) * SLOTS


def add_finding(connection: Tables, id: str) -> None:
    """Put a finding that is in the record now under its words."""
    row = connection.execute(f"{_FINDING}WHERE f.id = ? ORDER BY f.id", (id,)).fetchone()
    place = first_place(row["at"])
    while True:
        newest = connection.execute(
            "SELECT max(place) FROM local_found WHERE place >= ? AND place < ?",
            (place, place + SLOTS),
        ).fetchone()[0]
        if newest is None or newest < place + SLOTS - 1:
            break
        place += SLOTS
    place = place if newest is None else newest + 1
    connection.execute(
        "INSERT INTO local_found (place, finding_id, state) VALUES (?, ?, ?)",
        (place, id, row["state"]),
    )
    _put(connection, [(word, place) for word in sorted((*words_of(row), under(row["state"])))])


def judged(connection: Tables, finding: str) -> None:
    """Put a finding under its newest verdict."""
    row = connection.execute(f"{_FINDING}WHERE f.id = ? ORDER BY f.id", (finding,)).fetchone()
    kept = connection.execute(
        "SELECT place, state FROM local_found WHERE finding_id = ? ORDER BY place", (finding,)
    ).fetchone()
    if row is None or kept is None or kept["state"] == row["state"]:
        return
    old = (under(kept["state"]), kept["place"])
    connection.execute("DELETE FROM local_word WHERE word = ? AND place = ?", old)
    _put(connection, [(under(row["state"]), kept["place"])])
    connection.execute(
        "UPDATE local_found SET state = ? WHERE place = ?", (row["state"], kept["place"])
    )


def build(connection: Tables) -> None:
    """Put every finding of the record under its words, anew."""
    for table in ITS_TABLES:
        connection.execute(f"DELETE FROM {table}")
    connection.execute("DROP TABLE IF EXISTS word_heap")
    connection.execute(
        "CREATE TEMPORARY TABLE word_heap (word TEXT NOT NULL, place BIGINT NOT NULL)"
    )
    before, found, words = -1, [], []
    for row in connection.execute(f"{MANY}{_FINDING}ORDER BY {_AT}, f.id"):
        before = max(first_place(row["at"]), before + 1)
        found.append((before, row["id"], row["state"]))
        words += [(word, before) for word in (*words_of(row), under(row["state"]))]
        if len(words) > _MOST:
            _rows(connection, "local_found (place, finding_id, state)", found)
            _rows(connection, "word_heap (word, place)", words)
            found, words = [], []
    _rows(connection, "local_found (place, finding_id, state)", found)
    _rows(connection, "word_heap (word, place)", words)
    connection.execute(
        "INSERT INTO local_word (word, place) SELECT word, place FROM word_heap ORDER BY word, place"
    )
    connection.execute("DROP TABLE word_heap")


def faults(connection: Tables) -> Iterator[str]:
    """What of the index is not as the record says: findings one by one, their words as a whole."""
    wanted = there = 0
    count = 0
    kept = connection.execute(
        f"{MANY}SELECT finding_id, place, state FROM local_found ORDER BY finding_id"
    )
    ahead = next(iter(kept), None)
    for row in connection.execute(f"{MANY}{_FINDING}ORDER BY f.id"):
        while ahead is not None and ahead["finding_id"] < row["id"]:
            yield f"search: finding {ahead['finding_id']} is not in the record: put in"
            ahead = next(iter(kept), None)
        if ahead is None or ahead["finding_id"] != row["id"]:
            yield f"search: finding {row['id']} cannot be looked for"
            continue
        place = ahead["place"]
        if ahead["state"] != row["state"] or not 0 <= place - first_place(row["at"]) < 1 << 40:
            yield f"search: finding {row['id']} is not under its verdict or its day"
        for word in (*words_of(row), under(row["state"])):
            wanted += hash((word, place))
            count += 1
        ahead = next(iter(kept), None)
    for row in (ahead, *kept) if ahead is not None else ():
        yield f"search: finding {row['finding_id']} is not in the record: put in"
    for row in connection.execute(f"{MANY}SELECT word, place FROM local_word ORDER BY word, place"):
        there += hash((row[0], row[1]))
        count -= 1
    if count or wanted != there:
        yield "search: the words that findings stand under are not those of the record"


def _put(connection: Tables, pairs: Sequence[tuple[str, int]]) -> None:
    _rows(connection, "local_word (word, place)", pairs)


def _rows(connection: Tables, into: str, rows: Sequence[tuple[object, ...]]) -> None:
    for begin in range(0, len(rows), _MOST):
        part = rows[begin : begin + _MOST]
        marks = ", ".join(f"({', '.join('?' * len(part[0]))})" for _ in part)
        connection.execute(
            f"INSERT INTO {into} VALUES {marks}", [value for row in part for value in row]
        )
