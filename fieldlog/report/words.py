"""Findings, quantities and limits as people read them on paper (pure).

A value is printed exactly: as a decimal where that ends, as a fraction where it was said as one.
Only what was computed on the way (margins, converted readings) may be rounded, and then says so
with a leading ``≈``.
"""

from __future__ import annotations

import re
from fractions import Fraction

from fieldlog.model import Finding, Limit, Quantity

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


def number_text(value: Fraction, words: str = "") -> str:
    """``value`` exactly, as a fraction where ``words`` said one or no decimal equals it."""
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
    number = number_text(quantity.value, quantity.words)
    if quantity.high is not None:
        number = f"{number} to {number_text(quantity.high, quantity.words)}"
    text = with_unit(number, quantity.unit)
    return f"{quantity.qualifier.value} {text}" if quantity.qualifier else text


def rounded_text(value: Fraction, unit: str, *, signed: bool = False) -> str:
    """A computed value to three significant digits; ``≈`` in front when that is not exact."""
    if value == 0:
        return with_unit("0", unit)
    shown = float(f"{float(value):.3g}")
    text = f"{shown:.10f}".rstrip("0").rstrip(".")
    exact = Fraction(text) == value
    sign = "+" if signed and value > 0 else ""
    return with_unit(f"{'' if exact else '≈ '}{sign}{text}", unit)


def converted_text(value: Fraction, unit: str) -> str:
    """A converted reading: exact when it ends within six decimals, else rounded with ``≈``."""
    exact = decimal_text(value)
    if exact is not None and len(exact.partition(".")[2]) <= 6:
        return with_unit(exact, unit)
    return rounded_text(value, unit)


def subject_text(finding: Finding) -> str:
    """What it is about: ``rear tyre, tread depth``; ``headlamp, aim offset down``."""
    place, about = finding.position or "", finding.characteristic
    if about == "condition":
        about = None
    if place in {"up", "down"}:
        return f"{finding.component}, {about} {place}" if about else f"{finding.component}, {place}"
    counted = place.split()[:1] in (["cell"], ["point"])
    text = f"{finding.component}, {place}" if counted else f"{place} {finding.component}".strip()
    return f"{text}, {about}" if about else text


def value_text(finding: Finding) -> str:
    """What was found: the exact value or values, the condition, or the code."""
    if finding.readings:
        units = {reading.unit for reading in finding.readings}
        if len(units) == 1:
            numbers = " / ".join(number_text(r.value, r.words) for r in finding.readings)
            return with_unit(numbers, units.pop())
        return " / ".join(quantity_text(reading) for reading in finding.readings)
    if finding.quantity is not None:
        return quantity_text(finding.quantity)
    return finding.condition or finding.code or "not complete"


def finding_text(finding: Finding) -> str:
    """The whole finding in one line: ``rear tyre, tread depth: 4/32 in``."""
    return f"{subject_text(finding)}: {value_text(finding)}"


def limit_text(limit: Limit) -> str:
    """The limit as printed by its source: ``at least 1 mm``, ``is cracked: beyond``."""
    if limit.relation == "is":
        return f"{', '.join(limit.words) or limit.characteristic}: {limit.outcome.value}"
    if limit.printed and limit.relation == "between":
        return limit.printed
    if limit.printed:
        return f"{limit.relation} {limit.printed}"
    if limit.value is None:
        return limit.relation
    number = number_text(limit.value)
    if limit.high is not None:
        return with_unit(f"{number} to {number_text(limit.high)}", limit.unit)
    return f"{limit.relation} {with_unit(number, limit.unit)}"


def seconds_text(seconds: float) -> str:
    """A stretch of time in words a reader takes in at once: ``4.2 s``, ``3 min 5 s``, ``2 h``."""
    size = abs(seconds)
    if size < 60:
        return f"{size:.1f} s"
    minutes, rest = divmod(round(size), 60)
    if minutes < 60:
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes} min" if minutes else f"{hours} h"
