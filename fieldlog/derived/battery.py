"""State of charge, electrolyte correction and freezing point of a 12 V lead-acid battery (pure).

Sources, named beside each table: a battery maker's published table of specific gravity and
open-circuit voltage at 80 degF; US Army TM 5-1185 (tables II-IV) and Ordnance course OD1002 lesson 2
for the freezing point and the temperature correction; TM 9-6140-200-14 para 4-7 for the spread.
Published tables differ by 0.1 to 0.3 V for sealed (AGM) batteries, so every answer names its table.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise


def _f(text: str) -> Fraction:
    return Fraction(text)


@dataclass(frozen=True, slots=True)
class Curve:
    """A published table read as a line through its points; never extended past its ends."""

    name: str
    source: str
    points: tuple[tuple[Fraction, Fraction], ...]
    """(x, y), x strictly rising."""

    def at(self, x: Fraction) -> Fraction:
        """Value at ``x`` by linear interpolation, held at the end values outside the table."""
        points = self.points
        if x <= points[0][0]:
            return points[0][1]
        for (x0, y0), (x1, y1) in pairwise(points):
            if x <= x1:
                return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
        return points[-1][1]


def _curve(name: str, source: str, rows: Sequence[tuple[str, str]]) -> Curve:
    return Curve(name, source, tuple((_f(x), _f(y)) for x, y in rows))


CHARGE_BY_VOLTAGE: dict[str, Curve] = {
    "flooded": _curve(
        "open-circuit voltage, flooded",
        "battery maker's table 6, 80 degF (discoverbattery.com)",
        [("11.89", "0"), ("12.06", "25"), ("12.24", "50"), ("12.45", "75"), ("12.65", "100")],
    ),
    "agm": _curve(
        "open-circuit voltage, AGM",
        "owner's-manual publisher's AGM table (others differ by 0.1-0.3 V)",
        [("12.0", "25"), ("12.3", "50"), ("12.6", "75"), ("12.8", "100")],
    ),
}
"""Rest voltage in V -> state of charge in %, by kind of battery."""

CHARGE_BY_GRAVITY = _curve(
    "specific gravity, 80 degF",
    "battery maker's table 6, 80 degF (discoverbattery.com)",
    [("1.120", "0"), ("1.155", "25"), ("1.190", "50"), ("1.225", "75"), ("1.265", "100")],
)
"""Specific gravity corrected to 80 degF -> state of charge in %."""

FREEZING_F_BY_GRAVITY = _curve(
    "freezing point",
    "US Army OD1002 lesson 2 and TM 5-1185 Table III",
    [
        ("1.000", "32"), ("1.050", "27"), ("1.100", "19"), ("1.150", "5"), ("1.200", "-16"),
        ("1.225", "-35"), ("1.250", "-62"), ("1.265", "-75"), ("1.280", "-90"),
    ],
)  # fmt: skip
"""Specific gravity at 80 degF -> freezing point in degF."""

GRAVITY_REFERENCE_F = _f("80")
GRAVITY_PER_DEGREE_F = _f("0.0004")
"""0.004 per 10 degF: TM 5-1185 Table IV; a battery maker's table 7 agrees."""


def gravity_at_80f(reading: Fraction, electrolyte_f: Fraction) -> Fraction:
    """Hydrometer reading corrected to 80 degF: warm electrolyte reads low, so warm adds."""
    return reading + GRAVITY_PER_DEGREE_F * (electrolyte_f - GRAVITY_REFERENCE_F)


def voltage_at_80f(volts: Fraction, electrolyte_f: Fraction) -> Fraction:
    """Rest voltage of a 12 V battery corrected to 80 degF: six cells, 0.024 V per 10 degF (table 7)."""
    return volts + 6 * GRAVITY_PER_DEGREE_F * (electrolyte_f - GRAVITY_REFERENCE_F)


def charge_from_voltage(volts: Fraction, kind: str = "flooded") -> Fraction:
    """State of charge in % (0..100) from the voltage at rest; ``kind`` is "flooded" or "agm".

    Raises ``KeyError`` for another kind.
    """
    return CHARGE_BY_VOLTAGE[kind].at(volts)


def charge_from_gravity(gravity: Fraction) -> Fraction:
    """State of charge in % (0..100) from specific gravity corrected to 80 degF."""
    return CHARGE_BY_GRAVITY.at(gravity)


def gravity_from_charge(percent: Fraction) -> Fraction:
    """Specific gravity at 80 degF that belongs to a state of charge (the table read backwards)."""
    backwards = tuple((charge, gravity) for gravity, charge in CHARGE_BY_GRAVITY.points)
    return Curve("", CHARGE_BY_GRAVITY.source, backwards).at(percent)


def freezing_point_f(gravity: Fraction) -> Fraction:
    """Temperature in degF at which electrolyte of this gravity (at 80 degF) freezes."""
    return FREEZING_F_BY_GRAVITY.at(gravity)


def cell_spread(gravities: Sequence[Fraction]) -> Fraction:
    """Largest difference between any two cells. Raises ``ValueError`` for fewer than two."""
    if len(gravities) < 2:
        raise ValueError("a spread needs at least two cells")
    return max(gravities) - min(gravities)
