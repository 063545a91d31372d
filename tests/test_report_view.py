"""What a report shows of a record."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from pathlib import Path

import pytest

from fieldlog.aftercare.due import DueItem, When
from fieldlog.catalogue.component import Axis, Catalogue, Component
from fieldlog.limits.cautions import DEFERS
from fieldlog.limits.packs import covered
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.question import Asks, Question
from fieldlog.model.state import Severity, State
from fieldlog.model.understanding import Decision, Kind
from fieldlog.model.verdict import Verdict
from fieldlog.report.lines import zone_of
from fieldlog.report.surroundings import Surroundings
from fieldlog.report.view import build
from fieldlog.report.view_model import Report
from fieldlog.store.records import NewEntry, NewUtterance
from fieldlog.store.repository import Repository
from tests.store_samples import START, Filled, fill, ticking, understood

CATALOGUE = Catalogue(
    {
        "tyre": Component("tyre", "tyres", ("tyre",), axes=(Axis("end", True),)),
        "rim": Component("rim", "wheels", ("rim",), axes=(Axis("end", True),)),
        "brake disc": Component(
            "brake disc",
            "brakes",
            ("disc",),
            axes=(Axis("end", True),),
            cautions=("hot after use",),
        ),
        "battery": Component("battery", "battery", ("battery",)),
        "horn": Component("horn", "lights", ("horn",)),
    }
)
PRINTED = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Repository]:
    with Repository.open(tmp_path / "shop", now=ticking()) as opened:
        yield opened


@pytest.fixture
def filled(store: Repository, tmp_path: Path) -> Filled:
    return fill(store, tmp_path)


def _report(store: Repository, **around: object) -> Report:
    surroundings = Surroundings(CATALOGUE, PRINTED)
    return build(store.inspection_record("last"), replace(surroundings, **around))  # type: ignore[arg-type]


def test_head(store: Repository, filled: Filled) -> None:
    report = _report(store)
    fields = dict(report.fields)
    assert report.vehicle == fields["vehicle"] == "blue roadster"
    assert fields["inspected"] == "2026-05-04 10:30"  # Europe/Berlin, summer time
    assert fields["odometer"] == "12345 km"
    assert fields["limits of"] == "DE"
    assert fields["limits held of its rules"].startswith("no list of any rule")
    assert fields["rim"] == "alloy"
    assert report.card_number == "2026-05-04 / 1"
    assert report.fingerprint == store.inspection_record("last").fingerprint
    assert report.printed == "2026-05-04 14:00"
    assert "safe" not in (report.headline + report.deferral).lower()


def test_the_head_says_how_much_of_a_rule_was_held(store: Repository, filled: Filled) -> None:
    held = dict(_report(store, covered=covered("DE")).fields)["limits held of its rules"]
    # 2014/45/EU annex I: sections 0, 1, 2, 5 in part; 1 to 8 but 0 go on unread.
    assert held == "EU: 9 of 28 items; not read: 6 items, 8 sections"


def test_a_finding_shows_value_words_limit_source_and_margin(
    store: Repository, filled: Filled
) -> None:
    (row,) = next(s for s in _report(store).systems if s.name == "tyres").findings
    assert (row.number, row.subject, row.value) == (2, "rear tyre, tread depth", "2/32 in")
    assert row.state == "marginal"
    assert row.severity == "major"
    assert "corrects no. 1 (about 4/32 to 5/32 in)" in row.notes
    gate, other = row.limits
    assert gate.gates
    assert (gate.text, gate.status) == ("at least 1 mm", "cited")
    assert gate.source == "an invented regulation, § 3, 2024"
    assert gate.detail == (
        "reads 3.175 mm; margin ≈ +2.17 mm; guard band 0.1 mm; "
        "conforms with probability 99.87 %; inside"
    )
    assert not other.gates
    assert other.text == "at least 1/16 in"
    assert row.gauge is not None


def test_what_is_not_within_lists_dangerous_first_then_the_worst(
    store: Repository, filled: Filled
) -> None:
    for position, state, severity in (
        ("front", State.MARGINAL, Severity.DANGEROUS),
        ("rear", State.UNDECIDED, None),
    ):
        store.save(
            filled.inspection_id,
            NewEntry(
                finding=Finding("rim", position, "condition", condition="bent"),
                verdict=Verdict(state, None, severity=severity),
            ),
        )
    report = _report(store)
    assert [(row.number, row.state) for row in report.off] == [
        (6, "marginal"),
        (3, "beyond"),
        (2, "marginal"),
        (7, "undecided"),
    ]
    assert dict(report.counts) == {
        "beyond": 1,
        "faulty": 0,
        "marginal": 2,
        "undecided": 1,
        "within": 0,
        "not judged": 1,
    }


def test_what_was_not_checked_comes_from_the_catalogue(store: Repository, filled: Filled) -> None:
    store.add_event(filled.inspection_id, "skipped", "no battery fitted", data={"item": "battery"})
    report = _report(store)
    by_name = {s.name: s for s in report.systems}
    assert by_name["tyres"].not_checked == ("front tyre",)
    assert by_name["brakes"].not_checked == ("rear brake disc",)
    assert by_name["lights"].not_checked == ("horn",)
    assert by_name["battery"].not_checked == ()
    assert by_name["battery"].left_out == ("battery: no battery fitted",)
    assert "3 items not checked" not in report.headline
    assert "4 items not checked" in report.headline  # with the rear rim
    store.set_facts(filled.vehicle_id, {"not_fitted": "horn, rear rim"})
    report = _report(store)
    assert "2 items not checked" in report.headline
    assert "not fitted" not in dict(report.fields)


def test_a_component_the_catalogue_does_not_know_is_shown(
    store: Repository, filled: Filled
) -> None:
    store.save(
        filled.inspection_id,
        NewEntry(finding=Finding("sidecar", None, "condition", condition="bent")),
    )
    other = _report(store).systems[-1]
    assert other.name == "other"
    assert [row.subject for row in other.findings] == ["sidecar"]


def test_photos_follow_corrections(store: Repository, filled: Filled) -> None:
    (cell,) = _report(store).photos
    assert cell.reason == "moved on the review page; 2.2 s after (± 0.5 s)"
    assert cell.when == "10:30:07"
    store.attach(filled.inspection_id, filled.photo_id, filled.tread_id, reason="said so", gap_s=-1)
    (row,) = next(s for s in _report(store).systems if s.name == "tyres").findings
    assert [p.reason for p in row.photos] == ["said so; 1.0 s before"]
    store.withdraw(filled.corrected_id, reason="no")
    report = _report(store)
    assert report.unplaced[0].reason.startswith("finding no. 2 was withdrawn; said so")
    store.attach(
        filled.inspection_id,
        filled.photo_id,
        None,
        reason="two findings fit",
        candidates=(filled.cracked_id, filled.tread_id, "elsewhere"),
    )
    assert _report(store).unplaced[0].reason == "two findings fit; could be no. 1, 3"


def test_what_was_heard_but_made_no_finding(store: Repository, filled: Filled) -> None:
    asked = understood(
        "pads two",
        decision=Decision.ASK,
        reason="no end said",
        question=Question(Asks.PLACE, "front or rear?"),
        candidates=tuple(Finding("brake pads", end, "thickness") for end in ("front", "rear")),
    )
    store.save(
        filled.inspection_id,
        NewEntry(NewUtterance(asked, START + timedelta(minutes=1), source="x")),
    )
    report = _report(store)
    assert [(line.text, line.reason) for line in report.asked] == [
        ("pads two", "front or rear? (no finding of it followed)")
    ]
    assert "1 spoken value never confirmed" in report.headline
    (line,) = report.not_understood
    assert line.reason == "nothing of the grammar fits"
    assert line.clip is not None
    (remark,) = report.remarks
    assert remark.text == "the owner wants it back friday"
    assert remark.when == "10:30:30"
    store.save(
        filled.inspection_id,
        NewEntry(
            NewUtterance(understood("rear pads two millimetres"), START + timedelta(minutes=2)),
            finding=Finding("brake pads", "rear", "thickness", Quantity(Fraction(2), "mm")),
        ),
    )
    report = _report(store)
    assert report.asked[0].reason == "front or rear?"
    assert "never confirmed" not in report.headline


@pytest.mark.parametrize(
    ("component", "position", "characteristic", "closes"),
    [
        ("brake pads", "front", "thickness", True),
        ("brake pads", "front", "condition", False),
        ("brake pads", "rear", "thickness", False),
        ("brake fluid", "front", "thickness", False),
        ("front sprocket", None, "thickness", False),
    ],
)
def test_a_question_stays_open_until_its_own_thing_was_found(
    store: Repository,
    filled: Filled,
    component: str,
    position: str | None,
    characteristic: str,
    closes: bool,
) -> None:
    asked = understood(
        "front pads two",
        decision=Decision.ASK,
        question=Question(Asks.HEARD, "2 mm?"),
        candidates=(Finding("brake pads", "front", "thickness"),),
    )
    store.save(filled.inspection_id, NewEntry(NewUtterance(asked, START + timedelta(minutes=1))))
    found = Finding(component, position, characteristic, condition="sound")
    store.save(
        filled.inspection_id,
        NewEntry(NewUtterance(understood("later"), START + timedelta(minutes=2)), finding=found),
    )
    assert ("never confirmed" not in _report(store).headline) is closes


def test_the_trail_of_corrections(store: Repository, filled: Filled) -> None:
    lines = _report(store).corrections
    assert [(line.number, line.before, line.after, line.reason) for line in lines] == [
        (1, "rear tyre, tread depth: about 4/32 to 5/32 in", "no. 2: 2/32 in", "misheard"),
        (5, "brake fluid, grade: DOT 5.1", "withdrawn", "wrong machine"),
    ]


def test_how_the_record_was_made(store: Repository, filled: Filled) -> None:
    told = _report(store, notes=("the clock was set by hand",)).provenance
    assert ("clock of Umberfold X1 0042", "1 h ahead, ± 0.5 s (time code)") in told
    assert ("listener", "whisper, typed") in told
    assert ("model", "tiny.en 1a5afae0") in told
    assert any(label == "overflow" and "0.2 s of sound lost" in value for label, value in told)
    assert ("note", "the clock was set by hand") in told


def test_sign_offs_and_cautions(store: Repository, filled: Filled) -> None:
    store.add_event(filled.inspection_id, "signed off", "A. Inspector", at=START)
    report = _report(store)
    assert report.signed == ("A. Inspector, 2026-05-04 10:30, not signed with a key",)
    assert report.cautions == (
        "support the machine before lifting a wheel",
        "hot after use",
        DEFERS,
    )


def test_due_items(store: Repository, filled: Filled) -> None:
    item = DueItem(
        "tread depth reaches 1 mm",
        "tyre",
        "rear",
        date(2026, 9, 1),
        Fraction(15_000),
        date(2026, 8, 1),
        None,
        When.LATER,
        "straight line through 4 readings",
        "an invented regulation",
    )
    (row,) = _report(store, due=(item,)).due
    assert row.what == "rear tyre: tread depth reaches 1 mm"
    assert row.by == "2026-09-01 or 15000 km (between 2026-08-01 and an open end)"


@pytest.mark.parametrize(
    ("name", "offset"),
    [("+02:00", 2.0), ("-05:30", -5.5), ("UTC", 0.0), ("Europe/Berlin", 2.0)],
)
def test_zones(name: str, offset: float) -> None:
    zone = zone_of(name)
    assert zone is not None
    shift = zone.utcoffset(START.replace(tzinfo=None))
    assert shift == timedelta(hours=offset)


@pytest.mark.parametrize("name", ["Nowhere/At_All", "", "../etc/passwd"])
def test_an_unknown_zone_is_said_not_guessed(store: Repository, name: str) -> None:
    assert zone_of(name) is None
    vehicle = store.add_vehicle("red single")
    store.start_inspection(vehicle.id, zone=name, started_at=START)
    report = _report(store)
    assert f"{name} (not known here: times are UTC)" in dict(report.provenance)["session clock"]
    assert dict(report.fields)["inspected"] == "2026-05-04 08:30"


def test_an_empty_inspection_has_a_report(store: Repository) -> None:
    store.start_inspection(store.add_vehicle("red single").id)
    report = _report(store)
    assert report.headline.startswith("Nothing was judged")
    assert report.findings == ()
    assert Kind.FINDING.value not in report.headline


def test_what_was_typed_is_not_said_and_what_was_only_heard_is_no_quotation(
    store: Repository, filled: Filled
) -> None:
    typed = replace(understood("horn sound"), kind=Kind.FINDING)
    store.save(
        filled.inspection_id,
        NewEntry(
            NewUtterance(typed, said_at=START + timedelta(seconds=90)),
            finding=Finding("horn", None, None, None, "sound", words="horn sound"),
        ),
    )
    unheard = understood("left bird coat", decision=Decision.REFUSE, kind=Kind.NOTHING)
    store.save(
        filled.inspection_id,
        NewEntry(
            NewUtterance(
                unheard, said_at=START + timedelta(seconds=95), source="walk.flac", clip=filled.clip
            )
        ),
    )
    report = _report(store)
    told = {row.spoken: row.told for row in report.findings if row.spoken}
    assert told["horn sound"] == "typed “horn sound”"
    spoken = replace(understood("horn silent"), kind=Kind.FINDING)
    store.save(
        filled.inspection_id,
        NewEntry(
            NewUtterance(spoken, said_at=START + timedelta(seconds=99), source="walk.flac"),
            finding=Finding("horn", None, None, None, "faint", words="horn faint"),
        ),
    )
    assert "said “horn silent”" in {row.told for row in _report(store).findings}
    bird = next(line for line in report.not_understood if "bird" in line.text)
    assert bird.told == "heard as: left bird coat"
    assert bird.clip is not None
    assert bird.clip.said == ""
    assert dict(report.provenance).get("sound from", "") != "typed"
