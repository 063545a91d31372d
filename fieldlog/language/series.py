"""Several readings in one utterance -> the values, for every way of cutting them apart (pure).

"zero then point one then point three millimetres" is three readings in millimetres. Where the words
can be cut in more than one way ("zero point one point three"), every way is kept and the speaker is
asked; saying *then* between the readings settles it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache

from fieldlog.catalogue.component import Characteristic
from fieldlog.language.lexicon import Words
from fieldlog.model.finding import Quantity
from fieldlog.quantities import numbers
from fieldlog.quantities.number_words import DENOMINATORS
from fieldlog.quantities.quantity import quantities
from fieldlog.quantities.units import SPOKEN
from fieldlog.quantities.values import Style

BREAK = "then"
_MOST_WAYS = 8
_MOST_CUTS = 64
_STYLES = frozenset({Style.INTEGER, Style.DECIMAL, Style.FRACTION, Style.MIXED})


def series(said: Words, one: Characteristic) -> list[tuple[Quantity, ...]]:
    """Every series of two or more readings that ``said`` can be, at most eight; plausible ones
    only, if any is. A value without a unit has unit "" (where ``one`` needs one)."""
    found = list(dict.fromkeys(_series(said, one)))
    plausible = [
        values
        for values in found
        if all(value.unit and one.plausible_reading(value.value, value.unit) for value in values)
    ]
    return (plausible or found)[:_MOST_WAYS]


def _series(said: Words, one: Characteristic) -> Iterator[tuple[Quantity, ...]]:
    stretches = _between_breaks(said)
    if 2 <= len(stretches) <= one.readings:
        each = _each_with_unit([_value(part, (), one) for part in stretches])
        if each:
            yield each
            return
    for body, unit in _unit_cuts(said):
        for parts in _cuts(body, one.readings, "gravity" in one.said):
            values = [_value(part, unit, one) for part in parts]
            if all(values):
                yield tuple(value for value in values if value is not None)


def _each_with_unit(values: list[Quantity | None]) -> tuple[Quantity, ...]:
    """Readings that were said with their own unit; zero may go without, it is zero in any."""
    units = {value.unit for value in values if value is not None and value.unit}
    if len(units) != 1:
        return ()
    unit = units.pop()
    kept = [replace(v, unit=unit) if v and not v.value else v for v in values]
    return tuple(v for v in kept if v) if all(v is not None and v.unit for v in kept) else ()


def _unit_cuts(said: Words) -> Iterator[tuple[Words, Words]]:
    """(number words, words that end every reading): the unit, or the denominator of them all."""
    for size in range(1, min(4, len(said) - 1) + 1):
        tail = said[-size:]
        if tail in SPOKEN or tail in DENOMINATORS:
            yield said[:-size], tail
    yield said, ()


def _value(words: Words, unit: Words, one: Characteristic) -> Quantity | None:
    result = quantities((*words, *unit), one.units, gravity="gravity" in one.said)
    readings = [r for r in result.readings if r.number.high is None]
    plausible = [r for r in readings if one.plausible_reading(r.quantity.value, r.quantity.unit)]
    readings = plausible or readings[:1]
    if len(readings) == 1:
        return readings[0].quantity
    if not unit and result.assumed:
        number = result.assumed[0].quantity
        return Quantity(number.value, "", " ".join(words))
    return None


def _cuts(body: Words, most: int, gravity: bool) -> Iterator[tuple[Words, ...]]:
    """Every way to cut the words into two or more numbers said in full.

    ``gravity``: only into what a hydrometer can read.
    """
    ways: list[tuple[Words, ...]] = [()]
    for part in _between_breaks(body):
        whole = ((part,),) if _is_number(part, gravity) else ()
        splits = whole if whole and BREAK in body else _splits(part, gravity)
        ways = [way + split for way in ways for split in splits][:_MOST_CUTS]
    yield from (way for way in ways if 2 <= len(way) <= most)


def _between_breaks(body: Words) -> list[Words]:
    """The stretches between *then*; one number that can be said whole between two is one."""
    parts: list[Words] = [()]
    for word in body:
        if word == BREAK:
            parts.append(())
        else:
            parts[-1] = (*parts[-1], word)
    return [part for part in parts if part]


@lru_cache(maxsize=256)
def _splits(body: Words, gravity: bool) -> tuple[tuple[Words, ...], ...]:
    if not body:
        return ((),)
    found: list[tuple[Words, ...]] = []
    for size in range(1, min(len(body), 5) + 1):
        if _is_number(body[:size], gravity):
            found += [(body[:size], *rest) for rest in _splits(body[size:], gravity)]
            if len(found) > 64:
                break
    return tuple(found)


def _is_number(words: Words, gravity: bool) -> bool:
    said = numbers.readings(words)
    if gravity:
        return any(
            reading.style == Style.COMPACT_GRAVITY
            or (reading.style == Style.DECIMAL and 1 <= reading.value < 2)
            for reading in said
        )
    return any(
        reading.style in _STYLES and reading.high is None and not reading.flags for reading in said
    )
