"""Saying a quantity and reading it back gives the same quantity, for every unit and size."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldlog.model.finding import Qualifier, Quantity
from fieldlog.quantities.quantity import quantities
from fieldlog.quantities.spell import decimal_places
from fieldlog.quantities.units import UNITS, dimension
from fieldlog.words.say import say, unit_name

F = Fraction
SYMBOLS = sorted(UNITS)
DEFAULT = {"1": "1"}


def read_back(words: str, unit: str) -> set[tuple[object, ...]]:
    found = quantities(words.split(), [unit], default=DEFAULT.get(unit))
    return {(q.value, q.high, q.unit, q.qualifier) for q in found.quantities}


@st.composite
def decimal_quantities(draw: st.DrawFn) -> Quantity:
    unit = draw(st.sampled_from(SYMBOLS))
    places = draw(st.integers(0, 5))
    lowest = -99_999 if dimension(unit) == "temperature" else 0
    value = F(draw(st.integers(lowest, 999_999)), 10**places)
    high = None
    if draw(st.booleans()):
        high = value + F(draw(st.integers(1, 999)), 10**places)
    qualifier = draw(st.sampled_from([None, *Qualifier]))
    return Quantity(value, unit, high=high, qualifier=qualifier)


@given(decimal_quantities(), st.integers(0, 4), st.booleans())
def test_decimals_come_back(quantity: Quantity, places: int, digits: bool) -> None:
    words = say(quantity, places=places, digits=digits)
    said = (quantity.value, quantity.high, quantity.unit, quantity.qualifier)
    assert said in read_back(words, quantity.unit), words


@given(
    st.sampled_from([2, 4, 8, 16, 32, 64]),
    st.integers(1, 2000),
    st.sampled_from(SYMBOLS),
    st.sampled_from([None, *Qualifier]),
)
def test_fractions_come_back(top: int, bottom: int, unit: str, qualifier: Qualifier | None) -> None:
    denominator, numerator = top, bottom
    if denominator >= 32 and unit != "in":
        unit = "in"
    quantity = Quantity(F(numerator, denominator), unit, qualifier=qualifier)
    words = say(quantity, denominator=denominator)
    assert (quantity.value, None, unit, qualifier) in read_back(words, unit), words


@given(decimal_quantities())
def test_one_reading_when_nothing_is_left_out(quantity: Quantity) -> None:
    # A range from below one may borrow its point ("point two to three"), and "minus two to three"
    # leaves the sign open; everything else said in full has one meaning.
    words = say(quantity)
    found = read_back(words, quantity.unit)
    if quantity.high is None:
        assert len(found) == 1, words


def test_every_thirty_second_and_sixty_fourth_below_an_inch() -> None:
    for denominator in (2, 4, 8, 16, 32, 64):
        for numerator in range(1, denominator):
            quantity = Quantity(F(numerator, denominator), "in")
            words = say(quantity, denominator=denominator)
            assert read_back(words, "in") == {(quantity.value, None, "in", None)}, words


@pytest.mark.parametrize(
    ("quantity", "options", "words"),
    [
        (Quantity(F(1, 8), "in"), {"denominator": 32}, "four thirty seconds of an inch"),
        (Quantity(F(1, 4), "turn"), {"denominator": 4}, "one quarter of a turn"),
        (Quantity(F(63, 5), "V"), {}, "twelve point six volts"),
        (Quantity(F(63, 5), "V"), {"places": 2}, "twelve point six zero volts"),
        (Quantity(F(13), "mm"), {"digits": True}, "one three millimetres"),
        (Quantity(F(30), "mm"), {"digits": True}, "three zero millimetres"),
        (Quantity(F(1), "mm"), {}, "one millimetre"),
        (Quantity(F(2), "mm", high=F(3)), {}, "two to three millimetres"),
        (Quantity(F(-3), "degC"), {}, "minus three degrees celsius"),
        (Quantity(F(65), "N.m", qualifier=Qualifier.ABOUT), {}, "about sixty five newton metres"),
        (Quantity(F(3, 40), "in"), {}, "zero point zero seven five inches"),
        (Quantity(F(253, 200), "1"), {}, "one point two six five"),
        (Quantity(F(1, 3), "mm"), {}, "one over three millimetres"),
    ],
)
def test_wording(quantity: Quantity, options: dict[str, Any], words: str) -> None:
    assert say(quantity, **options) == words


def test_decimal_places() -> None:
    assert [decimal_places(F(n)) for n in ("1", "1/2", "1/32", "1/3")] == [0, 1, 5, None]


def test_every_unit_has_a_name() -> None:
    for symbol in UNITS:
        assert bool(unit_name(symbol)) == (symbol != "1")
