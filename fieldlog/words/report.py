"""Limits, computed values and stretches of time as people read them on paper (pure).

Findings and quantities are worded in ``fieldlog.words.wording``.
Only what was computed on the way (margins, converted readings) may be rounded, and then says so
with a leading ``≈``.
"""

from __future__ import annotations

from fractions import Fraction

from fieldlog.model import Limit, Relation
from fieldlog.words.wording import (
    UNIT_TEXT,
    decimal_text,
    finding_text,
    fraction_text,
    number_text,
    quantity_text,
    subject_text,
    unit_text,
    value_text,
    with_unit,
)

__all__ = [
    "UNIT_TEXT",
    "converted_text",
    "decimal_text",
    "finding_text",
    "fraction_text",
    "limit_text",
    "number_text",
    "quantity_text",
    "rounded_text",
    "seconds_text",
    "subject_text",
    "unit_text",
    "value_text",
    "with_unit",
]


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


def limit_text(limit: Limit) -> str:
    """The limit as printed by its source: ``at least 1 mm``, ``is cracked: beyond``."""
    if limit.relation is Relation.IS:
        return f"{', '.join(limit.words) or limit.characteristic}: {limit.outcome.value}"
    if limit.printed and limit.relation is Relation.BETWEEN:
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
