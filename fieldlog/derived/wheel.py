"""Run-out of a rim or disc from dial readings (pure)."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction


def total_indicator_reading(readings: Sequence[Fraction]) -> Fraction:
    """Largest minus smallest dial reading over one turn, in the readings' own unit.

    The dial's zero does not matter. Raises ``ValueError`` for fewer than two readings: one reading
    says nothing about run-out.
    """
    if len(readings) < 2:
        raise ValueError("run-out needs at least two dial readings round the wheel")
    return max(readings) - min(readings)
