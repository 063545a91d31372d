"""Unit factors against scipy.constants, pint and published values; words against each other."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from fieldlog.errors import UsageError
from fieldlog.quantities.units import SPOKEN, UNITS, convert, dimension, meanings

F = Fraction

# scipy.constants (CODATA and exact definitions, SI).
SCIPY: dict[str, float] = {
    "in": constants.inch,
    "ft": constants.foot,
    "mi": constants.mile,
    "psi": constants.psi,
    "bar": constants.bar,
    "kgf/cm2": constants.kgf / 1e-4,
    "lbf.ft": constants.lbf * constants.foot,
    "lbf.in": constants.lbf * constants.inch,
    "kgf.m": constants.kgf,
    "kgf.cm": constants.kgf / 100,
    "lbf": constants.lbf,
    "kgf": constants.kgf,
    "lb": constants.lb,
    "km/h": constants.kmh,
    "mi/h": constants.mph,
    "L": constants.liter,
    "qt": constants.gallon / 4,
    "fl.oz": constants.fluid_ounce,
    "min": constants.minute,
    "h": constants.hour,
    "d": constants.day,
    "wk": constants.week,
}

# Our symbol -> (pint's name, pint's name of our base).
PINT: dict[str, tuple[str, str]] = {
    "mm": ("millimeter", "meter"),
    "cm": ("centimeter", "meter"),
    "in": ("inch", "meter"),
    "ft": ("foot", "meter"),
    "km": ("kilometer", "meter"),
    "mi": ("mile", "meter"),
    "psi": ("psi", "pascal"),
    "kPa": ("kilopascal", "pascal"),
    "bar": ("bar", "pascal"),
    "kgf/cm2": ("kgf/cm**2", "pascal"),
    "mV": ("millivolt", "volt"),
    "mA": ("milliampere", "ampere"),
    "N.m": ("newton*meter", "newton*meter"),
    "lbf.ft": ("force_pound*foot", "newton*meter"),
    "lbf.in": ("force_pound*inch", "newton*meter"),
    "kgf.m": ("kgf*meter", "newton*meter"),
    "lbf": ("force_pound", "newton"),
    "kgf": ("kgf", "newton"),
    "lb": ("pound", "kilogram"),
    "g": ("gram", "kilogram"),
    "km/h": ("kilometer/hour", "meter/second"),
    "mi/h": ("mile/hour", "meter/second"),
    "L": ("liter", "meter**3"),
    "mL": ("milliliter", "meter**3"),
    "qt": ("quart", "meter**3"),
    "fl.oz": ("fluid_ounce", "meter**3"),
    "turn": ("turn", "degree"),
}

# One of these in SI; NIST SP 811 names the unit, the exact product of definitions is the value
# (limit sources, sections 5.1 and 8, agreeing with pint and scipy to 1e-15 relative).
PUBLISHED: list[tuple[str, str, float]] = [
    ("lbf.ft", "N.m", 1.3558179483314004),
    ("lbf.in", "N.m", 0.1129848290276167),
    ("kgf.m", "N.m", 9.80665),
    ("kgf.cm", "N.m", 0.0980665),
    ("N.m", "lbf.ft", 0.7375621492772654),
    ("N.m", "lbf.in", 8.850745791327185),
    ("in", "mm", 25.4),
    ("mi", "m", 1609.344),
    ("mi/h", "km/h", 1.609344),
    ("lb", "kg", 0.45359237),
    ("lbf", "N", 4.4482216152605),
    ("kgf", "N", 9.80665),
    ("psi", "kPa", 6.894757293168361),
    ("bar", "psi", 14.503773773020923),
    ("kgf/cm2", "kPa", 98.0665),
    ("qt", "L", 0.946352946),
    ("fl.oz", "mL", 29.5735295625),
]


@pytest.mark.parametrize(("symbol", "factor"), SCIPY.items())
def test_factor_agrees_with_scipy(symbol: str, factor: float) -> None:
    assert float(UNITS[symbol].factor) == pytest.approx(factor, rel=2e-15)


@pytest.fixture(scope="module")
def registry() -> Any:
    return pint.UnitRegistry()


@pytest.mark.parametrize(("symbol", "names"), PINT.items())
def test_factor_agrees_with_pint(symbol: str, names: tuple[str, str], registry: Any) -> None:
    name, base = names
    theirs = registry.Quantity(1.0, name).to(base).magnitude
    # pint holds some force units as rounded floats; 1e-9 is far below any gauge.
    assert float(UNITS[symbol].factor) == pytest.approx(theirs, rel=1e-9)


@pytest.mark.parametrize(("from_", "to", "value"), PUBLISHED)
def test_published_factor(from_: str, to: str, value: float) -> None:
    assert float(convert(F(1), from_, to)) == pytest.approx(value, rel=2e-16)


def test_thirty_seconds_are_not_rounded() -> None:
    # Limit sources, section 8: n/32 in.
    for n, mm in ((1, "0.79375"), (2, "1.5875"), (3, "2.38125"), (4, "3.175"), (6, "4.7625")):
        assert convert(F(n, 32), "in", "mm") == F(mm)


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"),
    # 49 CFR 571.116 boiling points print both scales; -40, 0, 32, 212 by definition.
    [
        *((401, 205), (446, 230), (500, 260), (284, 140), (311, 155), (356, 180)),
        *((-40, -40), (32, 0), (212, 100), (77, 25), (0, F(-160, 9)), (80, F(80, 3))),
    ],
)
def test_temperatures_convert_exactly_both_ways(fahrenheit: int, celsius: Fraction) -> None:
    assert convert(F(fahrenheit), "degF", "degC") == celsius
    assert convert(F(celsius), "degC", "degF") == fahrenheit


def test_a_temperature_difference_has_no_offset() -> None:
    assert convert(F(20), "degF", "degC", difference=True) == F(100, 9)
    assert convert(F(20), "degF", "degC") == F(-20, 3)


@pytest.mark.parametrize(
    ("nm", "kgfm"), [("25.497", "2.6"), ("35.304", "3.6"), ("50.014", "5.1"), ("87.279", "8.9")]
)
def test_torque_table_of_din_267(nm: str, kgfm: str) -> None:
    # Limit sources, section 5.3: conversions printed inside the DIN 267 table, to three decimals.
    assert round(convert(F(kgfm), "kgf.m", "N.m"), 3) == F(nm)


def test_torque_is_no_textile_number() -> None:
    # pint (hgrecco/pint#817) 0.25 reads "Nm" as number_meter; ours is torque on every Python.
    assert dimension("N.m") == "torque"
    assert {m.symbol for m in meanings(("nm",))} == {"N.m"}
    assert {m.symbol for m in meanings(("n", "m"))} == {"N.m"}


@given(
    st.fractions(max_denominator=10_000),
    st.sampled_from([(a, b) for a in UNITS for b in UNITS if dimension(a) == dimension(b)]),
    st.booleans(),
)
def test_conversion_round_trips_exactly(
    value: Fraction, pair: tuple[str, str], difference: bool
) -> None:
    there = convert(value, *pair, difference=difference)
    assert convert(there, pair[1], pair[0], difference=difference) == value


def test_units_of_different_kinds_do_not_convert() -> None:
    with pytest.raises(UsageError, match="unit of length"):
        convert(F(1), "mm", "psi")
    with pytest.raises(UsageError, match="unknown unit 'furlong'"):
        convert(F(1), "furlong", "mm")


AMBIGUOUS = {
    "pounds": {"psi", "lb", "lbf", "lbf.ft", "lbf.in"},
    "kilos": {"kg", "kgf", "kgf.m", "kgf/cm2"},
    "degrees": {"deg", "degC", "degF"},
    "mils": {"mm", "in", "mL"},
    "k": {"km", "kPa", "kg", "km/h", "mi"},
    "newtons": {"N", "N.m"},
}


@pytest.mark.parametrize(("word", "symbols"), AMBIGUOUS.items())
def test_an_ambiguous_word_lists_every_unit(word: str, symbols: set[str]) -> None:
    assert {meaning.symbol for meaning in meanings((word,))} == symbols


@pytest.mark.parametrize(
    ("phrase", "symbol", "scale"),
    [
        ("p s i", "psi", 1),
        ("pounds per square inch", "psi", 1),
        ("k p a", "kPa", 1),
        ("kilopascals", "kPa", 1),
        ("newton metres", "N.m", 1),
        ("newton meters", "N.m", 1),
        ("foot pounds", "lbf.ft", 1),
        ("pound feet", "lbf.ft", 1),
        ("inch pounds", "lbf.in", 1),
        ("kilo metres of torque", "kgf.m", 1),
        ("thou", "in", F(1, 1000)),
        ("thousandths of an inch", "in", F(1, 1000)),
        ("litres", "L", 1),
        ("liters", "L", 1),
        ("m l", "mL", 1),
        ("fluid ounces", "fl.oz", 1),
        ("miles per hour", "mi/h", 1),
        ("percent", "%", 1),
        ("links", "link", 1),
    ],
)
def test_a_phrase_by_the_book_means_one_unit(phrase: str, symbol: str, scale: Fraction) -> None:
    (meaning,) = meanings(tuple(phrase.split()))
    assert (meaning.symbol, meaning.scale) == (symbol, scale)


def test_every_unit_can_be_said_except_the_plain_ratio() -> None:
    assert {meaning.symbol for said in SPOKEN.values() for meaning in said} == set(UNITS) - {"1"}


def test_british_and_american_spellings_mean_the_same() -> None:
    for phrase, said in SPOKEN.items():
        for british, american in (("metre", "meter"), ("litre", "liter")):
            if any(british in word for word in phrase):
                other = tuple(word.replace(british, american) for word in phrase)
                assert SPOKEN.get(other) == said, phrase


def test_a_year_is_the_mean_gregorian_one() -> None:
    """365.2425 days: 400 years are 146,097 days (97 leap years among them), a month a twelfth."""
    assert convert(Fraction(400), "a", "d") == 146_097
    assert convert(Fraction(1), "a", "d") == Fraction(3_652_425, 10_000)
    assert convert(Fraction(12), "mo", "a") == 1
