"""Values on paper are exact, and rounding shows."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldlog.model import Finding, Judgement, Qualifier, Quantity, Relation, State
from fieldlog.report.gauge import gauge
from fieldlog.words import tell
from fieldlog.words.report import (
    converted_text,
    decimal_text,
    finding_text,
    fraction_text,
    limit_text,
    quantity_text,
    rounded_text,
    seconds_text,
    value_text,
)
from tests.store_samples import CRACKED, GRADE, RUN_OUT, tread_limit


@given(st.fractions())
def test_a_decimal_is_the_value_itself_or_none(value: Fraction) -> None:
    text = decimal_text(value)
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
    parts = [Fraction(part) for part in fraction_text(value).lstrip("-").split()]
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
    assert quantity_text(Quantity(Fraction(value), unit, words)) == text


def test_ranges_and_qualifiers() -> None:
    assert quantity_text(Quantity(Fraction(2), "mm", high=Fraction(3))) == "2 to 3 mm"
    about = Quantity(Fraction(3), "mm", qualifier=Qualifier.ABOUT)
    assert quantity_text(about) == "about 3 mm"
    assert value_text(RUN_OUT) == "0 / 0.4 mm"
    assert finding_text(CRACKED) == "front left brake disc: cracked"
    assert finding_text(GRADE) == "brake fluid, grade: DOT 5.1"
    mixed = Finding(
        "x", None, "y", readings=(Quantity(Fraction(1), "mm"), Quantity(Fraction(1), "in"))
    )
    assert value_text(mixed) == "1 mm / 1 in"
    assert value_text(Finding("x", None, None)) == "not complete"
    aim = Finding("headlamp", "down", "aim offset", Quantity(Fraction(5), "in"))
    assert finding_text(aim) == "headlamp, aim offset down: 5 in"
    cell = Finding("battery", "cell 3", "specific gravity", Quantity(Fraction("1.26"), "1"))
    assert finding_text(cell) == "battery, cell 3, specific gravity: 1.26"


@pytest.mark.parametrize(
    ("value", "text"),
    [("1.5875", "1.5875 mm"), ("1/3", "≈ 0.333 mm"), ("0.0123456789", "≈ 0.0123 mm")],
)
def test_a_converted_reading_says_when_it_is_rounded(value: str, text: str) -> None:
    """2/32 in is 1.5875 mm, not 1.6."""
    assert converted_text(Fraction(value), "mm") == text


@pytest.mark.parametrize(
    ("value", "text"),
    [("2.175", "≈ +2.17 mm"), ("-0.5", "-0.5 mm"), ("0", "0 mm"), ("1e-7", "+0.0000001 mm")],
)
def test_a_margin_has_its_sign(value: str, text: str) -> None:
    assert rounded_text(Fraction(value), "mm", signed=True) == text


def test_limits_as_printed() -> None:
    from dataclasses import replace

    limit = tread_limit()
    assert limit_text(limit) == "at least 1 mm"
    assert limit_text(replace(limit, printed="3/16 in (4.8 mm)")) == "at least 3/16 in (4.8 mm)"
    assert limit_text(replace(limit, relation=Relation.BETWEEN, high=Fraction(2))) == "1 to 2 mm"
    assert limit_text(replace(limit, relation=Relation.BETWEEN, printed="2 to 6 mm")) == "2 to 6 mm"
    assert limit_text(replace(limit, relation=Relation.AT_MOST, value=None)) == "at most"
    condition = replace(limit, relation=Relation.IS, value=None, words=("cracked", "cut"))
    assert limit_text(condition) == "cracked, cut: beyond"


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
    assert seconds_text(seconds) == text


def _judged(relation: str, reading: str, high: str | None = None, guard: str = "0.1") -> Judgement:
    from dataclasses import replace

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
    from dataclasses import replace

    judged = _judged("is", "1")
    assert gauge(judged) is None
    assert gauge(replace(_judged("at least", "1"), reading=None)) is None


@pytest.mark.parametrize(
    "finding",
    [
        CRACKED, GRADE, RUN_OUT,
        Finding("tyre", "rear", "tread depth", Quantity(Fraction(1, 8), "in", "four thirty seconds")),
        Finding("axle nut", "rear", "torque", Quantity(Fraction(72), "lbf.ft", "seventy two")),
        Finding("coolant", None, "temperature", Quantity(Fraction(95), "degC", "ninety five")),
        Finding("battery", "cell 3", "specific gravity", Quantity(Fraction(253, 200), "1", "x")),
        Finding("headlamp", "down", "aim offset", Quantity(Fraction(7, 4), "in")),
        Finding("bolt", None, "slack", Quantity(Fraction(2), "mm", "x", Fraction(3), Qualifier.ABOUT)),
    ],
)  # fmt: skip
def test_a_question_and_the_paper_say_it_alike(finding: Finding) -> None:
    assert tell.finding(replace(finding, given=())) == finding_text(finding)
