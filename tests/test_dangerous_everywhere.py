"""Nothing left, or twice the limit: nowhere does the headline send anybody out on it."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

import pytest

from fieldlog.aftercare.conclusion import conclude
from fieldlog.aftercare.job_lines import Judged, job_lines
from fieldlog.language.files import load_language
from fieldlog.limits.assess import assess
from fieldlog.limits.context import JURISDICTIONS, parse_context
from fieldlog.limits.packs import parse_pack, shipped_limits, shipped_sides
from fieldlog.limits.sides import Measure, Side, ends_of, sides_faults
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.state import Severity, State
from fieldlog.model.understanding import Decision
from fieldlog.model.verdict import Verdict
from fieldlog.quantities.units import convert

LANGUAGE = load_language()
LIMITS = shipped_limits()
SIDES = shipped_sides()
TODAY = date(2026, 11, 25)
EVERYWHERE: tuple[str | None, ...] = (None, *JURISDICTIONS)
NOT_TO_BE_RIDDEN = ("do not ride it before this", "put this right before it goes back")
CASES = [(measure, side) for measure, wrong in SIDES.wrong.items() for side in sorted(wrong)]


def _worst(measure: Measure, side: Side) -> Quantity:
    """Nothing left where less is worse; where more is, twice the mildest limit that speaks everywhere."""
    component, name = measure
    found = LANGUAGE.catalogue[component].characteristic(name)
    assert found is not None
    unit = found.units[0]
    if side is Side.LESS:
        lowest = next(r for r in found.ranges)
        return Quantity(convert(lowest.low, lowest.unit, unit), unit)
    ends = [
        (end, row.unit)
        for row in LIMITS
        if (row.component, row.characteristic) == measure
        and "jurisdiction" not in row.applies
        and (end := ends_of(row, side)) is not None
    ]
    twice = min((convert(2 * end, printed, unit) for end, printed in ends), default=None)
    assert twice is not None, f"{measure}: no limit"
    return Quantity(twice, unit)


@pytest.mark.parametrize(("measure", "side"), CASES, ids=lambda each: str(each))
def test_nothing_left_and_twice_the_limit_are_not_to_be_ridden(
    measure: Measure, side: Side
) -> None:
    component, name = measure
    value = _worst(measure, side)
    found = Finding(component, "front", name, value, words="")
    for where in EVERYWHERE:
        context = parse_context(where)
        verdict = assess(found, LIMITS, context, LANGUAGE.catalogue, TODAY).verdict
        told = conclude([verdict], 0).headline
        assert any(lead in told for lead in NOT_TO_BE_RIDDEN), (where, value, told, verdict)
        assert job_lines([Judged("a", found, verdict)], LANGUAGE.catalogue), (where, value)


def test_every_measure_has_a_side_or_a_reason_and_every_side_a_limit() -> None:
    assert sides_faults(LIMITS, LANGUAGE.catalogue, SIDES) == []
    assert all(reason.strip() for reason in SIDES.none.values())
    without = [row for row in LIMITS if row.id != "common.slack-high"]
    assert sides_faults(without, LANGUAGE.catalogue, SIDES) == [
        "sides: drive chain, slack: no limit holds more everywhere"
    ]


def judged(words: str, where: str | None = None, *settings: str) -> Verdict:
    understood = LANGUAGE.understand(words)
    assert understood.decision is Decision.ACCEPT, f"{words}: {understood.reason}"
    assert understood.finding is not None
    context = parse_context(where, settings)
    return assess(understood.finding, LIMITS, context, LANGUAGE.catalogue, TODAY).verdict


GRAVE = (
    "front pads zero millimetres",
    "rear brake shoes zero millimetres",
    "front disc run out three millimetres",
    "battery charging voltage seventeen volts",
    "battery six volts",
    "rear tyre age twenty five years",
    "rear tyre zero psi",
    "front tyre cords showing",
    "front wheel bearing play five millimetres",
    "chain slack zero millimetres",
    "chain slack ninety millimetres",
    "front rim lateral run out ten millimetres",
    "rear axle nut torque five newton metres",
    "headlamp aim offset two inches down at ten feet",
    "frame cracked",
    "front brake line leaking",
    "rear disc cracked",
)


@pytest.mark.parametrize("words", GRAVE)
def test_what_a_mechanic_would_not_ride_is_grave_everywhere(words: str) -> None:
    for where in EVERYWHERE:
        verdict = judged(words, where)
        # open is only what asks for a qualifier, and that counts with its severity
        decided = verdict.state in (State.FAULTY, State.BEYOND)
        assert decided or verdict.in_doubt is not None, (where, verdict)
        assert verdict.severity in (Severity.MAJOR, Severity.DANGEROUS), (where, verdict)


def test_a_fault_is_never_marginal() -> None:
    """Every condition of the catalogue that is not as it should be, everywhere."""
    contexts = [(where, parse_context(where)) for where in EVERYWHERE]
    for component in LANGUAGE.catalogue:
        for name, condition, severity in component.judged():
            found = Finding(component.name, "front", name, condition=condition)
            for where, context in contexts:
                verdict = assess(found, LIMITS, context, LANGUAGE.catalogue, TODAY).verdict
                assert verdict.state is not State.MARGINAL, (where, found)
                if severity is not None and verdict.gate is None:
                    assert (verdict.state, verdict.severity) == (State.FAULTY, severity)


@pytest.mark.parametrize(
    ("words", "state"),
    [
        ("front spokes adjusted a quarter turn", State.WITHIN),
        ("vent hose one inch below the frame", State.WITHIN),
        ("vent hose two inches below the frame", State.WITHIN),
        ("front tyre age six years", State.WITHIN),
        ("front tyre age about six years", State.WITHIN),
        ("front brake fluid age two years", State.WITHIN),
        ("throttle cable free play two millimetres", State.WITHIN),
        ("front tread two millimetres", State.FAULTY),
        ("front pads one point seven millimetres", State.MARGINAL),  # a measured limit: 1/16 in
    ],
)
def test_a_guard_band_belongs_to_what_is_measured(words: str, state: State) -> None:
    assert judged(words).state is state


def test_an_age_has_no_guard_band_whatever_is_set() -> None:
    assert judged("front tyre age six years", None, "uncertainty=1a").state is State.WITHIN


def test_a_superseded_edition_never_says_beyond() -> None:
    rows = """
        [pack]
        id = "old"
        title = "old"
        jurisdiction = "GB"
        layer = "regulation"
        status = "cited"
        section = "1"
        edition = "2005"
        read_on = "2026-11-29"
        seen = "text"
        source = "an old manual"
        text = "5 mm at least"
        [[limit]]
        id = "old.disc"
        component = "brake disc"
        characteristic = "thickness"
        relation = "at least"
        printed = "5 mm"
        superseded = true
        severity = "dangerous"
    """
    pack, faults = parse_pack(rows, "old.toml")
    assert pack is not None
    assert not faults
    thin = Finding("brake disc", "front", "thickness", Quantity(Fraction(4), "mm"))
    got = assess(thin, pack.limits, parse_context("GB"), LANGUAGE.catalogue, TODAY).verdict
    assert (got.state, got.severity) == (State.FAULTY, Severity.DANGEROUS)
    assert "superseded edition" in got.reason
    held = [row for row in shipped_limits() if "older manual" in row.edition]
    assert all(row.superseded for row in held)
    for where in EVERYWHERE:
        verdict = judged("front pads one millimetre", where)
        if verdict.gate is not None:
            assert not (verdict.state is State.BEYOND and verdict.gate.limit.superseded)


def test_a_tolerance_nobody_entered_is_common_practice() -> None:
    off = judged("front tyre thirty psi", None, "pressure_front=36psi")
    assert off.state is State.FAULTY
    assert "no tolerance was entered" in off.reason
    told = judged("front tyre thirty psi", None, "pressure_front=36psi", "pressure_tolerance=10%")
    assert told.state is State.BEYOND


def test_a_limit_for_machines_does_not_clear_a_chain() -> None:
    for where in EVERYWHERE:
        verdict = judged("chain elongation two point five percent", where)
        assert (verdict.state, verdict.severity) == (State.FAULTY, Severity.MAJOR), where
    assert judged("chain elongation three point five percent").state is State.BEYOND


def test_outside_by_less_than_measured_leads_the_headline() -> None:
    verdict = judged("front pads one point five millimetres", "US-VA")  # 2/32 in = 1.5875 mm
    told = conclude([verdict, judged("front rim dirty")], 0).headline
    assert told.startswith("1 finding outside its limit by less than the measuring uncertainty")


@pytest.mark.parametrize(
    "words",
    [
        "front tyre thirty psi",
        "front wheel bearing play point three millimetres",
        "chain slack thirty millimetres",
    ],
)
def test_inside_what_cannot_be_right_nothing_is_cleared(words: str) -> None:
    assert judged(words).state is State.UNDECIDED
