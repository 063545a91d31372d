"""Readings of a wear trend, each on the ruler of its limit, one below the other as time goes (pure).

``=`` is what is allowed, ``|`` the limit, ``-`` what lies beyond it, ``^`` the reading: the same ruler as
on paper and in the signs of verdicts.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from fieldlog.aftercare.trend import Trend

ALLOWED, LIMIT, OUTSIDE, READING = "=", "|", "-", "^"
_WIDTH = 40
_ROOM = 3
"""Columns of the ruler beyond what lies outermost on it."""


def wear_ruler(trend: Trend, width: int = _WIDTH) -> Callable[[Fraction], str] | None:
    """What draws a value (in the trend's unit) on the ruler; None where no one-sided limit is."""
    limit = None if trend.limit is None else trend.limit.value
    if limit is None or trend.falling is None:
        return None
    every = [each.value for part in (*trend.before, trend.readings) for each in part]
    low, high = min(*every, limit), max(*every, limit)
    span = high - low or Fraction(1)

    def column(value: Fraction) -> int:
        return _ROOM + round((value - low) / span * (width - 1 - 2 * _ROOM))

    at = column(limit)
    left, right = (OUTSIDE, ALLOWED) if trend.falling else (ALLOWED, OUTSIDE)

    def drawn(value: Fraction) -> str:
        cells = [*left * at, LIMIT, *right * (width - 1 - at)]
        place = column(value)
        if place == at and value != limit:  # the pointer never hides the side it is on
            place += 1 if value > limit else -1
        cells[place] = READING
        return "".join(cells)

    return drawn
