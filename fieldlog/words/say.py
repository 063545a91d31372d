"""Quantity -> words, for reading back (pure).

``say`` gives words that ``quantity.quantities`` reads as the same quantity again; with
``digits=True`` the number is said digit by digit ("one three"), which is how a teen and its ty twin
are told apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from types import MappingProxyType

from fieldlog.model import Qualifier, Quantity
from fieldlog.quantities import units
from fieldlog.quantities.spell import spell_digits, spell_fraction, spell_integer, spell_radio

_NAMES: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "mm": ("millimetre", "millimetres"),
        "cm": ("centimetre", "centimetres"),
        "m": ("metre", "metres"),
        "in": ("inch", "inches"),
        "ft": ("foot", "feet"),
        "km": ("kilometre", "kilometres"),
        "mi": ("mile", "miles"),
        "psi": ("p s i", "p s i"),
        "kPa": ("kilopascal", "kilopascals"),
        "bar": ("bar", "bar"),
        "kgf/cm2": ("kilogram per square centimetre", "kilograms per square centimetre"),
        "V": ("volt", "volts"),
        "mV": ("millivolt", "millivolts"),
        "A": ("amp", "amps"),
        "mA": ("milliamp", "milliamps"),
        "N.m": ("newton metre", "newton metres"),
        "lbf.ft": ("foot pound", "foot pounds"),
        "lbf.in": ("inch pound", "inch pounds"),
        "kgf.m": ("kilogram metre", "kilogram metres"),
        "kgf.cm": ("kilogram centimetre", "kilogram centimetres"),
        "N": ("newton", "newtons"),
        "lbf": ("pound force", "pounds force"),
        "kgf": ("kilogram force", "kilograms force"),
        "kg": ("kilogram", "kilograms"),
        "g": ("gram", "grams"),
        "lb": ("pound", "pounds"),
        "km/h": ("kilometre per hour", "kilometres per hour"),
        "mi/h": ("mile per hour", "miles per hour"),
        "L": ("litre", "litres"),
        "mL": ("millilitre", "millilitres"),
        "qt": ("quart", "quarts"),
        "fl.oz": ("fluid ounce", "fluid ounces"),
        "deg": ("degree", "degrees"),
        "turn": ("turn", "turns"),
        "%": ("percent", "percent"),
        "link": ("link", "links"),
        "1/min": ("per minute", "per minute"),
        "degC": ("degree celsius", "degrees celsius"),
        "degF": ("degree fahrenheit", "degrees fahrenheit"),
        "s": ("second", "seconds"),
        "min": ("minute", "minutes"),
        "h": ("hour", "hours"),
        "d": ("day", "days"),
        "wk": ("week", "weeks"),
        "mo": ("month", "months"),
        "a": ("year", "years"),
        "1": ("", ""),
    }
)
_DENOMINATORS = (2, 4, 8, 16, 32, 64)
_MOST_PLACES = 6


def decimal_places(value: Fraction) -> int | None:
    """Decimals needed to write ``value`` exactly, up to six; None when it needs more."""
    for places in range(_MOST_PLACES + 1):
        if 10**places % value.denominator == 0:
            return places
    return None


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
    name = _NAMES[quantity.unit][0 if singular else 1]
    ends = [_number(quantity.value, quantity.unit, denominator, places, digits)]
    if quantity.high is not None:
        ends.append(_number(quantity.high, quantity.unit, denominator, places, digits))
    number = " to ".join(ends)
    prefix = {Qualifier.ABOUT: "about ", Qualifier.LESS: "less than ", Qualifier.MORE: "more than "}
    before = prefix[quantity.qualifier] if quantity.qualifier else ""
    if ends[-1].endswith(("thirty second", "thirty seconds", "sixty fourth", "sixty fourths")):
        name = "of an inch"
    elif quantity.high is None and 0 < quantity.value < 1 and _is_fraction_words(ends[-1]):
        singular_name = _NAMES[quantity.unit][0]
        name = f"of {'an' if singular_name[:1] in 'aeiou' else 'a'} {singular_name}"
    return f"{before}{number} {name}".strip()


def name(symbol: str, *, plural: bool = True) -> str:
    """The unit's name in words; "" for a plain ratio. Raises ``UsageError`` for unknown units."""
    units.unit(symbol)
    return _NAMES[symbol][int(plural)]


def _is_fraction_words(words: str) -> bool:
    return words.split()[-1] in {
        "half", "quarter", "quarters", "eighth", "eighths", "sixteenth", "sixteenths"
    }  # fmt: skip


def _number(value: Fraction, unit: str, denominator: int | None, places: int, digits: bool) -> str:
    sign = ["minus"] if value < 0 else []
    size = abs(value)
    words = None if digits else _as_fraction(size, unit, denominator)
    if words is None:
        words = _as_decimal(size, places, digits)
    if words is None:
        words = _as_fraction(size, unit, None, any_unit=True) or [
            *spell_integer(size.numerator),
            "over",
            *spell_integer(size.denominator),
        ]
    return " ".join([*sign, *words])


def _as_fraction(
    size: Fraction, unit: str, denominator: int | None, any_unit: bool = False
) -> list[str] | None:
    """Words of a fraction, whole part first; only when asked for, or no decimal says it."""
    if denominator is None:
        if not any_unit or size.denominator not in _DENOMINATORS:
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
    return [*spell_integer(whole), "and", *part] if whole else part


def _as_decimal(size: Fraction, least: int, digits: bool) -> list[str] | None:
    needed = decimal_places(size)
    if needed is None:
        return None
    places = max(needed, least)
    scaled = size * 10**places
    text = str(scaled.numerator).rjust(places + 1, "0")
    whole, part = text[: len(text) - places], text[len(text) - places :]
    head = spell_digits(whole) if digits else spell_integer(int(whole))
    return [*head, "point", *spell_digits(part)] if places else head


def spell_out(quantity: Quantity) -> str:
    """The value's digits in the radiotelephony way, without the unit ("tree fife", "wun point six").

    Values that no decimal says are given as in ``say``.
    """
    needed = decimal_places(abs(quantity.value))
    if needed is None:
        return say(quantity)
    scaled = abs(quantity.value) * 10**needed
    text = str(scaled.numerator).rjust(needed + 1, "0")
    head = spell_radio(text[: len(text) - needed])
    tail = ["decimal", *spell_radio(text[len(text) - needed :])] if needed else []
    sign = ["minus"] if quantity.value < 0 else []
    return " ".join([*sign, *head, *tail])
