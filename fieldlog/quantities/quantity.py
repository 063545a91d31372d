"""Words of a quantity -> every exact quantity they can mean, given the units that may be (pure).

The component's allowed units decide what an ambiguous unit word is ("pounds" on a tyre gauge); the
plausible range settles what is still open ("twelve six" volts). Where two remain, both are returned
and the speaker is asked. The value stays in the unit that was said.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from fieldlog.model.finding import Quantity
from fieldlog.model.understanding import Flag
from fieldlog.quantities import numbers, units
from fieldlog.quantities.number_words import AFTER, MINUS, NUMBER_WORDS, QUALIFIERS
from fieldlog.quantities.numbers import (
    PROPER,
    NumberReading,
)
from fieldlog.quantities.units import SpokenUnit
from fieldlog.quantities.values import Style

Words = tuple[str, ...]
_LONGEST_UNIT = max(len(phrase) for phrase in units.SPOKEN)
_INCH_PARTS = frozenset({8, 16, 32, 64})
"""Denominators that mean parts of an inch when no unit is said."""
_ONLY_INCH = frozenset({32, 64})


@dataclass(frozen=True, slots=True)
class Plausible:
    """The range in which a value of this characteristic can be; both ends in ``unit``, included."""

    low: Fraction
    high: Fraction
    unit: str

    def holds(self, value: Fraction, unit: str) -> bool:
        """Whether ``value`` of ``unit`` lies in the range (converted exactly)."""
        if units.dimension(unit) != units.dimension(self.unit):
            return False
        return self.low <= units.convert(value, unit, self.unit) <= self.high


@dataclass(frozen=True, slots=True)
class QuantityReading:
    """One meaning of the words: the quantity, the number behind it, and what a reviewer should see.

    ``flags``: those of ``NumberReading`` and ``unit assumed``, ``loose unit``, ``shorthand``.
    """

    quantity: Quantity
    number: NumberReading
    flags: tuple[Flag, ...] = ()


@dataclass(frozen=True, slots=True)
class Quantities:
    """Every meaning of the words of a quantity.

    ``readings``: legal and plausible; one -> accept, several -> ask.
    ``implausible``: legal, but outside the plausible range (ask when there is nothing else).
    ``assumed``: what it would be in each allowed unit when no unit was said (ask).
    ``reason``: why ``readings`` is empty: ``no unit``, ``unit not allowed here: V``,
    ``not a number: ...``, ``unknown unit: ...``, ``no number was said``,
    ``outside the plausible range``; "" otherwise.
    """

    readings: tuple[QuantityReading, ...] = ()
    implausible: tuple[QuantityReading, ...] = ()
    assumed: tuple[QuantityReading, ...] = ()
    reason: str = ""
    refused: tuple[str, ...] = ()
    """Symbols of the units that were said and are not allowed here."""

    @property
    def quantities(self) -> tuple[Quantity, ...]:
        """The quantities of ``readings``."""
        return tuple(reading.quantity for reading in self.readings)


def quantities(
    words: Sequence[str],
    allowed: Collection[str],
    *,
    default: str | None = None,
    plausible: Plausible | None = None,
    gravity: bool = False,
) -> Quantities:
    """Every quantity that ``words`` (number, unit, qualifiers) can mean.

    ``allowed`` are the unit symbols that the characteristic can have. ``default`` is the unit taken
    without asking when none is said (a count, a ratio). ``gravity`` admits the hydrometer shorthand
    "twelve sixty five" = 1.265. Raises ``UsageError`` when ``allowed`` names an unknown unit.
    """
    return _quantities(tuple(words), tuple(allowed), default, plausible, gravity)


@lru_cache(maxsize=16_384)  # a breath that is cut asks about the same words many times
def _quantities(
    words: Words,
    allowed: tuple[str, ...],
    default: str | None,
    plausible: Plausible | None,
    gravity: bool,
) -> Quantities:
    for symbol in allowed:
        units.unit(symbol)
    said = _below_zero(words)
    found, refused, reasons = _with_unit(said, allowed, gravity)
    if found:
        return _sorted(found, plausible)
    bare = _bare(said, allowed, default, gravity)
    if not bare and any(n.denominator in _ONLY_INCH for n in numbers.readings(said)):
        refused.add("in")
    if refused and not bare:
        told = ", ".join(sorted(refused))
        return Quantities(reason=f"unit not allowed here: {told}", refused=tuple(sorted(refused)))
    if bare and (default is not None or any(Flag.UNIT_ASSUMED not in r.flags for r in bare)):
        return _sorted([r for r in bare if Flag.UNIT_ASSUMED not in r.flags], plausible)
    if bare:
        split = _sorted(bare, plausible)
        return Quantities(assumed=split.readings or bare, reason="no unit")
    return Quantities(reason=_why_none(said, reasons))


def _why_none(words: Words, reason: str) -> str:
    """The reason for the speaker when the words are no quantity at all."""
    if not words or words in units.SPOKEN:
        return "no number was said"
    for at in range(len(words) - 1, 0, -1):
        rest = words[at:]
        if numbers.readings(words[:at]) and not any(word in NUMBER_WORDS for word in rest):
            known = next((n for n in range(len(rest), 0, -1) if rest[:n] in units.SPOKEN), 0)
            if known < len(rest):
                left = " ".join(rest[known:])
                return (
                    f"not understood after the unit: {left!r}"
                    if known
                    else f"unknown unit: {left!r}"
                )
            break
    return reason or numbers.why_not(words) or "not a quantity"


def _below_zero(words: Words) -> Words:
    """ "ten degrees below zero" -> "minus ten degrees"; anything else as it is."""
    if words[-2:] != ("below", "zero") or not MINUS.isdisjoint(words):
        return words
    size = next((n for n in (3, 2, 1) if words[:n] in QUALIFIERS), 0)
    return (*words[:size], "minus", *words[size:-2])


# --- with a unit -----------------------------------------------------------------------------


def _with_unit(
    words: Words, allowed: Collection[str], gravity: bool
) -> tuple[list[QuantityReading], set[str], str]:
    """Readings with a spoken unit, the symbols that were said but are not allowed, a reason."""
    found: list[QuantityReading] = []
    refused: set[str] = set()
    reason = ""
    for number_words, unit_words in _cuts(words):
        numbers_said = numbers.readings(number_words)
        if not numbers_said:
            reason = reason or numbers.why_not(number_words)
            continue
        for meaning in units.meanings(unit_words):
            legal = meaning.symbol in allowed
            for number in numbers_said:
                if not _fits(number, meaning, gravity):
                    reason = reason or f"not a quantity: {' '.join(words)!r}"
                elif legal:
                    found.append(_reading(number, meaning, words))
                else:
                    refused.add(meaning.symbol)
    return _settle(found), refused, reason


def _cuts(words: Words) -> Iterable[tuple[Words, Words]]:
    """Every way to cut the words into number words and unit words."""
    tail: Words = ()
    for size in (3, 2):
        if len(words) > size and words[-size:] in AFTER:
            words, tail = words[:-size], words[-size:]
            break
    for size in range(min(_LONGEST_UNIT, len(words)), 0, -1):
        unit_words = words[-size:]
        if unit_words not in units.SPOKEN or _is_fraction(words, size):
            continue
        number_words = _without_article(_without_repeated_unit(words[:-size], unit_words))
        if number_words[-1:] == ("k",):
            number_words = (*number_words[:-1], "thousand")
        if number_words:
            yield number_words + tail, unit_words
    for at in (n for n, word in enumerate(words) if word == "and"):
        for size in range(min(_LONGEST_UNIT, at - 1), 0, -1):
            unit_words = words[at - size : at]
            if unit_words in units.SPOKEN:
                # "an inch and a half", "two turns and a quarter"
                yield _without_article(words[: at - size]) + words[at:] + tail, unit_words


def _is_fraction(words: Words, size: int) -> bool:
    """Whether the unit word is the end of a spoken fraction ("four thirty seconds")."""
    return (
        words[-size:] in (("second",), ("seconds",))
        and len(words) > 2
        and any(reading.denominator == 32 for reading in numbers.readings(words))
    )


def _without_article(words: Words) -> Words:
    """The article before a unit: a number ("an inch") or nothing ("half an inch")."""
    if words[-1:] and words[-1] in ("full", "whole"):
        words = words[:-1]
    last = words[-1:]
    body = words[:-1]
    if last in (("a",), ("an",), ("one",)):
        part = body[:-1] if body[-1:] == ("of",) else body
        if _is_part(part) and (last != ("one",) or part != body):
            return part
        if last != ("one",) and (not body or body in QUALIFIERS):
            return (*body, "one")
    if last == ("of",) and _is_part(body):
        return body
    return words


def _is_part(words: Words) -> bool:
    """Whether one can say "of an inch" after the words: a fraction, or a decimal below one."""
    return any(
        reading.style in (Style.FRACTION, Style.MIXED)
        or (reading.style == Style.DECIMAL and reading.value < 1)
        for reading in numbers.readings(words)
    )


def _without_repeated_unit(words: Words, unit_words: Words) -> Words:
    """Drop the same unit said inside a range: "two millimetres to three" (millimetres)."""
    same = set(units.meanings(unit_words))
    for link in ("to", "and", "or", "through", "till", "until"):
        for at in (n for n, word in enumerate(words) if word == link):
            for size in range(min(_LONGEST_UNIT, at - 1), 0, -1):
                inner = words[at - size : at]
                if inner in units.SPOKEN and same & set(units.meanings(inner)):
                    return words[: at - size] + words[at:]
    return words


def _fits(number: NumberReading, meaning: SpokenUnit, gravity: bool) -> bool:
    if number.denominator in _ONLY_INCH and meaning.symbol != "in":
        return False
    if meaning.scale != 1 and number.denominator in _INCH_PARTS:
        return False
    if number.style == Style.COMPACT_VOLTS:
        return meaning.symbol == "V"
    return number.style != Style.COMPACT_GRAVITY or (gravity and meaning.symbol == "1")


def _reading(
    number: NumberReading, meaning: SpokenUnit, words: Words, *flags: Flag
) -> QuantityReading:
    scale = meaning.scale
    quantity = Quantity(
        value=number.value * scale,
        unit=meaning.symbol,
        words=" ".join(words),
        high=None if number.high is None else number.high * scale,
        qualifier=number.qualifier,
    )
    own = [*number.flags, *flags]
    if meaning.loose:
        own.append(Flag.LOOSE_UNIT)
    if number.style not in PROPER | {Style.REPAIR}:
        own.append(Flag.SHORTHAND)
    return QuantityReading(quantity, number, tuple(own))


def _settle(found: Iterable[QuantityReading]) -> list[QuantityReading]:
    """Drop what better readings of the same words make needless, and merge equal quantities.

    A unit named by the book beats shop shorthand; a voltmeter or hydrometer reading beats the
    suspicion of a slip of the tongue, and the plain string of its digits.
    """
    kept = list(found)
    if any(Flag.LOOSE_UNIT not in r.flags for r in kept):
        kept = [r for r in kept if Flag.LOOSE_UNIT not in r.flags]
    if any(r.number.style in (Style.COMPACT_VOLTS, Style.COMPACT_GRAVITY) for r in kept):
        kept = [r for r in kept if r.number.style not in (Style.REPAIR,)]
    merged: dict[tuple[object, ...], QuantityReading] = {}
    for reading in kept:
        q = reading.quantity
        merged.setdefault((q.value, q.high, q.unit, q.qualifier), reading)
    return list(merged.values())


# --- without a unit --------------------------------------------------------------------------


def _bare(
    words: Words, allowed: Collection[str], default: str | None, gravity: bool
) -> tuple[QuantityReading, ...]:
    said = numbers.readings(words)
    if any(n.denominator in _ONLY_INCH for n in said) and "in" not in allowed:
        return ()
    inch = [
        n for n in said if n.denominator in _INCH_PARTS and n.style in (Style.FRACTION, Style.MIXED)
    ]
    if inch and "in" in allowed:
        return tuple(_settle(_reading(n, SpokenUnit("in"), words) for n in inch))
    taken = [default] if default is not None else [s for s in allowed if s == "1"]
    flags = () if taken else (Flag.UNIT_ASSUMED,)
    readings = [
        _reading(number, SpokenUnit(symbol), words, *flags)
        for symbol in taken or allowed
        for number in said
        if _fits(number, SpokenUnit(symbol), gravity)
    ]
    return tuple(_settle(readings))


def _sorted(found: Sequence[QuantityReading], plausible: Plausible | None) -> Quantities:
    if plausible is None:
        return Quantities(readings=tuple(found))
    inside = tuple(r for r in found if _inside(r.quantity, plausible))
    outside = tuple(r for r in found if r not in inside)
    reason = "" if inside else "outside the plausible range"
    return Quantities(readings=inside, implausible=outside, reason=reason)


def _inside(quantity: Quantity, plausible: Plausible) -> bool:
    ends = (quantity.value, quantity.value if quantity.high is None else quantity.high)
    return all(plausible.holds(end, quantity.unit) for end in ends)
