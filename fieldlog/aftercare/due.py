"""What comes due, by date, by distance or by both: from intervals, papers and wear (pure).

Distances are kilometres inside (exact); the caller shows them in the unit of the odometer. An item
is due at whichever of its date and its distance comes first.
"""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from fractions import Fraction

from fieldlog.derived.wear import LEVEL, Forecast, Point, TooFewPoints, fit, to_limit

SOON_DAYS = 60
"""An item due within this many days is *soon* (common practice: two months to find an hour)."""

SOON_KM = Fraction(1_000)
"""An item due within this distance is *soon*."""


class When(StrEnum):
    """How near an item is."""

    OVERDUE = "overdue"
    SOON = "soon"
    LATER = "later"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Interval:
    """Something done again and again: every so many months, every so far, or both."""

    id: str
    component: str
    do: str
    months: int | None
    km: Fraction | None
    source: str
    status: str
    """As for limits: cited, common practice, from memory or entered by user."""


@dataclass(frozen=True, slots=True)
class Done:
    """When an interval's work was last done."""

    interval: str
    on: date
    odometer_km: Fraction | None = None


@dataclass(frozen=True, slots=True)
class DueItem:
    """One thing that comes due."""

    what: str
    component: str
    position: str | None
    by_date: date | None
    by_km: Fraction | None
    """Odometer reading in km at which it is due."""
    earliest: date | None
    """Early end of the date's prediction interval (wear only)."""
    latest: date | None
    when: When
    reason: str
    source: str


def add_months(day: date, months: int) -> date:
    """The same day of the month ``months`` later, or that month's last day."""
    index = day.year * 12 + day.month - 1 + months
    year, month = divmod(index, 12)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def nearness(
    by_date: date | None, by_km: Fraction | None, today: date, odometer_km: Fraction | None
) -> When:
    """How near the first of both ends is; unknown when neither can be held against today."""
    found: list[When] = []
    if by_date is not None:
        left = (by_date - today).days
        found.append(_rank(Fraction(left), Fraction(SOON_DAYS)))
    if by_km is not None and odometer_km is not None:
        found.append(_rank(by_km - odometer_km, SOON_KM))
    order = (When.OVERDUE, When.SOON, When.LATER)
    return min(found, key=order.index) if found else When.UNKNOWN


def _rank(left: Fraction, soon: Fraction) -> When:
    if left < 0:
        return When.OVERDUE
    return When.SOON if left <= soon else When.LATER


def due_from_intervals(
    intervals: Iterable[Interval],
    done: Mapping[str, Done],
    today: date,
    odometer_km: Fraction | None,
) -> tuple[DueItem, ...]:
    """One item per interval; where nobody recorded the work, it is due at a time unknown."""
    items = []
    for interval in intervals:
        last = done.get(interval.id)
        by_date = by_km = None
        if last is not None:
            by_date = add_months(last.on, interval.months) if interval.months else None
            if interval.km is not None and last.odometer_km is not None:
                by_km = last.odometer_km + interval.km
            reason = f"last done {last.on}"
        else:
            reason = "no record of when it was last done"
        items.append(
            DueItem(
                interval.do, interval.component, None, by_date, by_km, None, None,
                nearness(by_date, by_km, today, odometer_km), reason,
                f"{interval.source} ({interval.status})",
            )
        )  # fmt: skip
    return tuple(items)


def due_from_expiry(paper: str, expires: date, today: date) -> DueItem:
    """A paper that runs out on ``expires``; the day itself still counts."""
    return DueItem(
        f"renew {paper}", paper, None, expires, None, None, None,
        nearness(expires, None, today, None), f"runs out on {expires}", "the paper itself",
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Reading:
    """One point of a wear history: day, odometer in km when known, value in the limit's unit."""

    on: date
    odometer_km: Fraction | None
    value: Fraction


@dataclass(frozen=True, slots=True)
class Projection:
    """What a wear history says of the future, or why it says nothing."""

    item: DueItem | None
    reason: str
    by_days: Forecast | None = None
    by_km: Forecast | None = None


def due_from_wear(
    component: str,
    position: str | None,
    characteristic: str,
    readings: Sequence[Reading],
    limit: Fraction,
    unit: str,
    falling: bool,
    source: str,
    today: date,
    level: float = LEVEL,
) -> Projection:
    """Project one series (no replacement in it) to ``limit``: by date, and by distance if known.

    The item's date is the line's own; earliest and latest are the ends of its prediction interval.
    Refuses with a reason where there are too few readings or they do not move towards the limit.
    """
    if not readings:
        return Projection(None, "no readings")
    first = readings[0].on
    days = [Point(Fraction((r.on - first).days), r.value) for r in readings]
    try:
        by_days = to_limit(fit(days), limit, falling, level)
    except TooFewPoints as error:
        return Projection(None, str(error))
    by_km = None
    distances = [Point(r.odometer_km, r.value) for r in readings if r.odometer_km is not None]
    if len(distances) == len(readings):
        try:
            by_km = to_limit(fit(distances), limit, falling, level)
        except TooFewPoints:
            by_km = None
    if by_days.expected is None and not by_days.passed:
        return Projection(None, by_days.reason, by_days, by_km)
    due = _day(first, by_days.expected)
    km = None
    if by_km is not None and by_km.expected is not None:
        km = Fraction(round(by_km.expected))
    odometer = readings[-1].odometer_km
    count = len(readings)
    item = DueItem(
        what=f"{characteristic} reaches {float(limit):g} {unit}",
        component=component,
        position=position,
        by_date=due,
        by_km=km,
        earliest=_day(first, by_days.earliest),
        latest=_day(first, by_days.latest),
        when=When.OVERDUE if by_days.passed else nearness(due, km, today, odometer),
        reason=f"straight line through {count} readings, {level:.0%} prediction interval",
        source=source,
    )
    return Projection(item, by_days.reason, by_days, by_km)


def _day(first: date, days: float | None) -> date | None:
    """``first`` plus ``days``; None where there is no end or it lies beyond a century."""
    if days is None or abs(days) > 36_525:
        return None
    return first + timedelta(days=round(days))
