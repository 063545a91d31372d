"""Findings, places and quantities in plain words, for reasons and questions (pure)."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from fieldlog.catalogue.component import Axis, Characteristic, Component
from fieldlog.model import Finding, Quantity
from fieldlog.words.say import decimal_places, name
from fieldlog.words.wording import (
    number_text,
    place_text,
    quantity_text,
    subject_text,
    unit_text,
    value_text,
    with_unit,
)

_QUESTIONS = {
    "end": "Which end",
    "side": "Which side",
    "cell": "Which cell",
    "mount": "Which mount",
    "joint": "Which joint",
}


def number(value: Fraction, unit: str = "") -> str:
    """A value as people write it: "12.6", "1 3/4" of an inch; three decimals of a long one."""
    places = decimal_places(value)
    if value.denominator > 64 and (places is None or places > 4):
        return f"{float(value):.3f}".rstrip("0").rstrip(".")  # computed, never said
    return number_text(value, unit=unit)


def quantity(one: Quantity) -> str:
    """ "about 2 to 3 mm"; "4/32 in" where that was said."""
    if one.words:
        return quantity_text(one)
    text = number(one.value, one.unit)
    if one.high is not None:
        text += f" to {number(one.high, one.unit)}"
    text = with_unit(text, one.unit)
    return f"{one.qualifier.value} {text}" if one.qualifier is not None else text


def place(component: str, position: str | None) -> str:
    """ "front brake pads"; "battery, cell 3"."""
    return place_text(component, position)


def finding(one: Finding) -> str:
    """One line: "front brake pads, thickness: 2 mm", "front spokes: missing (count 2)"."""
    head = subject_text(one)
    if one.quantity is not None and not one.readings:
        said = quantity(one.quantity)
    else:
        said = value_text(one) if one.readings or one.condition or one.code else ""
    facts = ", ".join(f"{setting.replace('_', ' ')} {value}" for setting, value in one.given)
    return (f"{head}: {said}" if said else head) + (f" ({facts})" if facts else "")


def which(axes: Sequence[Axis], values: Sequence[Sequence[str]]) -> str:
    """ "Which end: front or rear?"."""
    parts = []
    for axis, known in zip(axes, values, strict=True):
        ask = _QUESTIONS.get(axis.name, "Which one")
        parts.append(f"{ask}: {either(known)}?")
    return " ".join(parts)


def which_unit(units: Sequence[str]) -> str:
    """ "Millimetres or inches?"; "psi or kilopascals?": a unit spelt letter by letter is its symbol."""
    shown = [unit_text(unit) if _spelt(unit) else name(unit) for unit in units]
    asked = f"{either(shown)}?"
    return asked if units and _spelt(units[0]) else capital(asked)


def _spelt(unit: str) -> bool:
    return all(len(part) == 1 for part in name(unit).split())


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
        [
            with_unit(f"{number(r.low, r.unit)} to {number(r.high, r.unit)}", r.unit)
            for r in ranges[:1]
        ]
    )
    return f"{quantity(value)} is no plausible {one.name} of the {component.name} ({told})"
