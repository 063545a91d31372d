"""Values and findings as people read them, the same on the terminal, in questions and on paper (pure).

A value is told exactly: as a fraction where it was said as one, as a decimal where that ends.
"""

from __future__ import annotations

import re
from fractions import Fraction

from fieldlog.model import Finding, Quantity, State, Verdict

UNIT_TEXT = {
    "N.m": "N·m",
    "lbf.ft": "lbf·ft",
    "lbf.in": "lbf·in",
    "kgf.m": "kgf·m",
    "kgf.cm": "kgf·cm",
    "kgf/cm2": "kgf/cm²",
    "degC": "°C",
    "degF": "°F",
    "deg": "°",
    "fl.oz": "fl oz",
    "1/min": "/min",
    "1": "",
    "d": "days",
    "wk": "weeks",
    "mo": "months",
    "a": "years",
}
"""Symbols as printed, where they differ from the ASCII ones (NIST SP 811)."""

_SPOKEN_PARTS = (
    (64, re.compile(r"\bsixty fourths?\b")),
    (32, re.compile(r"\bthirty seconds?\b")),
    (16, re.compile(r"\bsixteenths?\b")),
    (8, re.compile(r"\beighths?\b")),
    (4, re.compile(r"\b(quarters?|fourths?)\b")),
    (2, re.compile(r"\b(half|halves)\b")),
)


def unit_text(unit: str) -> str:
    """The unit as printed; empty for a plain ratio or count."""
    return UNIT_TEXT.get(unit, unit)


def decimal_text(value: Fraction) -> str | None:
    """``value`` as the decimal that equals it, or None where no decimal does."""
    rest, places = value.denominator, 0
    twos = fives = 0
    while rest % 2 == 0:
        rest, twos = rest // 2, twos + 1
    while rest % 5 == 0:
        rest, fives = rest // 5, fives + 1
    if rest != 1:
        return None
    places = max(twos, fives)
    digits = str(abs(value.numerator) * 10**places // value.denominator).rjust(places + 1, "0")
    sign = "-" if value < 0 else ""
    return f"{sign}{digits[:-places]}.{digits[-places:]}" if places else f"{sign}{digits}"


def fraction_text(value: Fraction, denominator: int | None = None) -> str:
    """``value`` as a mixed fraction, over ``denominator`` where that is possible: ``3 4/32``."""
    sign, size = ("-" if value < 0 else ""), abs(value)
    whole, part = divmod(size, 1)
    if not part:
        return f"{sign}{whole}"
    below = denominator or part.denominator
    above = part * below
    shown = f"{above}/{below}" if above.denominator == 1 else str(part)
    return f"{sign}{whole} {shown}" if whole else f"{sign}{shown}"


PARTED = frozenset({"in", "turn"})
"""Units whose values are told in halves and quarters: 1 3/4 in, not 1.75 in."""


def number_text(value: Fraction, words: str = "", unit: str = "") -> str:
    """``value`` exactly, as a fraction where ``words`` said one or no decimal equals it.

    Without words (a limit, a computed value) inches and turns are told in halves and quarters down
    to 64ths.
    """
    if not words and unit in PARTED and value.denominator in (2, 4, 8, 16, 32, 64):
        return fraction_text(value)
    for denominator, spoken in _SPOKEN_PARTS:
        if spoken.search(words) and (value * denominator).denominator == 1:
            return fraction_text(value, denominator)
    return decimal_text(value) or fraction_text(value)


def with_unit(number: str, unit: str) -> str:
    """``number`` and ``unit`` set as in print: a space between, none before an angle's degree."""
    text = unit_text(unit)
    if not text:
        return number
    return f"{number}{text}" if text in {"°", "/min"} else f"{number} {text}"


def quantity_text(quantity: Quantity) -> str:
    """The exact value with its unit: ``about 4/32 in``, ``2 to 3 mm``."""
    number = number_text(quantity.value, quantity.words, quantity.unit)
    if quantity.high is not None:
        number = f"{number} to {number_text(quantity.high, quantity.words, quantity.unit)}"
    text = with_unit(number, quantity.unit)
    return f"{quantity.qualifier.value} {text}" if quantity.qualifier else text


def place_text(component: str, position: str | None) -> str:
    """``front brake pads``; ``battery, cell 3``; ``headlamp, down``."""
    if position is None:
        return component
    if position in {"up", "down"} or position[-1:].isdigit():
        return f"{component}, {position}"
    return f"{position} {component}"


def subject_text(finding: Finding) -> str:
    """What it is about: ``rear tyre, tread depth``; ``headlamp, aim offset down``."""
    place, about = finding.position, finding.characteristic
    if about == "condition":
        about = None
    if place in {"up", "down"} and about:
        return f"{finding.component}, {about} {place}"
    text = place_text(finding.component, place)
    return f"{text}, {about}" if about else text


def value_text(finding: Finding) -> str:
    """What was found: the exact value or values, the condition, or the code."""
    if finding.readings:
        units = {reading.unit for reading in finding.readings}
        if len(units) == 1:
            numbers = " / ".join(number_text(r.value, r.words, r.unit) for r in finding.readings)
            return with_unit(numbers, units.pop())
        return " / ".join(quantity_text(reading) for reading in finding.readings)
    if finding.quantity is not None:
        return quantity_text(finding.quantity)
    return finding.condition or finding.code or "not complete"


def finding_text(finding: Finding) -> str:
    """The whole finding in one line: ``rear tyre, tread depth: 4/32 in``."""
    return f"{subject_text(finding)}: {value_text(finding)}"


BY_LESS_THAN_MEASURED = "outside its limit by less than the measuring uncertainty"
MAY_BE_BEYOND = "perhaps beyond its limit"


def doubt_text(verdict: Verdict) -> str:
    """Why an undecided finding still counts like one beyond its limit; empty where it does not."""
    if verdict.state is not State.UNDECIDED or verdict.severity is None:
        return ""
    gate = verdict.gate
    if gate is None or gate.margin is None or gate.guard_band is None:
        return MAY_BE_BEYOND
    near = gate.state is State.UNDECIDED and 0 <= -gate.margin <= gate.guard_band
    return BY_LESS_THAN_MEASURED if near else MAY_BE_BEYOND
