"""Findings against the shipped packs: what gates, what is shown, what is asked for."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldlog.errors import UsageError
from fieldlog.limits.check import check, merge_readings
from fieldlog.limits.context import parse_context
from fieldlog.limits.judge import SEVERENESS
from fieldlog.limits.packs import shipped_limits
from fieldlog.model.finding import Finding, Qualifier, Quantity
from fieldlog.model.limit import Aggregation, LimitStatus, Relation
from fieldlog.model.state import Severity, State
from fieldlog.model.verdict import Verdict


def measured(
    component: str,
    characteristic: str,
    value: str,
    unit: str,
    position: str | None = None,
    *,
    high: str | None = None,
    qualifier: Qualifier | None = None,
    words: str = "",
) -> Finding:
    quantity = Quantity(
        Fraction(value), unit, words, Fraction(high) if high else None, qualifier, None
    )
    return Finding(component, position, characteristic, quantity)


def verdict(finding: Finding, jurisdiction: str | None = None, *settings: str) -> Verdict:
    return check(finding, shipped_limits(), parse_context(jurisdiction, settings))


def shown(found: Verdict) -> dict[str, State]:
    return {each.limit.id: each.state for each in found.others}


EXACT = "uncertainty=0"

# words of the row: component, characteristic, value, unit, position, jurisdiction, settings,
# expected state, printed value of the gating limit. Source beside each.
TABLE = [
    # Trap of 1.1: 2/32 in is 1.5875 mm, not 1.6 mm (inch = 25.4 mm exactly).
    ("tyre", "tread depth", "1.59", "mm", "rear", "US-VA", (EXACT,), "within", "2/32 in"),
    ("tyre", "tread depth", "1.59", "mm", "rear", "DE", (EXACT,), "beyond", "1.6 mm"),
    ("tyre", "tread depth", "2/32", "in", "rear", "US-VA", (EXACT,), "within", "2/32 in"),
    ("tyre", "tread depth", "1.5874", "mm", "rear", "US-VA", (EXACT,), "undecided", "2/32 in"),
    # Virginia 19VAC30-70-400(5) 2/32 in; Maryland COMAR 11.14.03.05 A(1) 1/32 in: data, not code.
    ("tyre", "tread depth", "1.5/32", "in", "rear", "US-VA", (EXACT,), "undecided", "2/32 in"),
    ("tyre", "tread depth", "1.5/32", "in", "rear", "US-MD", (EXACT,), "within", "1/32 in"),
    ("tyre", "tread depth", "0.79", "mm", "front", "US-MD", (EXACT,), "beyond", "1/32 in"),
    ("tyre", "tread depth", "4/32", "in", "rear", "US-VA", (), "within", "2/32 in"),
    # UK: 1.0 mm over 50 cc; tread visible up to 50 cc (DVSA September 2022).
    ("tyre", "tread depth", "0.9", "mm", "front", "GB", (EXACT,), "beyond", "1.0 mm"),
    ("tyre", "tread depth", "1.0", "mm", "front", "GB", (EXACT,), "within", "1.0 mm"),
    ("tyre", "tread depth", "0.9", "mm", "front", "GB", (EXACT, "engine_cc=49"), "within", "0 mm"),
    ("tyre", "tread depth", "0", "mm", "front", "GB", (EXACT, "engine_cc=49"), "beyond", "0 mm"),
    # Germany StVZO 36: 1.6 mm; 1.0 mm for mopeds and Leichtkraftraeder.
    ("tyre", "tread depth", "1.2", "mm", "rear", "DE", (EXACT,), "beyond", "1.6 mm"),
    (
        "tyre",
        "tread depth",
        "1.2",
        "mm",
        "rear",
        "DE",
        (EXACT, "vehicle_class=light motorcycle"),
        "within",
        "1.0 mm",
    ),
    # 49 CFR 570.62(a), over 10,000 lb: 4/32 in front, 2/32 in others: the axle decides.
    (
        "tyre",
        "tread depth",
        "3/32",
        "in",
        "front",
        "US",
        (EXACT, "vehicle_class=truck"),
        "beyond",
        "4/32 in",
    ),
    (
        "tyre",
        "tread depth",
        "3/32",
        "in",
        "rear",
        "US",
        (EXACT, "vehicle_class=truck"),
        "within",
        "2/32 in",
    ),
    # Virginia 19VAC30-70-340 B.4, pads 2/32 in.
    ("brake pads", "thickness", "2/32", "in", "front", "US-VA", (EXACT,), "within", "2/32 in"),
    ("brake pads", "thickness", "1.58", "mm", "front", "US-VA", (EXACT,), "beyond", "2/32 in"),
    # Trap of 2.2: 3/16 in (4.8 mm) is a rounded pair; 4.78 mm passes 3/16 in (4.7625 mm).
    (
        "brake shoes",
        "thickness",
        "4.78",
        "mm",
        "front",
        "US",
        (EXACT, "vehicle_class=truck", "brakes=air drum"),
        "within",
        "3/16 in (4.8 mm)",
    ),
    # 49 CFR 570.59(c), over 10,000 lb: 1/32 in over the fastener, 1/16 in bonded.
    (
        "brake shoes",
        "thickness",
        "1.5/32",
        "in",
        "rear",
        "US",
        (EXACT, "gvwr=12000lb", "lining=bonded"),
        "beyond",
        "1/16 in",
    ),
    (
        "brake shoes",
        "thickness",
        "1.5/32",
        "in",
        "rear",
        "US",
        (EXACT, "gvwr=12000lb", "lining=riveted"),
        "within",
        "1/32 in",
    ),
    # DVSA manual 5.2.2: 4 mm steel, 2 mm alloy, eccentricity 3 mm.
    ("rim", "run-out lateral", "3", "mm", "front", "GB", (EXACT, "rim=steel"), "within", "4 mm"),
    ("rim", "run-out lateral", "3", "mm", "front", "GB", (EXACT, "rim=alloy"), "beyond", "2 mm"),
    ("rim", "run-out radial", "3.1", "mm", "front", "GB", (EXACT,), "beyond", "3 mm"),
    # 49 CFR 570.10(b): 1/8 in total indicator reading = 3.175 mm.
    ("rim", "run-out lateral", "3.175", "mm", "front", "US", (EXACT,), "within", "1/8 in"),
    ("rim", "run-out lateral", "3.18", "mm", "front", "US", (EXACT,), "beyond", "1/8 in"),
    # FMVSS 116 S5.1.2, wet boiling points.
    (
        "brake fluid",
        "boiling point",
        "150",
        "degC",
        None,
        None,
        (EXACT, "brake_fluid=DOT 3"),
        "within",
        "140 degC (284 degF)",
    ),
    (
        "brake fluid",
        "boiling point",
        "310",
        "degF",
        None,
        None,
        (EXACT, "brake_fluid=DOT 4"),
        "beyond",
        "155 degC (311 degF)",
    ),
    # Chain: replace at 3 % (ANSI B29.1, as makers cite it).
    ("drive chain", "elongation", "3", "%", None, None, (EXACT,), "beyond", "3 %"),
    ("drive chain", "elongation", "1.9", "%", None, None, (EXACT,), "within", "3 %"),
]


@pytest.mark.parametrize(
    (
        "component",
        "characteristic",
        "value",
        "unit",
        "position",
        "where",
        "settings",
        "state",
        "limit",
    ),
    TABLE,
)
def test_the_gating_limit_and_its_state(
    component: str,
    characteristic: str,
    value: str,
    unit: str,
    position: str | None,
    where: str | None,
    settings: tuple[str, ...],
    state: str,
    limit: str,
) -> None:
    exact = (
        str(Fraction(value.split("/")[0]) / Fraction(value.split("/")[1]))
        if "/" in value
        else value
    )
    found = verdict(measured(component, characteristic, exact, unit, position), where, *settings)
    assert found.gate is not None
    assert (found.state.value, found.gate.limit.printed) == (state, limit)
    assert found.gate.limit.status in (LimitStatus.CITED, LimitStatus.ENTERED)


def test_the_reading_is_converted_exactly_and_the_limit_is_not() -> None:
    found = verdict(measured("tyre", "tread depth", "1.59", "mm", "rear"), "US-VA", EXACT)
    assert found.gate is not None
    assert found.gate.limit.unit == "in"
    assert found.gate.limit.value == Fraction(2, 32)
    assert found.gate.reading == Fraction(159, 2540)
    assert found.gate.margin == Fraction(159, 2540) - Fraction(1, 16)


def test_every_limit_that_applies_is_shown() -> None:
    found = verdict(measured("tyre", "tread depth", "5/64", "in", "rear"), "US-VA", EXACT)
    assert found.state is State.WITHIN
    assert shown(found) == {
        "fmvss119.indicator": State.WITHIN,
        "common.tread.near": State.FAULTY,
        "common.tread.worn": State.WITHIN,
        "memory.cfr570.9a": State.WITHIN,
    }
    assert "3/32 in" in found.reason


def test_common_practice_alone_gives_at_most_faulty_with_its_advice() -> None:
    found = verdict(measured("battery", "resting voltage", "11.9", "V"))
    assert (found.state, found.severity) == (State.FAULTY, Severity.MAJOR)
    assert found.gate is not None
    assert found.gate.limit.status is LimitStatus.COMMON
    assert "charge" in found.reason


def test_an_equipment_standard_condemns_but_does_not_clear_what_practice_advises_against() -> None:
    worn = verdict(measured("tyre", "tread depth", "1/64", "in", "rear"), None, EXACT)
    assert worn.state is State.BEYOND
    assert worn.gate is not None
    # FMVSS 119 S6.4: motorcycle indicators stand at 1/32 in, not at 2/32.
    assert worn.gate.limit.id == "fmvss119.indicator"
    low = verdict(measured("tyre", "tread depth", "2/32", "in", "rear"), None, EXACT)
    assert low.state is State.FAULTY
    assert low.gate is not None
    assert low.gate.limit.id == "common.tread.near"
    fine = verdict(measured("tyre", "tread depth", "4/32", "in", "rear"), None, EXACT)
    assert fine.state is State.WITHIN
    assert fine.gate is not None
    assert fine.gate.limit.id == "fmvss119.indicator"


def test_a_value_from_memory_never_gates() -> None:
    only = [each for each in shipped_limits() if each.status is LimitStatus.MEMORY]
    found = check(
        measured("tyre", "tread depth", "1/64", "in", "rear"), only, parse_context("US", [EXACT])
    )
    assert found.state is State.UNDECIDED
    assert found.gate is None
    assert [each.limit.id for each in found.others] == ["memory.cfr570.9a"]
    assert "from memory" in found.reason


def test_unknown_rim_material_is_undecided_only_where_it_matters() -> None:
    between = verdict(measured("rim", "run-out lateral", "3", "mm", "rear"), "GB", EXACT)
    assert between.state is State.UNDECIDED
    assert "rim=steel|alloy" in between.reason
    good = verdict(measured("rim", "run-out lateral", "1.5", "mm", "rear"), "GB", EXACT)
    assert good.state is State.WITHIN
    bad = verdict(measured("rim", "run-out lateral", "5", "mm", "rear"), "GB", EXACT)
    assert bad.state is State.BEYOND


def test_a_range_is_judged_by_its_worse_end() -> None:
    tread = measured("tyre", "tread depth", "2/64", "in", "rear", high="6/64")
    assert verdict(tread, "US-OH", EXACT).state is State.BEYOND
    run_out = measured("rim", "run-out lateral", "1", "mm", "rear", high="3")
    assert verdict(run_out, "GB", EXACT, "rim=alloy").state is State.BEYOND


@pytest.mark.parametrize(
    ("qualifier", "value", "state"),
    [
        (Qualifier.LESS, "2/32", State.BEYOND),
        (Qualifier.LESS, "3/32", State.UNDECIDED),
        (Qualifier.MORE, "2/32", State.WITHIN),
        (Qualifier.MORE, "1/32", State.UNDECIDED),
    ],
)
def test_one_sided_readings_are_decided_when_they_can_be(
    qualifier: Qualifier, value: str, state: State
) -> None:
    tread = measured("tyre", "tread depth", value, "in", "rear", qualifier=qualifier)
    assert verdict(tread, "US-VA").state is state


def test_about_widens_the_uncertainty() -> None:
    plain = measured("tyre", "tread depth", "1.8", "mm", "rear")
    about = measured("tyre", "tread depth", "1.8", "mm", "rear", qualifier=Qualifier.ABOUT)
    assert verdict(plain, "US-VA").state is State.WITHIN
    found = verdict(about, "US-VA", "uncertainty=0.2mm")
    assert found.state is State.MARGINAL
    assert found.gate is not None
    assert found.gate.guard_band == Fraction(4, 254)  # 0.4 mm in inches


def test_three_of_four_points_pass_in_france() -> None:
    # French arrete: four evenly spread points, not more than one of four below 1.0 mm.
    def points(*values: str) -> Finding:
        found = [measured("tyre", "tread depth", v, "mm", "rear") for v in values]
        return merge_readings(found)

    assert verdict(points("1.2", "0.9", "1.1", "1.0"), "FR", EXACT).state is State.WITHIN
    assert verdict(points("1.2", "0.9", "0.8", "1.0"), "FR", EXACT).state is State.BEYOND
    single = verdict(points("0.9"), "FR", EXACT)
    assert single.state is State.UNDECIDED
    assert "3 of 4" in single.reason
    assert verdict(points("1.1"), "FR", EXACT).state is State.WITHIN
    assert verdict(points("0.9", "0.8"), "FR", EXACT).state is State.BEYOND


def test_two_grooves_at_three_places_fail_only_when_every_one_is_low() -> None:
    # Utah R714-160-8(1)(g): any two adjacent major tread grooves at three equally spaced intervals.
    low = [measured("tyre", "tread depth", "1/32", "in", "rear") for _ in range(5)]
    one = measured("tyre", "tread depth", "3/32", "in", "rear")
    limits = [each for each in shipped_limits() if each.id == "us-ut.car-tread"]
    context = parse_context("US-UT", ["vehicle_class=car", EXACT])
    assert check(merge_readings([*low, one]), limits, context).state is State.WITHIN
    assert check(merge_readings([*low, low[0]]), limits, context).state is State.BEYOND


def test_run_out_is_the_indicator_total_of_the_dial_readings() -> None:
    # Eight clock positions: max - min = 0.9 - (-1.3) = 2.2 mm.
    dial = ("0", "0.4", "0.9", "0.3", "-0.2", "-1.1", "-1.3", "-0.6")
    found = verdict(
        merge_readings([measured("rim", "run-out lateral", v, "mm", "front") for v in dial]),
        "GB",
        EXACT,
        "rim=alloy",
    )
    assert found.state is State.BEYOND
    assert found.gate is not None
    assert found.gate.reading == Fraction(22, 10)


def test_spread_between_cells_needs_the_cells() -> None:
    # TM 9-6140-200-14 para 4-7: more than 0.025 between cells of a charged battery.
    cells = [measured("battery", "specific gravity", v, "1") for v in ("1.265", "1.260", "1.230")]
    merged = merge_readings(cells)
    assert verdict(merged, None, EXACT, "charge=charged").state is State.BEYOND
    close = merge_readings(
        [measured("battery", "specific gravity", v, "1") for v in ("1.265", "1.24")]
    )
    assert verdict(close, None, EXACT, "charge=charged").state is State.WITHIN
    alone = verdict(measured("battery", "specific gravity", "1.265", "1", "cell 3"), None, EXACT)
    assert alone.state is State.WITHIN
    assert alone.gate is not None
    assert alone.gate.limit.id == "tm5-3740.cell-low"
    assert any("two readings" in each.reason for each in alone.others)


@pytest.mark.parametrize(
    ("found", "marked", "state", "severity"),
    [
        ("DOT 4", "DOT 4", State.WITHIN, None),
        ("DOT 5", "DOT 4", State.BEYOND, Severity.DANGEROUS),
        ("DOT 5.1", "DOT 5", State.BEYOND, Severity.DANGEROUS),
        ("DOT 3", "DOT 4", State.BEYOND, Severity.MAJOR),
        ("DOT 5.1", "DOT 4", State.MARGINAL, Severity.MINOR),
        ("mineral oil", "DOT 4", State.BEYOND, Severity.DANGEROUS),
    ],
)
def test_silicone_and_glycol_are_never_mixed(
    found: str, marked: str, state: State, severity: Severity | None
) -> None:
    grade = Finding("brake fluid", "front", "grade", code=found)
    result = verdict(grade, None, f"brake_fluid={marked}")
    assert (result.state, result.severity) == (state, severity)


@pytest.mark.parametrize(
    ("component", "condition", "where", "state"),
    [
        ("spokes", "bent", "US-VA", State.BEYOND),  # 19VAC30-70-400(3)
        ("spokes", "loose", "US-VA", State.BEYOND),
        ("spokes", "missing", "US-MD", State.BEYOND),  # COMAR 11.14.03.05 H
        ("spokes", "loose", "US-MD", State.BEYOND),
        ("spokes", "corroded", "GB", State.FAULTY),  # the manual before 2018: superseded
        ("spokes", "sound", "GB", State.WITHIN),
    ],
)
def test_conditions_are_judged(component: str, condition: str, where: str, state: State) -> None:
    assert verdict(Finding(component, "rear", None, condition=condition), where).state is state


def test_disc_minimum_is_entered_from_the_stamp() -> None:
    disc = measured("brake disc", "thickness", "4.4", "mm", "front")
    assert verdict(disc).state is State.UNDECIDED
    found = verdict(disc, None, "disc_minimum=4.5mm", EXACT)
    assert found.state is State.BEYOND
    assert found.gate is not None
    assert found.gate.limit.status is LimitStatus.ENTERED


def test_nothing_to_judge_is_undecided_with_the_reason() -> None:
    empty = verdict(Finding("tyre", "rear", "tread depth"))
    assert (empty.state, empty.gate) == (State.UNDECIDED, None)
    unknown = verdict(measured("fork seal", "thickness", "3", "mm"))
    assert unknown.state is State.UNDECIDED
    assert "no limit" in unknown.reason


def test_the_guard_band_and_probability_are_shown() -> None:
    found = verdict(measured("tyre", "tread depth", "1.7", "mm", "rear"), "DE", "uncertainty=0.2")
    assert found.state is State.MARGINAL
    assert found.gate is not None
    assert found.gate.guard_band == Fraction(1, 5)
    assert found.gate.probability == pytest.approx(0.841345, abs=1e-6)


def test_an_uncertainty_of_another_kind_is_refused() -> None:
    with pytest.raises(UsageError, match="length"):
        verdict(measured("tyre", "tread depth", "1.7", "mm", "rear"), "DE", "uncertainty=2psi")


def test_verdict_never_says_safe() -> None:
    for each in shipped_limits():
        assert " safe" not in f" {each.advice}".lower()


def test_less_than_half_of_the_recommended_pressure_in_utah() -> None:
    # Utah R714-160-8(1)(c): reject if inflated to less than half of the recommended pressure.
    ratio = measured("tyre", "pressure ratio", "49", "%", "rear")
    assert verdict(ratio, "US-UT", EXACT, "vehicle_class=car").state is State.BEYOND
    half = measured("tyre", "pressure ratio", "50", "%", "rear")
    assert verdict(half, "US-UT", EXACT, "vehicle_class=car").state is State.WITHIN
    # It is the rule for cars and light trucks; the motorcycles' is R714-161.
    assert verdict(ratio, "US-UT", EXACT).gate is None


@pytest.mark.parametrize(
    ("where", "settings", "value", "unit", "state"),
    [
        # Austria KDV 4(4): 1.6 mm, mopeds 1.0 mm; Ohio 4501:2-1-06: 1/16 in;
        # Maryland COMAR 11.14.05.05 cars 2/32 in; Utah R714-160-8(1)(g) 2/32 in.
        ("AT", (), "1.5", "mm", State.BEYOND),
        ("AT", ("vehicle_class=moped",), "1.5", "mm", State.WITHIN),
        ("AT", ("gvwr=4000kg", "vehicle_class=truck"), "1.9", "mm", State.BEYOND),
        ("US-OH", (), "1.58", "mm", State.BEYOND),
        ("US-OH", (), "1.59", "mm", State.WITHIN),
        ("US-MD", ("vehicle_class=car",), "1.59", "mm", State.WITHIN),
        ("US-UT", ("vehicle_class=car",), "1.59", "mm", State.WITHIN),
        ("FR", ("vehicle_class=car",), "1.59", "mm", State.BEYOND),
        ("US-VA", ("vehicle_class=moped",), "1.58", "mm", State.UNDECIDED),
    ],
)
def test_tread_elsewhere(
    where: str, settings: tuple[str, ...], value: str, unit: str, state: State
) -> None:
    tread = measured("tyre", "tread depth", value, unit, "rear")
    assert verdict(tread, where, EXACT, *settings).state is state


def test_the_french_difference_between_a_pair_is_a_rule_of_its_own() -> None:
    # French arrete: not more than 5 mm between two tyres of one axle.
    row = next(each for each in shipped_limits() if each.id == "fr.tread-car")
    pair = replace(
        row,
        relation=Relation.AT_MOST,
        value=Fraction(5),
        printed="5 mm",
        aggregation=Aggregation.PAIR_DIFFERENCE,
    )
    context = parse_context("FR", ["vehicle_class=car", EXACT])
    two = [measured("tyre", "tread depth", v, "mm", "front") for v in ("7.5", "2.4")]
    assert check(merge_readings(two), [pair], context).state is State.BEYOND
    assert check(two[0], [pair], context).state is State.UNDECIDED


def test_headlamp_aim_at_another_distance_is_not_judged_by_the_25_foot_figure() -> None:
    # Virginia 19VAC30-70-360 A.7: 4 in up, down, left or right.
    aim = measured("headlamp", "aim offset", "4.5", "in")
    assert verdict(aim, "US-VA", EXACT).state is State.BEYOND
    assert verdict(aim, "US-VA", EXACT, "distance=7.62m").state is State.BEYOND
    far = verdict(aim, "US-VA", EXACT, "distance=10m")
    assert far.state is State.UNDECIDED
    assert "applies here" in far.reason


def test_merging_findings_of_different_kinds_is_refused() -> None:
    with pytest.raises(ValueError, match="different kinds"):
        merge_readings(
            [measured("tyre", "pressure", "36", "psi"), measured("tyre", "tread depth", "2", "mm")]
        )
    with pytest.raises(ValueError, match="no findings"):
        merge_readings([])


SIXTY_FOURTHS = st.integers(min_value=0, max_value=24)


@given(thin=SIXTY_FOURTHS, more=SIXTY_FOURTHS, u=st.sampled_from(["0", "0.1mm", "1/64in"]))
def test_more_tread_never_makes_the_verdict_worse(thin: int, more: int, u: str) -> None:
    worn, thicker = (
        verdict(
            measured("tyre", "tread depth", f"{n}/64", "in", "rear"), "US-VA", f"uncertainty={u}"
        )
        for n in (thin, thin + more)
    )
    assert SEVERENESS.index(thicker.state) <= SEVERENESS.index(worn.state)


@given(sixty_fourths=SIXTY_FOURTHS)
def test_the_unit_that_is_spoken_does_not_change_the_verdict(sixty_fourths: int) -> None:
    inches = Fraction(sixty_fourths, 64)
    spoken = {
        "in": inches,
        "mm": inches * Fraction(254, 10),  # exact: 25.4 mm to the inch
        "cm": inches * Fraction(254, 100),
    }
    found = {
        unit: verdict(measured("tyre", "tread depth", str(value), unit, "rear"), "US-VA", EXACT)
        for unit, value in spoken.items()
    }
    assert len({each.state for each in found.values()}) == 1
    assert len({each.gate.margin for each in found.values() if each.gate}) == 1
