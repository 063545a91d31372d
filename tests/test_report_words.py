"""Values on paper are exact, and rounding shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from enum import Enum
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldlog.limits.packs import shipped_limits
from fieldlog.model.finding import Finding, Qualifier, Quantity
from fieldlog.model.limit import Aggregation, Relation
from fieldlog.model.state import Severity, State
from fieldlog.model.verdict import InDoubt, Judgement, Verdict
from fieldlog.quantities.units import UNITS
from fieldlog.report.gauge import gauge
from fieldlog.report.lines import limit_lines
from fieldlog.words import english, tell
from fieldlog.words.say import unit_name
from tests.store_samples import CRACKED, GRADE, RUN_OUT, tread_limit


@given(st.fractions())
def test_a_decimal_is_the_value_itself_or_none(value: Fraction) -> None:
    text = tell.decimal(value)
    rest = value.denominator
    for prime in (2, 5):
        while rest % prime == 0:
            rest //= prime
    assert (text is None) == (rest != 1)
    if text is not None:
        assert Fraction(text) == value


@given(st.fractions(max_denominator=64))
def test_a_mixed_fraction_is_the_value_itself(value: Fraction) -> None:
    sign = -1 if value < 0 else 1
    parts = [Fraction(part) for part in tell.fraction(value).lstrip("-").split()]
    assert sign * sum(parts, Fraction(0)) == value


@pytest.mark.parametrize(
    ("value", "unit", "words", "text"),
    [
        ("4/32", "in", "four thirty seconds", "4/32 in"),
        ("2/32", "in", "two thirty seconds", "2/32 in"),
        ("27/8", "in", "three and three eighths", "3 3/8 in"),
        ("11/2", "turn", "five and a half", "5 1/2 turn"),
        ("1/4", "turn", "a quarter turn", "1/4 turn"),
        ("0.075", "in", "point oh seven five", "0.075 in"),
        ("12.06", "V", "twelve point oh six", "12.06 V"),
        ("1.265", "1", "twelve sixty five", "1.265"),
        ("-10", "degC", "minus ten", "-10 °C"),
        ("72", "lbf.ft", "seventy two", "72 lbf·ft"),
        ("2.25", "kgf/cm2", "two point two five", "2.25 kgf/cm²"),
        ("85", "1/min", "eighty five", "85/min"),
        ("1/3", "in", "a third", "1/3 in"),
        # Said as a fraction but another value came of it: the exact decimal is printed.
        ("0.3", "in", "a quarter", "0.3 in"),
    ],
)
def test_quantities(value: str, unit: str, words: str, text: str) -> None:
    assert tell.quantity(Quantity(Fraction(value), unit, words)) == text


def test_ranges_and_qualifiers() -> None:
    assert tell.quantity(Quantity(Fraction(2), "mm", high=Fraction(3))) == "2 to 3 mm"
    about = Quantity(Fraction(3), "mm", qualifier=Qualifier.ABOUT)
    assert tell.quantity(about) == "about 3 mm"
    assert tell.value(RUN_OUT) == "0 / 0.4 mm"
    assert tell.finding(CRACKED) == "front left brake disc: cracked"
    assert tell.finding(GRADE) == "brake fluid, grade: DOT 5.1"
    mixed = Finding(
        "x", None, "y", readings=(Quantity(Fraction(1), "mm"), Quantity(Fraction(1), "in"))
    )
    assert tell.value(mixed) == "1 mm / 1 in"
    assert tell.value(Finding("x", None, None)) == "not complete"
    aim = Finding("headlamp", "down", "aim offset", Quantity(Fraction(5), "in"))
    assert tell.finding(aim) == "headlamp, aim offset down: 5 in"
    cell = Finding("battery", "cell 3", "specific gravity", Quantity(Fraction("1.26"), "1"))
    assert tell.finding(cell) == "battery, cell 3, specific gravity: 1.26"


@pytest.mark.parametrize(
    ("value", "text"),
    [("1.5875", "1.5875 mm"), ("1/3", "≈ 0.333 mm"), ("0.0123456789", "≈ 0.0123 mm")],
)
def test_a_converted_reading_says_when_it_is_rounded(value: str, text: str) -> None:
    """2/32 in is 1.5875 mm, not 1.6."""
    assert tell.converted(Fraction(value), "mm") == text


@pytest.mark.parametrize(
    ("value", "text"),
    [("2.175", "≈ +2.17 mm"), ("-0.5", "-0.5 mm"), ("0", "0 mm"), ("1e-7", "+0.0000001 mm")],
)
def test_a_margin_has_its_sign(value: str, text: str) -> None:
    assert tell.rounded(Fraction(value), "mm", signed=True) == text


def test_limits_as_printed() -> None:

    limit = tread_limit()
    assert tell.limit(limit) == "at least 1 mm"
    assert tell.limit(replace(limit, printed="3/16 in (4.8 mm)")) == "at least 3/16 in (4.8 mm)"
    assert (
        tell.limit(replace(limit, relation=Relation.BETWEEN, high=Fraction(2)))
        == "between 1 and 2 mm"
    )
    assert (
        tell.limit(replace(limit, relation=Relation.BETWEEN, printed="2 to 6 mm"))
        == "between 2 and 6 mm"
    )
    assert tell.limit(replace(limit, relation=Relation.AT_MOST, value=None)) == "at most"
    condition = replace(limit, relation=Relation.IS, value=None, words=("cracked", "cut"))
    assert tell.limit(condition) == "cracked, cut: beyond"


def test_what_nobody_can_have_said_shows_that_it_is_rounded() -> None:
    """It was computed: 2.38125 mm is 3/32 in, and a third of a volt is no reading."""
    assert tell.quantity(Quantity(Fraction("2.38125"), "mm")) == "≈ 2.381 mm"
    assert tell.quantity(Quantity(Fraction(17, 254), "in")) == "≈ 0.067 in"
    assert tell.quantity(Quantity(Fraction("1.5875"), "mm")) == "1.5875 mm"
    assert tell.quantity(Quantity(Fraction(7, 4), "in")) == "1 3/4 in"
    assert tell.quantity(Quantity(Fraction("2.38125"), "mm", "said so")) == "2.38125 mm"


def test_a_finding_carries_the_facts_of_its_check() -> None:
    span = Finding("drive chain", None, "span", Quantity(Fraction(320), "mm"), given=(("pitches", "20"),))  # fmt: skip
    assert tell.finding(span) == "drive chain, span: 320 mm (pitches 20)"
    assert tell.finding(Finding("front pads", None, None)) == "front pads"


def test_limits_of_every_source_read_alike() -> None:
    entered = replace(tread_limit(), printed="", value=Fraction(1, 16), unit="in")
    assert tell.limit(entered) == "at least 1/16 in"
    ratio = replace(tread_limit(), printed="1.2 1")
    assert tell.limit(ratio) == "at least 1.2"
    condition = replace(tread_limit(), relation=Relation.IS, value=None, words=("cracked", "cut"))
    assert tell.limit(condition, outcome=False) == "cracked, cut"
    thinnest = replace(tread_limit(), aggregation=Aggregation.THINNEST)
    assert tell.limit_in_full(thinnest) == "at least 1 mm, thinnest"
    torque = replace(tread_limit(), printed="", unit="N.m", high=Fraction(2))
    assert tell.limit_value(torque) == "1 to 2 N·m"


@pytest.mark.parametrize(
    ("table", "kinds"),
    [
        (english.STATES, State),
        (english.SEVERITIES, Severity),
        (english.QUALIFIERS, Qualifier),
        (english.IN_DOUBT, InDoubt),
    ],
)
def test_the_english_tables_are_complete(table: Mapping[Any, str], kinds: type[Enum]) -> None:
    assert set(table) == set(kinds)
    assert all(table.values())


def test_every_unit_can_be_printed_and_named() -> None:
    for symbol in UNITS:
        assert bool(tell.unit(symbol)) == bool(unit_name(symbol)) == (symbol != "1")
    assert len({tell.unit(symbol) for symbol in UNITS}) == len(UNITS)


@pytest.mark.parametrize(
    ("units", "question"),
    [
        (("mm", "in"), "Millimetres or inches?"),
        (("psi", "kPa"), "psi or kilopascals?"),
        (("bar", "psi", "kPa"), "Bar, psi or kilopascals?"),
    ],
)
def test_a_question_about_units_spells_nothing_out(units: tuple[str, ...], question: str) -> None:
    assert tell.which_unit(units) == question


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (4.21, "4.2 s"),
        (-4.21, "4.2 s"),
        (60, "1 min"),
        (185, "3 min 5 s"),
        (7200, "2 h"),
        (3660, "1 h 1 min"),
    ],
)
def test_stretches_of_time(seconds: float, text: str) -> None:
    assert tell.seconds(seconds) == text


def _judged(relation: str, reading: str, high: str | None = None, guard: str = "0.1") -> Judgement:

    limit = replace(
        tread_limit(), relation=Relation(relation), high=Fraction(high) if high else None
    )
    return Judgement(limit, State.WITHIN, Fraction(0), None, Fraction(guard), Fraction(reading))


@pytest.mark.parametrize("relation", ["at least", "more than"])
def test_ruler_of_a_lower_limit(relation: str) -> None:
    ruler = gauge(_judged(relation, "3"))
    assert ruler is not None
    assert ruler.low is not None
    assert ruler.guard_low is not None
    assert 0 < ruler.guard_low[0] < ruler.low < ruler.guard_low[1] < ruler.reading < 1
    assert ruler.high is None
    assert ruler.allowed == (ruler.low, 1.0)


@pytest.mark.parametrize("relation", ["at most", "less than"])
def test_ruler_of_an_upper_limit(relation: str) -> None:
    ruler = gauge(_judged(relation, "3", guard="0"))
    assert ruler is not None
    assert ruler.high is not None
    assert ruler.high < ruler.reading < 1
    assert ruler.guard_high is None
    assert ruler.allowed == (0.0, ruler.high)


def test_ruler_between_and_at_the_limit() -> None:
    ruler = gauge(_judged("between", "1", "2"))
    assert ruler is not None
    assert ruler.low == ruler.reading
    assert ruler.high is not None
    assert ruler.low < ruler.high < 1
    alone = gauge(_judged("at least", "1", guard="0"))
    assert alone is not None
    assert alone.low == alone.reading == 0.5


def test_no_ruler_without_a_value() -> None:

    judged = _judged("is", "1")
    assert gauge(judged) is None
    assert gauge(replace(_judged("at least", "1"), reading=None)) is None


def test_a_value_of_our_own_is_set_as_print_sets_it_and_a_cited_one_as_its_source_does() -> None:
    rows = {row.id: row for row in shipped_limits()}
    assert tell.limit_value(rows["common.fluid-age"]) == "2 years"
    cited = next(row for row in rows.values() if row.printed == "3/16 in (4.8 mm)")
    assert tell.limit_value(cited) == "3/16 in (4.8 mm)"


def test_a_limit_reads_the_value_as_it_was_said() -> None:
    """4/32 in stays 4/32 in where that is what was judged; what was converted is a figure."""
    limit = replace(tread_limit(), unit="in")
    said = Quantity(Fraction(4, 32), "in", "four thirty seconds")
    verdict = Verdict(State.WITHIN, Judgement(limit, State.WITHIN, None, reading=Fraction(4, 32)))
    (line,) = limit_lines(verdict, said)
    assert line.detail == "reads 4/32 in"
    (line,) = limit_lines(verdict, replace(said, value=Fraction(3, 32)))  # another was judged
    assert line.detail == "reads 0.125 in"
    (line,) = limit_lines(verdict, Quantity(Fraction(127, 40), "mm", "three point one seven five"))
    assert line.detail == "reads 0.125 in"
