"""Looking for findings by their words: as quick in a large record, and always what the rows say."""

from __future__ import annotations

import random
import sqlite3
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path

import pytest

from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.state import State
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.model.verdict import Verdict
from fieldlog.proof import merkle
from fieldlog.store import checkpoints
from fieldlog.store.database import FILE
from fieldlog.store.records import NewEntry, NewUtterance
from fieldlog.store.repository import Repository
from fieldlog.store.searching import MOST, Wanted
from fieldlog.store.word_index import SLOTS, first_place, words_in

START = datetime(2026, 5, 4, 9, tzinfo=UTC)
PARTS = ("tyre", "brake pads", "horn", "chain")
STATES = (State.WITHIN, State.MARGINAL, State.BEYOND)


def filled(folder: Path, count: int, seed: int = 1) -> list[tuple[str, State, datetime]]:
    """A record of ``count`` findings; what each is about, how it stands and when it was said."""
    rng = random.Random(seed)
    made = []
    with Repository.open(folder) as store:
        head = store.start_inspection(store.add_vehicle("blue roadster").id, started_at=START)
        for number in range(count):
            part, end, state = rng.choice(PARTS), rng.choice(("front", "rear")), rng.choice(STATES)
            at = START + timedelta(hours=number // 3)  # three at one instant
            words = f"{end} {part} {number}"
            said = Understanding(Decision.ACCEPT, Kind.FINDING, "", words)
            quantity = Quantity(Fraction(number), "mm")
            found = Finding(part, end, "wear", quantity, words=words)
            store.save(
                head.id,
                NewEntry(NewUtterance(said, at), finding=found, verdict=Verdict(state, None)),
            )
            made.append((words, state, at))
    return made


def told(store: Repository, **wanted: object) -> list[str]:
    return [each.finding.words for each in store.engine.search(Wanted(**wanted))]  # type: ignore[arg-type]


def test_words_component_verdict_and_day_together(tmp_path: Path) -> None:
    made = filled(tmp_path, 60)
    with Repository.open(tmp_path) as store:
        for words, component, state, hours in (
            (("front",), "", None, (0, 99)),
            (("front", "PAD"), "", State.BEYOND, (0, 99)),
            ((), "brake", State.WITHIN, (4, 12)),
            (("rear", "ty"), "tyre", None, (3, 5)),
            ((), "", State.MARGINAL, (0, 99)),
            ((), "", None, (2, 3)),
            (("17",), "", None, (0, 99)),
        ):
            since, until = (START + timedelta(hours=h) for h in hours)
            found = told(
                store, words=words, component=component, state=state, since=since, until=until
            )
            wanted = [
                text
                for text, stands, at in made
                if all(any(w.startswith(a.lower()) for w in text.split()) for a in words)
                and component in text
                and state in (None, stands)
                and since <= at < until
            ]
            assert sorted(found) == sorted(wanted), (words, component, state, hours)
            days = {text: at for text, _, at in made}
            assert [days[each] for each in found] == sorted((days[e] for e in found), reverse=True)
        assert told(store, words=("spoke",)) == []
        assert told(store, words=("%",)) == []


def test_what_no_longer_stands_is_not_found_and_a_newer_verdict_counts(tmp_path: Path) -> None:
    filled(tmp_path, MOST + 30)
    with Repository.open(tmp_path) as store:
        record = store.inspection_record("last")
        newest = record.findings[-(MOST // 2) :]
        for each in newest:
            store.save(record.inspection.id, NewEntry(corrects=each.id, reason="not so"))
        found = told(store)
        assert not {each.finding.words for each in newest} & set(found)
        assert len(found) == MOST + 30 - MOST // 2
        first = record.findings[0]
        for state in (State.UNDECIDED, State.FAULTY):
            again = NewEntry(verdicts=((first.id, Verdict(state, None)),))
            store.save(record.inspection.id, again)
        assert told(store, state=State.UNDECIDED) == []
        assert told(store, state=State.FAULTY) == [first.finding.words]
        assert store.verify().faults == ()


def test_a_merged_record_finds_what_came_in(tmp_path: Path) -> None:
    filled(tmp_path / "one", 12)
    filled(tmp_path / "two", 12, seed=2)
    with Repository.open(tmp_path / "one") as store:
        store.merge(tmp_path / "two")
        assert len(told(store)) == 24
        assert store.verify().faults == ()


@pytest.mark.parametrize(
    ("statement", "fault"),
    [
        ("DELETE FROM local_word WHERE word = 'rear'", "words that findings stand under"),
        ("INSERT INTO local_word VALUES ('spoke', 7)", "words that findings stand under"),
        ("UPDATE local_word SET word = 'reer' WHERE word = 'rear'", "words that findings stand"),
        ("DELETE FROM local_found WHERE place = (SELECT min(place) FROM local_found)", "cannot be"),
        ("INSERT INTO local_found VALUES (5, 'zzz', 'beyond')", "put in"),
        ("UPDATE local_found SET state = 'within'", "not under its verdict"),
        ("UPDATE local_found SET place = place + 2000000000000", "its day"),
        ("DROP TABLE local_word", "table local_word: gone"),
    ],
)
def test_an_index_that_was_changed_is_told_and_made_anew(
    tmp_path: Path, statement: str, fault: str
) -> None:
    filled(tmp_path, 9)
    with sqlite3.connect(tmp_path / FILE) as connection:
        connection.execute(statement)
    connection.close()
    with Repository.open(tmp_path) as store:
        before = store.fingerprint()
        assert any(fault in each for each in store.verify().faults)
        store.engine.index_anew()
        assert store.verify().faults == ()
        assert store.fingerprint() == before
        assert len(told(store)) == 9


def test_an_earlier_record_gets_its_index(tmp_path: Path) -> None:
    filled(tmp_path, 9)
    with sqlite3.connect(tmp_path / FILE) as connection:
        connection.execute("DROP TABLE local_word")
        connection.execute("DROP TABLE local_found")
        connection.execute("DELETE FROM _sqlite_migrations WHERE name = '0011_search'")
    connection.close()
    with Repository.open(tmp_path) as store:
        assert len(told(store, words=("rear",))) == len([*told(store)]) - len(
            told(store, words=("front",))
        )
        assert store.verify().faults == ()


def test_more_findings_at_one_instant_than_it_has_places(tmp_path: Path) -> None:
    filled(tmp_path, 4)
    with sqlite3.connect(tmp_path / FILE) as connection:
        place = first_place(round(START.timestamp() * 1e6)) + SLOTS - 1
        connection.execute(
            "UPDATE local_word SET place = ?1 WHERE place = (SELECT max(place) FROM local_found "
            "WHERE place < ?1)",
            (place,),
        )
        connection.execute(
            "UPDATE local_found SET place = ?1 WHERE place = (SELECT max(place) FROM local_found "
            "WHERE place < ?1)",
            (place,),
        )
    connection.close()
    with Repository.open(tmp_path) as store:
        head = store.inspection_record("last").inspection
        said = Understanding(Decision.ACCEPT, Kind.FINDING, "", "horn dead")
        found = Finding("horn", None, None, condition="dead", words="horn dead")
        store.save(head.id, NewEntry(NewUtterance(said, START), finding=found))
        assert "horn dead" in told(store)
        assert store.verify().faults == ()


def test_words() -> None:
    assert words_in("Front-left 12.6 V, 3/4 in; O'Brien's") == (
        "front", "left", "12.6", "v", "3/4", "in", "o'brien's",
    )  # fmt: skip


def test_a_checkpoint_goes_on_from_the_one_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same root as over all rows, whatever came in between, and whatever stands in its note."""
    monkeypatch.setattr(checkpoints, "FEW", 4)
    filled(tmp_path / "two", 12, seed=2)
    filled(tmp_path / "one", 12)
    with Repository.open(tmp_path / "one") as store:
        tables = store.engine.connection

        def root() -> bytes:
            hashes = [r[0] for r in tables.execute("SELECT hash FROM record ORDER BY turn, id")]
            return merkle.root(map(merkle.leaf, hashes))

        assert store.engine.checkpoint(()).root == root()
        kept = checkpoints.grown_before(tables)
        assert kept is not None
        store.add_remark(store.inspection_record("last").inspection.id, "one more")
        assert store.engine.checkpoint(()).root == root()
        assert checkpoints.grown_before(tables) == kept  # one row more is not worth a write
        store.merge(tmp_path / "two")
        assert checkpoints.grown_before(tables) is None  # rows came in between
        assert store.engine.checkpoint(()).root == root()
        for text in ("[]", "{", "[1,2,3,4]", '[3,1,"a",["00"]]', kept.text):
            tables.execute("UPDATE local_state SET value = ? WHERE key = 'tree'", (text,))
            assert store.engine.checkpoint(()).root == root()
        assert store.verify().faults == ()
    with Repository.look(tmp_path / "one") as looked:
        assert looked.engine.checkpoint(()).root == store_root(looked)


def store_root(store: Repository) -> bytes:
    rows = store.engine.connection.execute("SELECT hash FROM record ORDER BY turn, id")
    return merkle.root(merkle.leaf(row[0]) for row in rows)
