"""What every engine behind ``fieldlog.store.base.Store`` has to do, whatever it keeps rows in.

A test module of an engine hands ``Contract`` a way to open a fresh, empty store (each call another).
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction

import pytest

from fieldlog.errors import ChangedError, StoreError, UsageError
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.state import State
from fieldlog.model.verdict import Verdict
from fieldlog.store import entries
from fieldlog.store.base import AsSeen, NewRow, Store
from fieldlog.store.ids import new_id, part_id
from fieldlog.store.records import (
    EventName,
    InspectionRecord,
    NewAttachment,
    NewEvent,
    NewPhoto,
    NewUtterance,
    RecordedFinding,
)
from tests.store_samples import CRACKED, RUN_OUT, START, TREAD, tread_verdict, understood

MediaName = "0" * 64 + ".jpg"


def at(minutes: float) -> datetime:
    """An instant of the tests."""
    return START + timedelta(minutes=minutes)


def vehicle(store: Store, name: str = "blue roadster", minutes: float = 0) -> str:
    """A new vehicle's id."""
    row = entries.vehicle(new_id(at(minutes)), name)
    return store.append([row], at(minutes))[0].id


def inspection(store: Store, of: str, minutes: float = 0) -> str:
    """A new inspection's id."""
    row = entries.inspection(
        new_id(at(minutes)),
        of,
        started_at=at(minutes),
        zone="Europe/Berlin",
        inspector="",
        place="",
        jurisdiction=None,
        settings={},
        program="test",
    )
    return store.append([row], at(minutes))[0].id


def said(of: str, words: str, found: Finding, minutes: float, **more: str) -> list[NewRow]:
    """The rows of an utterance with a finding; ``corrects`` is the id of an earlier one."""
    name = new_id(at(minutes))
    finding_id = part_id(name, "finding")
    rows = [
        entries.utterance(name, of, NewUtterance(understood(words), said_at=at(minutes))),
        entries.finding(finding_id, of, replace(found, words=words), name),
        entries.verdict(part_id(name, "verdict"), of, finding_id, tread_verdict()),
    ]
    if "corrects" in more:
        rows.append(
            entries.correction(
                part_id(name, "correction"), of, more["corrects"], finding_id, words, "spoken"
            )
        )
    return rows


def withdrawn(of: str, finding_id: str, minutes: float) -> list[NewRow]:
    """The row that withdraws a finding."""
    return [entries.correction(new_id(at(minutes)), of, finding_id, None, "gone", "spoken")]


def content(record: InspectionRecord) -> object:
    """A record without what is local to one store: its numbers."""
    return replace(
        record,
        vehicle=replace(record.vehicle, number=0),
        inspection=replace(record.inspection, number=0),
        utterances=tuple(replace(each, number=0) for each in record.utterances),
        findings=tuple(replace(each, number=0) for each in record.findings),
    )


def everything(store: Store) -> object:
    """All that can be read from a store, without what is local to it."""
    owners = [each.id for each in store.vehicles()]
    return (
        [replace(store.vehicle(each), number=0) for each in owners],
        [content(store.read(each.id)) for each in store.inspections(None)],
        [
            [replace(row, inspection_number=0) for row in store.history(each, None, None, None)]
            for each in owners
        ],
        [[text for _, text in store.remarks(each)] for each in owners],
        store.fingerprint(),
    )


def signature(of: str, minutes: float) -> NewRow:
    """The row of a signature."""
    signed = NewEvent(EventName.SIGNED_OFF, "A. Smith")
    return entries.event(new_id(at(minutes)), of, signed, at(minutes))


def by_words(store: Store, of: str) -> dict[str, RecordedFinding]:
    """The findings of an inspection by the words they were said in."""
    return {each.finding.words: each for each in store.read(of).findings}


class Contract:
    """The suite; ``new`` opens a fresh store."""

    orders = 100
    """In how many orders stores are merged."""

    @pytest.fixture
    def new(self) -> Callable[[], Store]:
        """Opens a fresh, empty store at each call; a module of an engine overrides it."""
        raise NotImplementedError

    # -- one store --------------------------------------------------------------------------------

    def test_what_is_appended_is_read_in_its_order(self, new: Callable[[], Store]) -> None:
        store = new()
        of = inspection(store, vehicle(store))
        for number, found in enumerate((TREAD, CRACKED, RUN_OUT), start=1):
            kept = store.append(said(of, f"words {number}", found, number), at(number))
            assert [each.number for each in kept] == [number, number, None]
        record = store.read(of)
        assert [each.finding.words for each in record.findings] == ["words 1", "words 2", "words 3"]
        assert record.findings[2].finding == replace(RUN_OUT, words="words 3")
        assert record.findings[0].verdict == tread_verdict()
        assert [each.said_at for each in record.utterances] == [at(1), at(2), at(3)]
        assert [each.finding.words for each in store.history(record.vehicle.id, None, None, None)]
        assert store.verify().faults == ()
        one = store.verify(of)
        assert (one.faults, one.fingerprint) == ((), record.fingerprint)
        assert one.linked >= one.rows > 0

    def test_a_unit_is_kept_whole_or_not_at_all(self, new: Callable[[], Store]) -> None:
        store = new()
        of = inspection(store, vehicle(store))
        before = everything(store)
        rows = said(of, "rear tread", TREAD, 1)
        with pytest.raises(UsageError, match="there is no finding"):
            store.append([*rows, *withdrawn(of, "nothing", 1)], at(1))
        with pytest.raises(StoreError):
            store.append([*rows, entries.remark(new_id(at(1)), "nowhere", "x", None)], at(1))
        assert everything(store) == before
        store.append(rows, at(1))
        assert store.verify().agrees

    def test_the_same_unit_again_is_kept_once(self, new: Callable[[], Store]) -> None:
        store = new()
        of = inspection(store, vehicle(store))
        rows = said(of, "rear tread", RUN_OUT, 1)
        first = store.append(rows, at(1))
        after = everything(store)
        assert store.append(rows, at(9)) == first
        for other in (rows[:2], [*rows, entries.remark(f"{rows[0].id}-remark", of, "x", None)]):
            with pytest.raises(StoreError, match="already, with other content"):
                store.append(other, at(9))
        assert everything(store) == after

    def test_what_changed_since_it_was_seen_takes_nothing(self, new: Callable[[], Store]) -> None:
        store = new()
        of = inspection(store, vehicle(store))
        seen = AsSeen(of, store.read(of).rows)
        store.append(said(of, "rear tread", TREAD, 1), at(1), seen)
        with pytest.raises(ChangedError):
            store.append(said(of, "disc cracked", CRACKED, 2), at(2), seen)
        assert len(store.read(of).findings) == 1
        store.append(
            said(of, "disc cracked", CRACKED, 2), at(2), replace(seen, rows=store.read(of).rows)
        )
        assert len(store.read(of).findings) == 2

    def test_a_clock_that_goes_back_moves_nothing(self, new: Callable[[], Store]) -> None:
        """The newer row rules over the older one by the chain, not by the clock."""
        store = new()
        of = inspection(store, vehicle(store), 60)
        (first, found, verdict) = said(of, "rear tread", TREAD, 60)
        store.append([first, found, verdict], at(60))
        again = entries.verdict(new_id(at(1)), of, found.id, Verdict(State.BEYOND, None))
        store.append([again], at(1))
        store.append(said(of, "said last", CRACKED, 2), at(2))
        record = store.read(of)
        assert [each.finding.words for each in record.findings] == ["rear tread", "said last"]
        assert record.findings[0].verdict == Verdict(State.BEYOND, None)
        assert record.findings[1].made_at == at(2)
        assert store.history(record.vehicle.id, "tyre", None, None)[0].state is State.BEYOND
        assert store.verify().agrees

    def test_what_no_longer_stands_is_corrected_no_more(self, new: Callable[[], Store]) -> None:
        store = new()
        of = inspection(store, vehicle(store))
        rows = said(of, "first", TREAD, 1)
        store.append(rows, at(1))
        store.append(said(of, "second", TREAD, 2, corrects=rows[1].id), at(2))
        with pytest.raises(UsageError, match="already corrected or withdrawn"):
            store.append(withdrawn(of, rows[1].id, 3), at(3))
        assert [each.findings for each in store.inspections(None)] == [1]

    def test_what_came_after_the_signature_is_known_until_it_is_signed_again(
        self, new: Callable[[], Store]
    ) -> None:
        store = new()
        of = inspection(store, vehicle(store))
        for words, told in (("one", TREAD), ("two", RUN_OUT)):
            store.append(said(of, words, told, 1), at(1))
        assert store.read(of).uncovered == ()
        assert not any(each.made_after_signature for each in store.read(of).findings)
        store.append([signature(of, 2)], at(2))
        assert store.read(of).uncovered == ()
        first = by_words(store, of)
        # the clock went back: what counts is what the signature had seen
        store.append(said(of, "three", CRACKED, 0), at(0))
        store.append(said(of, "one anew", TREAD, 0, corrects=first["one"].id), at(0))
        store.append(withdrawn(of, first["two"].id, 4), at(4))
        found = by_words(store, of)
        made = {words for words, each in found.items() if each.made_after_signature}
        fallen = {words for words, each in found.items() if each.fallen_after_signature}
        assert (made, fallen) == ({"three", "one anew"}, {"one", "two"})
        assert {found["three"].id, found["one anew"].id} < set(store.read(of).uncovered)
        store.append([signature(of, 5)], at(5))
        assert store.read(of).uncovered == ()
        found = by_words(store, of)
        assert not any(f.made_after_signature or f.fallen_after_signature for f in found.values())
        other = inspection(store, vehicle(store, "red single"), 6)
        store.append(said(other, "elsewhere", TREAD, 7), at(7))
        assert store.read(other).uncovered == ()

    # -- two stores -------------------------------------------------------------------------------

    def test_a_signature_covers_nothing_that_another_copy_took_meanwhile(
        self, new: Callable[[], Store]
    ) -> None:
        one, two = new(), new()
        of = inspection(one, vehicle(one))
        rows = said(of, "seen", TREAD, 1)
        one.append(rows, at(1))
        two.take(one.rows())
        two.append(said(of, "meanwhile", CRACKED, 2), at(2))
        two.append(said(of, "seen anew", TREAD, 2, corrects=rows[1].id), at(2))
        one.append([signature(of, 3)], at(3))  # later by the clock, but it had not seen them
        one.take(two.rows())
        two.take(one.rows())
        assert everything(one) == everything(two)
        for store in (one, two):
            found = by_words(store, of)
            made = {words for words, each in found.items() if each.made_after_signature}
            assert made == {"meanwhile", "seen anew"}
            assert found["seen"].fallen_after_signature
        two.append([signature(of, 4)], at(4))
        assert two.read(of).uncovered == ()

    def test_copies_that_went_on_apart_meet_again(self, new: Callable[[], Store]) -> None:
        """Each adds an odometer reading to the vehicle they share, as two bays do."""
        one, two = new(), new()
        machine = vehicle(one)
        two.take(one.rows())
        for store, distance in ((one, 12_000), (two, 13_000)):
            reading = Quantity(Fraction(distance), "km")
            row = entries.odometer(new_id(at(2)), machine, reading, at(2), None)
            store.append([row], at(2))
        assert one.take(two.rows()).rows == 1
        assert two.take(one.rows()).rows == 1
        assert one.fingerprint() == two.fingerprint()
        assert everything(one) == everything(two)
        assert len(one.vehicle(machine).odometer) == 2
        for store in (one, two):
            store.append(
                [entries.remark(new_id(at(3)), inspection(store, machine, 3), "x", None)], at(3)
            )
            assert store.verify().faults == ()

    def test_stores_that_share_nothing_become_one(self, new: Callable[[], Store]) -> None:
        one, two = new(), new()
        for store, name in ((one, "blue roadster"), (two, "red single")):
            of = inspection(store, vehicle(store, name), 1)
            store.append(said(of, name, TREAD, 2), at(2))
        numbers = [each.number for each in one.vehicles()]
        one.take(two.rows())
        two.take(one.rows())
        assert everything(one) == everything(two)
        assert sorted(each.name for each in one.vehicles()) == ["blue roadster", "red single"]
        assert sorted(each.number for each in one.vehicles()) == [1, 2]
        assert one.vehicle("1").name == "blue roadster"
        assert two.vehicle("1").name == "red single"
        assert numbers == [1]
        assert one.verify().agrees

    def test_taking_twice_is_taking_once(self, new: Callable[[], Store]) -> None:
        one, two = new(), new()
        of = inspection(two, vehicle(two))
        two.append(said(of, "rear tread", TREAD, 1), at(1))
        assert one.take(two.rows()).rows == 5
        after = everything(one)
        assert one.take(two.rows()).rows == 0
        assert two.take(one.rows()).rows == 0
        assert everything(one) == everything(two) == after

    def test_what_is_not_whole_is_not_taken(self, new: Callable[[], Store]) -> None:
        """A row that cannot come in, at any place of the other's rows: none of them does."""
        one, two = new(), new()
        of = inspection(two, vehicle(two))
        two.append(said(of, "rear tread", RUN_OUT, 1), at(1))
        rows = list(two.rows())
        before = everything(one)
        for left_out in range(3):
            with pytest.raises(StoreError):
                one.take([*rows[:left_out], *rows[left_out + 1 :]])
            assert everything(one) == before

        def broken() -> object:
            yield from rows[:3]
            raise RuntimeError("the other store went away")

        with pytest.raises(RuntimeError):
            one.take(broken())  # type: ignore[arg-type]
        assert everything(one) == before
        one.take(rows)
        assert everything(one) == everything(two)

    def test_one_id_with_two_contents_is_refused(self, new: Callable[[], Store]) -> None:
        one, two = new(), new()
        name = new_id(at(0))
        one.append([entries.vehicle(name, "blue roadster")], at(0))
        two.append([entries.vehicle(name, "red single")], at(0))
        before = everything(one)
        with pytest.raises(StoreError, match="is in both records and is not the same in both"):
            one.take(two.rows())
        assert everything(one) == before

    @pytest.mark.parametrize("newer", ["corrected", "withdrawn"])
    def test_of_a_correction_and_a_withdrawal_the_newer_rules_and_the_other_is_told(
        self, new: Callable[[], Store], newer: str
    ) -> None:
        one, two = new(), new()
        of = inspection(one, vehicle(one))
        rows = said(of, "misheard", TREAD, 1)
        one.append(rows, at(1))
        two.take(one.rows())
        later = {"corrected": (6, 5), "withdrawn": (5, 6)}[newer]
        one.append(said(of, "anew", TREAD, later[0], corrects=rows[1].id), at(later[0]))
        two.append(withdrawn(of, rows[1].id, later[1]), at(later[1]))
        one.take(two.rows())
        two.take(one.rows())
        assert everything(one) == everything(two)
        found = by_words(one, of)
        if newer == "corrected":
            assert found["anew"].stands
            assert found["anew"].withdrawn_elsewhere
            assert found["anew"].rivalled
            assert not found["misheard"].rivalled
        else:
            assert not any(each.stands for each in found.values())
            assert found["misheard"].rivals == (found["anew"].id,)
            assert found["misheard"].rivalled
            assert "withdrawn later" in found["anew"].reason

    @pytest.mark.parametrize("newer", ["one", "two"])
    def test_of_two_corrections_the_newer_stands_and_both_are_kept(
        self, new: Callable[[], Store], newer: str
    ) -> None:
        one, two = new(), new()
        of = inspection(one, vehicle(one))
        rows = said(of, "misheard", TREAD, 1)
        one.append(rows, at(1))
        two.take(one.rows())
        later = {"one": (6, 5), "two": (5, 6)}[newer]
        one.append(said(of, "one", TREAD, later[0], corrects=rows[1].id), at(later[0]))
        two.append(said(of, "two", TREAD, later[1], corrects=rows[1].id), at(later[1]))
        one.take(two.rows())
        two.take(one.rows())
        assert everything(one) == everything(two)
        found = by_words(one, of)
        older = {"one": "two", "two": "one"}[newer]
        assert [words for words, each in found.items() if each.stands] == [newer]
        assert found[newer].rivals == (found[older].id,)
        assert found[older].superseded_by == found[newer].id
        assert "two copies" in found[older].reason
        assert found["misheard"].superseded_by == found[newer].id
        assert found[older].supersedes == found[newer].supersedes == found["misheard"].id
        assert [each.findings for each in one.inspections(None)] == [1]
        (row,) = one.history(one.read(of).vehicle.id, None, None, None)
        assert row.finding.words == newer
        with pytest.raises(UsageError, match="already corrected"):
            one.append(withdrawn(of, found[older].id, 9), at(9))
        one.append(withdrawn(of, found[newer].id, 9), at(9))
        assert not any(each.stands for each in one.read(of).findings)
        assert one.verify().agrees

    def test_a_withdrawal_and_a_correction_the_newer_rules(self, new: Callable[[], Store]) -> None:
        for gone_at, corrected_at, stands in ((5, 6, ["read again"]), (6, 5, [])):
            one, two = new(), new()
            of = inspection(one, vehicle(one))
            rows = said(of, "misheard", TREAD, 1)
            one.append(rows, at(1))
            two.take(one.rows())
            one.append(withdrawn(of, rows[1].id, gone_at), at(gone_at))
            two.append(
                said(of, "read again", TREAD, corrected_at, corrects=rows[1].id), at(corrected_at)
            )
            one.take(two.rows())
            two.take(one.rows())
            assert everything(one) == everything(two)
            found = by_words(one, of)
            assert [words for words, each in found.items() if each.stands] == stands
            assert found["read again"].withdrawn == (not stands)

    def test_the_same_instant_is_no_tie(self, new: Callable[[], Store]) -> None:
        one, two = new(), new()
        of = inspection(one, vehicle(one))
        rows = said(of, "misheard", TREAD, 1)
        one.append(rows, at(1))
        two.take(one.rows())
        for store, words in ((one, "one"), (two, "two")):
            store.append(said(of, words, TREAD, 5, corrects=rows[1].id), at(5))
        one.take(two.rows())
        two.take(one.rows())
        assert everything(one) == everything(two)
        assert sum(each.stands for each in one.read(of).findings) == 1

    def test_one_original_brought_in_twice_is_one_photo(self, new: Callable[[], Store]) -> None:
        one, two = new(), new()
        of = inspection(one, vehicle(one))
        rows = said(of, "rear tread", TREAD, 1)
        one.append(rows, at(1))
        two.take(one.rows())
        for store, minutes in ((one, 2), (two, 3)):
            photo = entries.photo(new_id(at(minutes)), of, NewPhoto(MediaName, "a.jpg", "jpeg"))
            kept = store.append([photo], at(minutes))[0]
            placed = NewAttachment(kept.id, rows[1].id, f"by {minutes}")
            store.append([entries.attachment(new_id(at(minutes)), of, placed)], at(minutes))
        one.take(two.rows())
        two.take(one.rows())
        assert everything(one) == everything(two)
        (photo_,) = one.read(of).photos
        assert photo_.attachment is not None
        assert photo_.attachment.reason == "by 3"
        assert photo_.attachment.photo_id == photo_.id
        again = entries.photo(new_id(at(9)), of, NewPhoto(MediaName, "b.jpg", "jpeg"))
        assert one.append([again], at(9))[0].id == photo_.id

    def test_any_order_one_fingerprint(self, new: Callable[[], Store]) -> None:
        """Any stores, sharing history or none, in any order, each twice."""
        rng = random.Random(1)
        sources = _grown(new, rng)
        expected = None
        for _ in range(self.orders):
            target = new()
            order = [*sources, *sources]
            rng.shuffle(order)
            for source in order:
                target.take(source.rows())
            read = everything(target)
            expected = expected or read
            assert read == expected
            target.close()
        for one in (*sources, *sources):
            for other in sources:
                one.take(other.rows()) if other is not one else None
        for one in sources:
            assert everything(one) == expected
            assert one.verify().faults == ()


def _grown(new: Callable[[], Store], rng: random.Random) -> Sequence[Store]:
    """Stores that share some history, share none, or have met before."""
    first, second, third, alone = new(), new(), new(), new()
    of = inspection(first, vehicle(first))
    rows = said(of, "misheard", TREAD, 1)
    first.append(rows, at(1))
    second.take(first.rows())
    third.take(first.rows())
    for minutes in range(5, 9):
        for store, name in ((first, "first"), (second, "second"), (third, "third")):
            instant = minutes + rng.choice((0, 0, 0.5))
            words = f"{name} at {minutes}"
            standing = [each for each in store.read(of).findings if each.stands]
            corrects = {"corrects": rng.choice(standing).id} if minutes % 2 and standing else {}
            store.append(said(of, words, TREAD, instant, **corrects), at(instant))
        if minutes == 6:
            second.take(third.rows())
    elsewhere = inspection(alone, vehicle(alone, "red single", 2), 2)
    alone.append(said(elsewhere, "alone", RUN_OUT, 3), at(3))
    return [first, second, third, alone]


__all__ = ["UTC", "Contract"]
