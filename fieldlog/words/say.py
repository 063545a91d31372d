"""Quantity -> words, for reading back (pure).

``say`` gives words that ``quantity.quantities`` reads as the same quantity again; with
``digits=True`` the number is said digit by digit ("one three"), which is how a teen and its ty twin
are told apart.
"""

from __future__ import annotations

from fractions import Fraction

from fieldlog.model.finding import Quantity
from fieldlog.quantities import units
from fieldlog.quantities.number_words import PARTS
from fieldlog.quantities.spell import (
    decimal_places,
    spell_digits,
    spell_fraction,
    spell_integer,
)
from fieldlog.words import english

_HALVED = (2, 4, 8, 16, 32, 64)
"""Denominators of the shop."""


def say(
    quantity: Quantity, *, denominator: int | None = None, places: int = 0, digits: bool = False
) -> str:
    """Words of ``quantity``.

    ``denominator`` says parts of an inch or a turn with it ("four thirty seconds" for 1/8 in);
    ``places`` is the least number of decimals (keeps "twelve point five zero"); ``digits`` says
    every digit by itself. A value no form can say exactly is said as a fraction of whole numbers
    ("one over three"), which is for the eye and ear only and is not read back in.
    """
    singular = quantity.high is None and abs(quantity.value) == 1
    name = unit_name(quantity.unit, plural=not singular)
    ends = [_number(quantity.value, quantity.unit, denominator, places, digits)]
    if quantity.high is not None:
        ends.append(_number(quantity.high, quantity.unit, denominator, places, digits))
    number = f" {english.TO} ".join(ends)
    before = f"{english.QUALIFIERS[quantity.qualifier]} " if quantity.qualifier else ""
    if ends[-1].endswith((*PARTS[32], *PARTS[64])):
        name = english.OF_AN_INCH
    elif quantity.high is None and 0 < quantity.value < 1 and _is_fraction_words(ends[-1]):
        name = english.of_a(unit_name(quantity.unit, plural=False))
    return f"{before}{number} {name}".strip()


def unit_name(symbol: str, *, plural: bool = True) -> str:
    """The unit's name in words; "" for a plain ratio. Raises ``UsageError`` for unknown units."""
    row = units.unit(symbol)
    return row.many if plural else row.one


def _is_fraction_words(words: str) -> bool:
    named = {name for n in (2, 4, 8, 16) for name in PARTS[n]}
    return words.split()[-1] in named


def _number(value: Fraction, unit: str, denominator: int | None, places: int, digits: bool) -> str:
    sign = [english.MINUS] if value < 0 else []
    size = abs(value)
    words = None if digits else _as_fraction(size, unit, denominator)
    if words is None:
        words = _as_decimal(size, places, digits)
    if words is None:
        words = _as_fraction(size, unit, None, any_unit=True) or [
            *spell_integer(size.numerator),
            english.OVER,
            *spell_integer(size.denominator),
        ]
    return " ".join([*sign, *words])


def _as_fraction(
    size: Fraction, unit: str, denominator: int | None, any_unit: bool = False
) -> list[str] | None:
    """Words of a fraction, whole part first; only when asked for, or no decimal says it."""
    if denominator is None:
        if not any_unit or size.denominator not in _HALVED:
            return None
        denominator = size.denominator
    if denominator in (32, 64) and unit != "in":
        return None
    top = size * denominator
    if top.denominator != 1 or top == 0:
        return None
    whole, rest = divmod(top.numerator, denominator)
    if not rest:
        return None
    part = spell_fraction(rest, denominator)
    if part is None:
        return None
    return [*spell_integer(whole), english.AND, *part] if whole else part


def _as_decimal(size: Fraction, least: int, digits: bool) -> list[str] | None:
    needed = decimal_places(size)
    if needed is None:
        return None
    places = max(needed, least)
    scaled = size * 10**places
    text = str(scaled.numerator).rjust(places + 1, "0")
    whole, part = text[: len(text) - places], text[len(text) - places :]
    head = spell_digits(whole) if digits else spell_integer(int(whole))
    return [*head, english.POINT, *spell_digits(part)] if places else head
