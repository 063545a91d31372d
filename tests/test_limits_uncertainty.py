"""Which uncertainty a reading is judged with."""

from __future__ import annotations

from fractions import Fraction

import pytest

from fieldlog.limits.context import parse_context
from fieldlog.limits.uncertainty import resolution, uncertainty_of
from fieldlog.model.finding import Qualifier, Quantity


def quantity(value: str, unit: str, words: str = "", **more: object) -> Quantity:
    return Quantity(Fraction(value), unit, words, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("value", "unit", "words", "place"),
    [
        ("1/8", "in", "four thirty seconds", "1/32"),
        ("1/16", "in", "two thirty seconds", "1/32"),
        ("3/64", "in", "three sixty fourths", "1/64"),
        ("3", "in", "three inches", "1"),
        ("5/2", "in", "two and a half inches", "1/2"),
        ("0.075", "in", "seventy five thou", "1/1000"),
        ("1.59", "mm", "one point five nine millimetres", "1/100"),
        ("2", "mm", "two point zero millimetres", "1/10"),
        ("0.075", "mm", "point oh seven five", "1/1000"),
        ("0.75", "mm", "point seventy five", "1/100"),
        ("3.1", "mm", "three point wun zero millimetres", "1/100"),
        ("12.15", "V", "twelve point fifteen volts", "1/100"),
        ("1.6", "mm", "", "1/10"),
        ("1/3", "turn", "a third of a turn", "1/3"),
        ("36", "psi", "thirty six p s i", "1"),
    ],
)
def test_the_last_place_spoken(value: str, unit: str, words: str, place: str) -> None:
    assert resolution(quantity(value, unit, words)) == Fraction(place)


def test_the_order_of_sources() -> None:
    plain, exact = parse_context(), parse_context(None, ["uncertainty=0.3"])
    usual = Quantity(Fraction(1, 5), "mm")
    declared = quantity("1.6", "mm", uncertainty=Fraction(1, 50))
    assert uncertainty_of(declared, exact, usual).value == Fraction(1, 50)
    assert uncertainty_of(quantity("1.6", "mm"), exact, usual).value == Fraction(3, 10)
    assert uncertainty_of(quantity("1.6", "mm"), plain, usual).value == Fraction(1, 5)
    assert uncertainty_of(quantity("1.6", "mm"), plain).value == Fraction(1, 20)
    psi = Quantity(Fraction(1), "psi")
    assert uncertainty_of(quantity("1.6", "mm"), plain, psi).value == Fraction(1, 20)


def test_a_setting_with_its_own_unit_is_converted_as_an_interval() -> None:
    context = parse_context(None, ["uncertainty=2degC"])
    found = uncertainty_of(quantity("20", "degC"), context)
    assert found.in_unit("degF") == Fraction(18, 5)  # 2 K is 3.6 degF, no offset


def test_zero_switches_it_off_even_for_about() -> None:
    about = quantity("1.6", "mm", qualifier=Qualifier.ABOUT)
    assert uncertainty_of(about, parse_context(None, ["uncertainty=0"])).value == 0
    usual = Quantity(Fraction(1, 5), "mm")
    assert uncertainty_of(about, parse_context(), usual).value == Fraction(2, 5)
    coarse = quantity("2", "mm", "about two", qualifier=Qualifier.ABOUT)
    assert uncertainty_of(coarse, parse_context(), usual).value == 1


def test_a_computed_value_states_none() -> None:
    found = uncertainty_of(quantity("380/127", "%"), parse_context())
    assert found.value == 0
    assert "computed" in found.origin
