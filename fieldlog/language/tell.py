"""Findings, places and quantities in plain words, for reasons and questions (pure)."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from fieldlog.catalogue.component import Axis, Characteristic, Component
from fieldlog.meaning.say import decimal_places, name
from fieldlog.model import Finding, Quantity

_QUESTIONS = {
    "end": "Which end",
    "side": "Which side",
    "cell": "Which cell",
    "mount": "Which mount",
    "joint": "Which joint",
}


PARTED = frozenset({"in", "turn"})
"""Units whose values are said in halves and quarters: 1 3/4 in, not 1.75 in."""


def number(value: Fraction, unit: str = "") -> str:
    """A value as people write it: "12.6", "4/32" kept as 1/8, "1 3/4" of an inch."""
    places = decimal_places(value)
    parts = (2, 4, 8, 16, 32, 64) if unit in PARTED else (8, 16, 32, 64)
    if places is not None and places <= 4 and value.denominator not in parts:
        return f"{float(value):.{places}f}"
    if value.denominator == 1:
        return str(value.numerator)
    if value.denominator > 64:  # computed, never said: three decimals are plenty
        return f"{float(value):.3f}".rstrip("0").rstrip(".")
    whole, rest = divmod(abs(value), 1)
    sign = "-" if value < 0 else ""
    return f"{sign}{whole} {rest}" if whole else f"{sign}{rest}"


def quantity(one: Quantity) -> str:
    """ "about 2 to 3 mm"."""
    text = number(one.value, one.unit)
    if one.high is not None:
        text += f" to {number(one.high, one.unit)}"
    if one.qualifier is not None:
        text = f"{one.qualifier.value} {text}"
    return text if one.unit in ("1", "") else f"{text} {one.unit}"


def place(component: str, position: str | None) -> str:
    """ "front brake pads"; "battery, cell 3"."""
    if position is None:
        return component
    if position[-1:].isdigit() or position in ("up", "down"):
        return f"{component}, {position}"
    return f"{position} {component}"


def finding(one: Finding) -> str:
    """One line: "front brake pads, thickness: 2 mm"."""
    head = place(one.component, one.position)
    if one.characteristic and one.characteristic != "condition":
        head = f"{head}, {one.characteristic}"
    if one.quantity is not None:
        return f"{head}: {quantity(one.quantity)}"
    if one.readings:
        return f"{head}: " + ", ".join(quantity(value) for value in one.readings)
    said = one.condition or one.code
    return f"{head}: {said}" if said else head


def which(axes: Sequence[Axis], values: Sequence[Sequence[str]]) -> str:
    """ "Which end: front or rear?"."""
    parts = []
    for axis, known in zip(axes, values, strict=True):
        ask = _QUESTIONS.get(axis.name, "Which one")
        parts.append(f"{ask}: {either(known)}?")
    return " ".join(parts)


def which_unit(units: Sequence[str]) -> str:
    """ "Millimetres or inches?"."""
    return capital(f"{either([name(unit) for unit in units])}?")


def capital(text: str) -> str:
    """The first letter as a capital, the rest as it stands."""
    return text[:1].upper() + text[1:]


def either(words: Sequence[str]) -> str:
    """ "a, b or c"."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} or {words[-1]}"


def too_far(component: Component, one: Characteristic, value: Quantity) -> str:
    """Why a value is not believed: the catalogue's plausible range beside it."""
    ranges = [r for r in one.ranges if not r.holds(value.value, value.unit)] or list(one.ranges)
    told = either(
        [f"{number(r.low)} to {number(r.high)} {r.unit}".rstrip(" 1") for r in ranges[:1]]
    )
    return f"{quantity(value)} is no plausible {one.name} of the {component.name} ({told})"
