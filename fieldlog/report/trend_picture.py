"""A wear trend as a picture: readings, line, prediction interval, limit; all in 0..1 (pure)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from fractions import Fraction

from fieldlog.aftercare.due import WearReading
from fieldlog.aftercare.trend import Trend
from fieldlog.words import tell

Spot = tuple[float, float]
"""x from left to right, y from top to bottom, both 0 to 1."""

_STEPS = 24
_APART = 0.12
"""Share of the height within which two texts on the axis would meet."""


@dataclass(frozen=True, slots=True)
class TrendPicture:
    """What the picture shows and how it is told to somebody who cannot see it."""

    title: str
    readings: tuple[Spot, ...]
    before: tuple[tuple[Spot, ...], ...]
    """Readings of the parts that were on before."""
    limit: float | None
    """Height of the limit."""
    limit_text: str
    line: tuple[Spot, ...]
    band: tuple[Spot, ...]
    """Outline of the prediction interval; empty where there is none."""
    first: str
    last: str
    told: str
    scale: tuple[tuple[float, str], ...] = ()
    """Height and text of the values on the axis: the limit, the highest and the lowest reading."""
    allowed: tuple[float, float] | None = None
    """Ends of the stretch of the axis that the limit allows; None where there is none."""
    days: tuple[float, ...] = ()
    """Where on the axis of time each reading was made."""


def trend_picture(trend: Trend) -> TrendPicture | None:
    """The picture of a trend; None for fewer than three readings in all, which show no course."""
    series = (*trend.before, trend.readings)
    every = [each for part in series for each in part]
    if len(every) < 3 or len({each.on for each in every}) < 2:
        return None
    begin, newest = every[0].on, every[-1].on
    own = trend.readings[0].on
    span = (newest - begin).days
    item = trend.projection.item
    end = span
    if item is not None and item.by_date is not None:
        end = min(max(span, (item.by_date - begin).days), 3 * span)
    limit = None if trend.limit is None else trend.limit.value
    shown = [float(each.value) for each in every] + ([] if limit is None else [float(limit)])
    low, high = min(shown), max(shown)
    room = (high - low) * 0.08 or 1.0
    low, high = low - room, high + room

    def at(days: float, value: float) -> Spot:
        y = (high - value) / (high - low)
        return round(days / end, 4), round(min(max(y, 0.0), 1.0), 4)

    spots = tuple(
        tuple(at((each.on - begin).days, float(each.value)) for each in part) for part in series
    )
    fitted = trend.line(lambda each: Fraction((each.on - own).days))
    line: tuple[Spot, ...] = ()
    band: tuple[Spot, ...] = ()
    if fitted is not None and item is not None:
        offset = (own - begin).days
        days = [(end - offset) * Fraction(step, _STEPS) for step in range(_STEPS + 1)]
        line = tuple(at(offset + float(x), float(fitted.at(x))) for x in (days[0], days[-1]))
        ends = [(x, fitted.prediction(x)) for x in days]
        upper = [at(offset + float(x), interval.high) for x, interval in ends]
        lower = [at(offset + float(x), interval.low) for x, interval in ends]
        band = (*upper, *reversed(lower))
    values = ", ".join(f"{trend.told_reading(each)} on {each.on}" for each in every)
    printed = "" if trend.limit is None or limit is None else tell.limit_value(trend.limit)
    return TrendPicture(
        title=tell.about(trend.component, trend.position, trend.characteristic),
        readings=spots[-1],
        before=spots[:-1],
        limit=None if limit is None else at(0, float(limit))[1],
        limit_text=printed,
        line=line,
        band=band,
        first=begin.isoformat(),
        last=(begin + timedelta(days=end)).isoformat(),
        told=values,
        scale=_scale(trend, every, at),
        allowed=_allowed(trend, None if limit is None else at(0, float(limit))[1]),
        days=tuple(at((each.on - begin).days, low)[0] for each in every),
    )


def _scale(
    trend: Trend, every: Sequence[WearReading], at: Callable[[float, float], Spot]
) -> tuple[tuple[float, str], ...]:
    """The values on the axis, none so near another that their texts meet."""
    marked = []
    if trend.limit is not None and trend.limit.value is not None:
        marked.append((at(0, float(trend.limit.value))[1], tell.limit_value(trend.limit)))
    for each in (max(every, key=_value), min(every, key=_value)):
        height = at(0, float(each.value))[1]
        if all(abs(height - other) >= _APART for other, _ in marked):
            marked.append((height, trend.told_reading(each)))
    return tuple(marked)


def _value(each: WearReading) -> Fraction:
    return each.value


def _allowed(trend: Trend, limit: float | None) -> tuple[float, float] | None:
    if limit is None or trend.falling is None:
        return None
    return (0.0, limit) if trend.falling else (limit, 1.0)
