"""Headlamp aim as an angle from an offset on a screen (pure)."""

from __future__ import annotations

import math
from fractions import Fraction

SCREEN_DISTANCE_MM = Fraction(7620)
"""25 ft, the distance of SAE J599 practice and of state rules."""


def aim_degrees(offset_mm: Fraction, distance_mm: Fraction = SCREEN_DISTANCE_MM) -> float:
    """Angle in degrees that an offset of the hot spot makes at ``distance_mm``: atan(offset / d).

    The sign of the offset is kept (below or left of the mark is negative). Raises ``ValueError``
    for a distance that is not positive.
    """
    if distance_mm <= 0:
        raise ValueError("the screen must stand in front of the lamp")
    return math.degrees(math.atan(offset_mm / distance_mm))


def aim_percent(offset_mm: Fraction, distance_mm: Fraction = SCREEN_DISTANCE_MM) -> Fraction:
    """The same as a slope in %: 100 * offset / distance."""
    if distance_mm <= 0:
        raise ValueError("the screen must stand in front of the lamp")
    return 100 * offset_mm / distance_mm
