"""What a session saves comes back whole, together or not at all, and survives being killed."""

from __future__ import annotations

import subprocess
import sys
import textwrap
import threading
from collections.abc import Iterator
from dataclasses import fields
from datetime import timedelta
from fractions import Fraction
from pathlib import Path

import pytest

from fieldlog.errors import StoreError, UsageError
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.limit import Limit, LimitStatus
from fieldlog.model.question import Asks, Question
from fieldlog.model.state import State
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding
from fieldlog.model.verdict import Verdict
from fieldlog.store.records import NewEntry, NewPhoto, NewUtterance
from fieldlog.store.repository import Repository
from tests.store_samples import (
    CRACKED,
    GRADE,
    RUN_OUT,
    START,
    TREAD,
    Filled,
    fill,
    ticking,
    tread_limit,
    tread_verdict,
    understood,
)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Repository]:
    with Repository.open(tmp_path / "shop", now=ticking()) as opened:
        yield opened


@pytest.fixture
def filled(store: Repository, tmp_path: Path) -> Filled:
    return fill(store, tmp_path)


def test_everything_saved_comes_back(store: Repository, filled: Filled) -> None:
    record = store.inspection_record(filled.inspection_id)
    head = record.inspection
    assert (head.number, head.zone, head.inspector, head.place) == (
        1,
        "Europe/Berlin",
        "A. Inspector",
        "bay 2",
    )
    assert (head.jurisdiction, dict(head.settings)) == ("DE", {"rim": "alloy"})
    assert head.started_at == START
    assert head.findings == 3
    assert record.findings[0].finding == TREAD
    assert [f.finding for f in record.findings][2:] == [CRACKED, RUN_OUT, GRADE]
    assert [f.number for f in record.findings] == [1, 2, 3, 4, 5]
    assert record.findings[0].verdict == tread_verdict()
    assert record.findings[2].verdict == Verdict(State.BEYOND, None)
    heard = record.utterances[0]
    assert heard.clip == filled.clip
    assert (heard.listener, heard.model, heard.grammar) == ("whisper", "tiny.en 1a5afae0", "9d3f")
    assert (heard.start_s, heard.end_s, heard.source) == (5.0, 7.25, "walk.flac")
    assert heard.said_at == START + timedelta(seconds=5)
    assert heard.latency_ms == 95.0
    assert heard.flags == ("homophone",)
    assert [(name, h.text, h.score) for name, h in heard.hypotheses] == [
        ("whisper", "rear tread about four thirty seconds", -0.5),
        ("whisper", "rear tread about five thirty seconds", -4.5),
        ("pocketsphinx", "rear tread four", -2400.0),
    ]
    assert heard.hypotheses[0][1].evidence == {"bend": 0.1}
    assert record.utterances[2].decision is Decision.REFUSE
    assert record.utterances[2].kind is Kind.NOTHING
    assert [r.text for r in record.remarks] == ["the owner wants it back friday"]
    assert [(m.name, m.at, m.finding_id) for m in record.marks] == [
        ("photo", START + timedelta(seconds=5), filled.tread_id)
    ]
    (photo,) = record.photos
    assert (photo.media, photo.file, photo.orientation) == (filled.original, "IMG_0001.JPG", 6)
    assert photo.capture_local == "2026-05-04T10:30:07.25"
    assert photo.utc == START + timedelta(seconds=7.25)
    assert photo.attachment is not None
    assert photo.attachment.finding_id == filled.cracked_id
    assert photo.attachment.gap_s == 2.25
    assert [(c.camera, c.offset_s, dict(c.evidence)) for c in record.clocks] == [
        ("Umberfold X1 0042", 3600.5, {"pairs": "4"})
    ]
    assert [(e.name, dict(e.data)) for e in record.events] == [("overflow", {"at_s": "12.5"})]


def test_every_part_of_a_finding_and_a_verdict_has_a_column(store: Repository) -> None:
    """A field added to the model must be kept as well: this fails until it is."""
    assert {f.name for f in fields(Finding)} == {
        *("component", "position", "characteristic", "quantity", "condition", "code"),
        *("readings", "words", "given"),
    }
    assert {f.name for f in fields(Verdict)} == {
        *("state", "gate", "others", "severity", "reason", "cautions"),
    }
    assert {f.name for f in fields(Quantity)} == {
        *("value", "unit", "words", "high", "qualifier", "uncertainty"),
    }


def test_corrections_keep_what_they_correct(store: Repository, filled: Filled) -> None:
    record = store.inspection_record("last")
    first, second, *_, last = record.findings
    assert not first.stands
    assert first.superseded_by == second.id == filled.corrected_id
    assert first.reason == "misheard"
    assert second.supersedes == first.id
    assert second.stands
    assert last.withdrawn
    assert last.reason == "wrong machine"
    assert [h.finding.component for h in store.history(filled.vehicle_id)] == [
        "tyre",
        "brake disc",
        "rim",
    ]


def test_a_finding_that_no_longer_stands_cannot_be_corrected_again(
    store: Repository, filled: Filled
) -> None:
    before = store.verify().rows
    with pytest.raises(UsageError, match="already corrected or withdrawn"):
        store.save(filled.inspection_id, NewEntry(finding=TREAD, corrects=filled.tread_id))
    with pytest.raises(UsageError, match="already corrected or withdrawn"):
        store.withdraw(filled.tread_id)
    with pytest.raises(UsageError, match="there is no finding"):
        store.withdraw("nowhere")
    assert store.verify().rows == before


def test_a_spoken_correction_is_one_unit_with_its_utterance(
    store: Repository, filled: Filled
) -> None:
    new = Finding("tyre", "rear", "tread depth", Quantity(Fraction(3, 32), "in"))
    saved = store.save(
        filled.inspection_id,
        NewEntry(
            NewUtterance(understood("correction three thirty seconds"), said_at=START),
            finding=new,
            corrects=filled.corrected_id,
        ),
    )
    record = store.inspection_record("last")
    assert record.findings[1].superseded_by == saved.finding_id
    assert record.findings[5].supersedes == filled.corrected_id
    withdrawn = store.save(
        filled.inspection_id,
        NewEntry(
            NewUtterance(understood("disregard", kind=Kind.DIALOGUE, dialogue="disregard"), START),
            corrects=saved.finding_id,
        ),
    )
    assert withdrawn.finding_id is None
    assert store.inspection_record("last").findings[5].withdrawn


def test_a_value_that_cannot_be_kept_exactly_saves_nothing(
    store: Repository, filled: Filled
) -> None:
    before = store.inspection_record("last")
    with pytest.raises(StoreError, match="too long to be kept exactly"):
        store.save(
            filled.inspection_id,
            NewEntry(
                NewUtterance(understood("x"), said_at=START),
                finding=Finding("tyre", "rear", "tread depth", Quantity(Fraction(1, 2**70), "mm")),
            ),
        )
    assert store.inspection_record("last") == before


def test_references_must_exist(store: Repository, filled: Filled) -> None:
    with pytest.raises(StoreError, match="FOREIGN KEY"):
        store.add_remark("no such inspection", "x")
    with pytest.raises(StoreError, match="FOREIGN KEY"):
        store.attach(filled.inspection_id, filled.photo_id, "no such finding", reason="x")
    assert store.verify().agrees


def test_the_same_original_twice_is_one_photo(store: Repository, filled: Filled) -> None:
    again = NewPhoto(filled.original, "copy of IMG_0001.JPG", "jpeg")
    assert store.add_photo(filled.inspection_id, again) == filled.photo_id
    assert store.add_photos(filled.inspection_id, [again, again]) == (filled.photo_id,) * 2
    assert len(store.inspection_record("last").photos) == 1


def test_newer_facts_and_own_limits_rule(store: Repository, filled: Filled) -> None:
    vehicle = store.vehicle("blue roadster")
    assert dict(vehicle.facts) == {"class": "L3e", "rim": "alloy"}
    assert vehicle.limits == (tread_limit(Fraction(2)),)
    assert [int(o.distance.value) for o in vehicle.odometer] == [12_345, 12_000]  # by read_at
    entered = Limit(
        **{
            **{f.name: getattr(tread_limit(), f.name) for f in fields(Limit)},
            "value": Fraction(3),
            "status": LimitStatus.ENTERED,
        }
    )
    store.set_vehicle_limit(vehicle.id, entered)
    assert store.vehicle("1").limits == (entered,)
    store.drop_vehicle_limit(vehicle.id, entered.id)
    assert store.vehicle(vehicle.id).limits == ()
    with pytest.raises(UsageError, match="km or mi"):
        store.add_odometer(vehicle.id, Quantity(Fraction(1), "mm"))
    assert store.verify().agrees


def test_a_newer_verdict_rules(store: Repository, filled: Filled) -> None:
    verdicts = ((filled.corrected_id, tread_verdict(State.UNDECIDED)),)
    store.save(filled.inspection_id, NewEntry(verdicts=verdicts))
    verdict = store.inspection_record("last").findings[1].verdict
    assert verdict is not None
    assert verdict.state is State.UNDECIDED
    assert store.history(filled.vehicle_id, "tyre")[0].state is State.UNDECIDED


def test_history_is_narrowed_and_knows_the_distance(store: Repository, filled: Filled) -> None:
    later = store.start_inspection(
        filled.vehicle_id,
        started_at=START + timedelta(days=90),
        odometer=Quantity(Fraction(9_000), "mi"),
    )
    store.save(later.id, NewEntry(finding=TREAD))
    other = store.add_vehicle("red single")
    store.save(store.start_inspection(other.id).id, NewEntry(finding=TREAD))
    rows = store.history(filled.vehicle_id, "tyre", "rear", "tread depth")
    assert [(r.inspection_number, r.odometer and str(r.odometer.value)) for r in rows] == [
        (1, "12345"),
        (2, "9000"),
    ]
    assert store.history(filled.vehicle_id, "tyre", "front") == ()
    assert len(store.history(filled.vehicle_id)) == 4
    assert store.history(filled.vehicle_id, "rim")[0].finding == RUN_OUT


def test_looking_up(store: Repository, filled: Filled) -> None:
    assert store.inspection("1").id == store.inspection("last").id == filled.inspection_id
    assert [i.number for i in store.inspections(filled.vehicle_id)] == [1]
    assert store.inspections("nobody") == ()
    for key in ("2", "nobody", "99999999999999999999"):
        with pytest.raises(UsageError, match="there is no inspection"):
            store.inspection(key)
    with pytest.raises(UsageError, match="there is no vehicle"):
        store.vehicle("nobody")
    with pytest.raises(UsageError, match="needs a name"):
        store.add_vehicle("  ")


@pytest.mark.parametrize("words", ["12.6", "front-left", "O'Brien", '"', "AND", "*", "", "%_"])
def test_any_words_can_be_looked_up_and_kept(store: Repository, filled: Filled, words: str) -> None:
    """S8: nothing that is said or typed is ever taken for a query."""
    assert store.history(filled.vehicle_id, words or "none") == ()
    store.add_remark(filled.inspection_id, words)
    assert store.inspection_record("last").remarks[-1].text == words


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("caf\udce9.jpg", "caf\\udce9.jpg"),
        ("a\x00b", "a\\x00b"),
        ("\u2028 \U0001f3cd é", "\u2028 \U0001f3cd é"),
    ],
)
def test_odd_text_is_kept_and_its_hash_holds(
    store: Repository, filled: Filled, given: str, kept: str
) -> None:
    store.add_remark(filled.inspection_id, given)
    photo = NewPhoto("0" * 64 + ".jpg", given, "jpeg")
    store.add_photo(filled.inspection_id, photo)
    record = store.inspection_record("last")
    assert record.remarks[-1].text == record.photos[-1].file == kept
    assert all("is missing" in fault for fault in store.verify().faults)


@pytest.mark.parametrize("number", [-0.0, 0.0, 5e-324, 1e308, 2.5, float("inf"), float("nan")])
def test_odd_numbers_are_kept_and_their_hash_holds(
    store: Repository, filled: Filled, number: float
) -> None:
    store.attach(
        filled.inspection_id, filled.photo_id, None, reason="x", gap_s=number, uncertainty_s=number
    )
    kept = store.inspection_record("last").photos[0].attachment
    assert kept is not None
    assert kept.gap_s == (number if abs(number) <= 1e308 else None)
    assert store.verify().agrees


def test_threads_share_one_store(store: Repository, filled: Filled) -> None:
    def work() -> None:
        for _ in range(10):
            store.add_remark(filled.inspection_id, "from a thread")
            store.inspection_record(filled.inspection_id)

    threads = [threading.Thread(target=work) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(store.inspection_record("last").remarks) == 41
    assert store.verify().agrees


_WRITER = """
    import sys
    from pathlib import Path
    from fieldlog.store.repository import Repository
    with Repository.open(Path(sys.argv[1])) as store:
        for number in range(int(sys.argv[3])):
            store.add_remark(sys.argv[2], f"{sys.argv[4]} {number}")
            store.inspection_record(sys.argv[2])
"""


def test_two_programs_write_and_read_at_once(store: Repository, filled: Filled) -> None:
    """S1, S2: each reads the chain's head and writes the next row; none fails, none is lost."""
    writers = [
        _run(_WRITER, str(store.folder), filled.inspection_id, "60", name) for name in ("a", "b")
    ]
    for number in range(40):
        store.add_remark(filled.inspection_id, f"c {number}")
    for writer in writers:
        _, errors = writer.communicate(timeout=120)
        assert writer.returncode == 0, errors
    kept = {remark.text for remark in store.inspection_record("last").remarks[1:]}
    assert kept == {
        f"{n} {i}" for n, count in (("a", 60), ("b", 60), ("c", 40)) for i in range(count)
    }
    assert store.verify().agrees


def _run(code: str, *arguments: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(code), *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).resolve().parents[1],
    )


def test_utterance_parts_come_back(store: Repository, filled: Filled) -> None:
    asked = Understanding(
        Decision.ASK,
        Kind.FINDING,
        "which end",
        "pads two millimetres",
        question=Question(Asks.PLACE, "front or rear?"),
        flags=(Flag.UNIT_ASSUMED,),
    )
    store.save(filled.inspection_id, NewEntry(NewUtterance(asked, START, source="microphone")))
    kept = store.inspection_record("last").utterances[-1]
    assert (kept.decision, kept.kind, kept.reason) == (asked.decision, asked.kind, asked.reason)
    assert (kept.text, kept.question, kept.flags) == (asked.text, asked.question_text, asked.flags)
    assert (kept.clip, kept.listener, kept.latency_ms) == (None, "typed", None)
