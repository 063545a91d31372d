"""A wear trend as a few lines of text: readings, fitted line, limit (pure)."""

from __future__ import annotations

from datetime import timedelta
from fractions import Fraction

from fieldlog.aftercare.trend import Trend

READING, LINE, LIMIT, MEETS = "●", "·", "─", "┼"
_WIDTH, _HEIGHT = 56, 9


def plot(trend: Trend, width: int = _WIDTH, height: int = _HEIGHT) -> tuple[str, ...]:
    """The newest series over its days; nothing for fewer than two readings on different days."""
    readings = trend.readings
    if len({each.on for each in readings}) < 2:
        return ()
    first, last = readings[0].on, readings[-1].on
    span = (last - first).days
    forecast = trend.projection.by_days
    expected = forecast.expected if forecast else None
    right = float(span)
    if expected is not None and span < expected <= 4 * span:
        right = expected
    values = [float(each.value) for each in readings]
    limit = None if trend.limit is None or trend.limit.value is None else float(trend.limit.value)
    shown = [*values, limit] if limit is not None else values
    low, high = min(shown), max(shown)
    if high == low:
        high = low + 1.0

    def column(days: float) -> int:
        return round(days / right * (width - 1))

    def row(value: float) -> int:
        return round((high - value) / (high - low) * (height - 1))

    def label(value: float) -> str:
        return f"{float(trend.told(Fraction(value))):.4g}"

    grid = [[" "] * width for _ in range(height)]
    if limit is not None:
        grid[row(limit)] = [LIMIT] * width
    line = trend.line(lambda each: Fraction((each.on - first).days))
    if line is not None and trend.projection.item is not None:
        for at in range(width):
            value = float(line.at(Fraction(right * at / (width - 1))))
            if low <= value <= high:
                spot = grid[row(value)][at]
                grid[row(value)][at] = MEETS if spot == LIMIT else LINE
    for each, value in zip(readings, values, strict=True):
        grid[row(value)][column((each.on - first).days)] = READING
    end = first + timedelta(days=round(right))
    labels = {0: label(high), height - 1: label(low)}
    if limit is not None:
        labels[row(limit)] = label(limit)
    edge = max(map(len, labels.values()))
    told = [f"{labels.get(at, ''):>{edge}} ┤{''.join(cells)}" for at, cells in enumerate(grid)]
    axis = f"{first}{end!s:>{width - 10}}"
    return (*told, f"{'':>{edge}}  {axis}")
