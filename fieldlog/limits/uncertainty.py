"""Which uncertainty a reading is judged with, and where it comes from (pure)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType

from fieldlog.errors import UsageError
from fieldlog.limits.context import amount
from fieldlog.model.context import Context
from fieldlog.model.finding import Qualifier, Quantity
from fieldlog.quantities.number_words import DIGITS, PARTS, TEENS, TENS, ZEROS
from fieldlog.quantities.spell import decimal_places
from fieldlog.quantities.units import convert, dimension


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """Expanded uncertainty U (k = 2) in ``unit``, with where it comes from."""

    value: Fraction
    unit: str
    origin: str

    def in_unit(self, unit: str) -> Fraction:
        """U as an interval in ``unit``, exactly (a temperature interval has no offset)."""
        return convert(self.value, self.unit, unit, difference=True)


_FRACTION_WORDS: Mapping[str, int] = MappingProxyType(
    {name: n for n in (2, 4, 8, 16, 64, 32, 1000) for name in PARTS[n]}
    | {"thou": 1000, "mils": 1000}
)
_FINEST_SPOKEN = 64
"""Nobody speaks a common fraction finer than a sixty-fourth: such a value was computed."""


def resolution(quantity: Quantity) -> Fraction:
    """The last place spoken, in the quantity's unit: ``one point five nine`` -> 1/100.

    Read from the words where they show it (a fraction's denominator, the digits after "point"),
    else from the value itself (decimal places, or the denominator of a plain fraction).
    """
    words = " ".join(quantity.words.lower().replace("-", " ").split())
    padded = f" {words} "
    if quantity.unit == "in":
        named = [n for word, n in _FRACTION_WORDS.items() if f" {word} " in padded]
        if named:
            return Fraction(1, max(named))
    shown = _places_spoken(words) if " point " in padded else 0
    needed = decimal_places(quantity.value)
    if needed is None:  # no finite decimal: a fraction as spoken
        return Fraction(1, quantity.value.denominator)
    if not shown and quantity.value.denominator in (2, 4, 8) and " point " not in padded and words:
        return Fraction(1, quantity.value.denominator)
    return Fraction(1, 10 ** max(shown, needed))


def uncertainty_of(
    quantity: Quantity, context: Context, default: Quantity | None = None
) -> Uncertainty:
    """U for one reading: declared with it, else set, else the characteristic's default, else half
    the resolution it was spoken with.

    "About" doubles U, to at least the resolution spoken, unless it was switched off with
    ``uncertainty=0``. Raises ``UsageError`` when the setting has a unit of another kind.
    """
    found = _stated(quantity, context, default)
    if found.value and quantity.qualifier is Qualifier.ABOUT:
        spoken = resolution(quantity)
        wide = max(2 * found.in_unit(quantity.unit), spoken)
        return Uncertainty(wide, quantity.unit, found.origin + ", widened for 'about'")
    return found


def _stated(quantity: Quantity, context: Context, default: Quantity | None) -> Uncertainty:
    if quantity.uncertainty is not None:
        return Uncertainty(quantity.uncertainty, quantity.unit, "declared with the reading")
    text = context.settings.get("uncertainty")
    if text is not None:
        value, unit = amount(text, quantity.unit)
        if value == 0:
            return Uncertainty(value, quantity.unit, "switched off by uncertainty=0")
        if dimension(unit) != dimension(quantity.unit):
            raise UsageError(
                f"uncertainty {text} is not in a unit of {dimension(quantity.unit)}",
                where="--set uncertainty",
                todo=f"give it in {quantity.unit}, or 0 to switch it off",
            )
        return Uncertainty(value, unit, "set with uncertainty=" + text)
    if default is not None and dimension(default.unit) == dimension(quantity.unit):
        return Uncertainty(default.value, default.unit, "usual for this characteristic")
    if decimal_places(quantity.value) is None and quantity.value.denominator > _FINEST_SPOKEN:
        return Uncertainty(Fraction(0), quantity.unit, "computed value, none stated")
    return Uncertainty(resolution(quantity) / 2, quantity.unit, "half the last place spoken")


def _places_spoken(words: str) -> int:
    """Digits after "point": ``oh seven five`` is 3, ``seventy five`` 2, ``fifteen`` 2."""
    places = 0
    tens = False
    for word in f" {words}".split(" point ", 1)[1].split():
        if word in DIGITS or word in ZEROS:
            places += 0 if tens else 1
            tens = False
        elif word in TENS:
            places, tens = places + 2, True
        elif word in TEENS:
            places, tens = places + 2, False
        else:
            break
    return places
