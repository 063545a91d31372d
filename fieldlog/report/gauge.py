"""Where a reading lies on the scale of its limit, as fractions of a ruler's length (pure)."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import assert_never

from fieldlog.model.limit import Relation
from fieldlog.model.verdict import Judgement


@dataclass(frozen=True, slots=True)
class Gauge:
    """A ruler from 0 (left) to 1 (right): what is allowed, the guard band and the reading."""

    low: float | None
    """Lower limit; None where there is none."""
    high: float | None
    guard_low: tuple[float, float] | None
    """Band on both sides of the lower limit within which the uncertainty decides."""
    guard_high: tuple[float, float] | None
    reading: float

    @property
    def allowed(self) -> tuple[float, float]:
        """The stretch inside the limits."""
        return (self.low if self.low is not None else 0.0, 1.0 if self.high is None else self.high)


def gauge(judgement: Judgement) -> Gauge | None:
    """The ruler of a judgement; None where it has no value to show (a condition, a code)."""
    limit, reading = judgement.limit, judgement.reading
    if limit.value is None or reading is None or limit.relation is Relation.IS:
        return None
    low: Fraction | None = None
    high: Fraction | None = None
    match limit.relation:
        case Relation.AT_LEAST | Relation.MORE_THAN:
            low = limit.value
        case Relation.AT_MOST | Relation.LESS_THAN:
            high = limit.value
        case Relation.BETWEEN:
            low, high = limit.value, limit.high
        case _:
            assert_never(limit.relation)
    guard = judgement.guard_band or Fraction(0)
    points = [float(p) for p in (low, high, reading) if p is not None]
    points += [float(p + s * guard) for p in (low, high) if p is not None for s in (-1, 1)]
    start, end = min(points), max(points)
    room = (end - start) * 0.22 or abs(end) * 0.5 or 1.0
    start, end = start - room, end + room

    def at(value: Fraction) -> float:
        return round((float(value) - start) / (end - start), 4)

    def band(value: Fraction | None) -> tuple[float, float] | None:
        return (at(value - guard), at(value + guard)) if value is not None and guard else None

    return Gauge(
        low=None if low is None else at(low),
        high=None if high is None else at(high),
        guard_low=band(low),
        guard_high=band(high),
        reading=at(reading),
    )
