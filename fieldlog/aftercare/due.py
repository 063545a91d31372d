"""What comes due, by date, by distance or by both: from intervals, papers and wear (pure).

Distances are kilometres inside (exact); the caller shows them in the unit of the odometer. An item
is due at whichever of its date and its distance comes first.
"""

from __future__ import annotations

import math
from calendar import monthrange
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum
from fractions import Fraction
from types import MappingProxyType

from fieldlog.derived.wear import LEVEL, Forecast, Point, TooFewPoints, fit, to_limit
from fieldlog.model.finding import Quantity
from fieldlog.quantities.units import convert
from fieldlog.words import tell
from fieldlog.words.telling import characteristic as named
from fieldlog.words.telling import part, say

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
    count: int | None = None
    of: str = ""
    """Due when the work ``of`` was done ``count`` times since this one."""
    things: tuple[str, ...] = ()
    """What is named when somebody says that it was done."""
    verbs: tuple[str, ...] = ()
    """Words for having done it, beside the usual ones."""
    seen: bool = False
    """A finding on the component is the work: it is a check."""
    needs: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    """Facts the vehicle must have."""
    after: tuple[str, ...] = ()
    """Due once after the work of these ids, and not before any of it was done."""

    @property
    def recurs(self) -> bool:
        """Whether it comes due by itself; parts that are only replaced when worn do not."""
        return self.months is not None or self.km is not None or self.count is not None


@dataclass(frozen=True, slots=True)
class Done:
    """One time an interval's work was done."""

    interval: str
    on: date
    odometer_km: Fraction | None = None
    position: str | None = None
    how: str = ""
    """Where it says so: entered, a remark of inspection N, found in inspection N."""


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
    done: Mapping[str, Done] | Sequence[Done],
    today: date,
    odometer_km: Fraction | None,
) -> tuple[DueItem, ...]:
    """One item per interval; where nobody recorded the work, it is due at a time unknown.

    ``done``: every time any work was done, or the last time by interval.
    """
    every = list(done.values()) if isinstance(done, Mapping) else list(done)
    items: list[DueItem] = []
    for interval in intervals:
        times = [each for each in every if each.interval == interval.id]
        last = max(times, key=lambda each: each.on, default=None)
        if interval.after:
            items += _looked_at_again(interval, last, every, today, odometer_km)
            continue
        if interval.count is not None:
            items.append(_counted(interval, interval.count, last, every))
            continue
        by_date = by_km = None
        if last is not None:
            by_date = add_months(last.on, interval.months) if interval.months else None
            if interval.km is not None and last.odometer_km is not None:
                by_km = last.odometer_km + interval.km
            reason = say("last done {day}", day=last.on) + (f" ({last.how})" if last.how else "")
            if interval.km is not None and last.odometer_km is None:
                reason += say("; the distance then is not recorded")
        else:
            reason = "no record of when it was last done"
        items.append(
            DueItem(
                interval.do, interval.component, None, by_date, by_km, None, None,
                nearness(by_date, by_km, today, odometer_km), reason,
                say(f"{interval.source} ({interval.status})"),
            )
        )  # fmt: skip
    return tuple(items)


def _looked_at_again(
    interval: Interval,
    last: Done | None,
    every: Sequence[Done],
    today: date,
    odometer_km: Fraction | None,
) -> Iterable[DueItem]:
    """What is looked at again after work: nothing before the work, nor once it was looked at."""
    works = [each for each in every if each.interval in interval.after]
    work = max(works, key=lambda each: each.on, default=None)
    if work is None or (last is not None and last.on > work.on):
        return
    by_date = add_months(work.on, interval.months) if interval.months else None
    by_km = None
    if interval.km is not None and work.odometer_km is not None:
        by_km = work.odometer_km + interval.km
    when = nearness(by_date, by_km, today, odometer_km)
    reason = say("{interval}: done {day}", interval=part(work.interval), day=work.on) + (
        f" ({work.how})" if work.how else ""
    )
    source = say(f"{interval.source} ({interval.status})")
    yield DueItem(
        interval.do, interval.component, work.position, by_date, by_km, None, None, when, reason,
        source,
    )  # fmt: skip


def _counted(interval: Interval, limit: int, last: Done | None, every: Sequence[Done]) -> DueItem:
    """Due with the next time of another work: "two chains at most on one set of sprockets"."""
    since = [
        each.on
        for each in every
        if each.interval == interval.of and (last is None or each.on > last.on)
    ]
    worn = len(set(since)) + 1  # and the one that ran before the first change
    when = When.UNKNOWN
    if last is not None or since:
        when = When.LATER if worn < limit else When.SOON if worn == limit else When.OVERDUE
    told = (
        say("last done {day}", day=last.on) if last else say("no record of when it was last done")
    )
    return DueItem(
        interval.do, interval.component, None, None, None, None, None, when,
        f"{told}; {interval.of} {len(set(since))} times since then",
        say(f"{interval.source} ({interval.status})"),
    )  # fmt: skip


def folded(items: Iterable[DueItem]) -> tuple[DueItem, ...]:
    """The same with all that nobody ever recorded as done in one line at the end."""
    every = list(items)
    known = [item for item in every if item.when is not When.UNKNOWN]
    names = list(dict.fromkeys(i.component for i in every if i.when is When.UNKNOWN))
    if not names:
        return tuple(known)
    rest = DueItem(
        ", ".join(map(part, names)), "never recorded as done", None, None, None, None, None, When.UNKNOWN,
        "enter what was done", "usual workshop intervals",
    )  # fmt: skip
    return (*known, rest)


def due_from_expiry(paper: str, expires: date, today: date) -> DueItem:
    """A paper that runs out on ``expires``; the day itself still counts."""
    return DueItem(
        say("renew {paper}", paper=part(paper)), paper, None, expires, None, None, None,
        nearness(expires, None, today, None), say("runs out on {day}", day=expires), say("the paper itself"),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class WearReading:
    """One point of a wear history: day, odometer in km when known, value in the limit's unit."""

    on: date
    odometer_km: Fraction | None
    value: Fraction
    said: str = ""
    """Value and unit as they were said (``4/32 in``); empty where it was computed."""


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
    readings: Sequence[WearReading],
    limit: Fraction,
    unit: str,
    falling: bool,
    source: str,
    today: date,
    level: float = LEVEL,
    odometer_km: Fraction | None = None,
    printed: str = "",
    said_in: str = "",
) -> Projection:
    """Project one series (no replacement in it) to ``limit``: by date, and by distance if known.

    The item's date is the line's own; earliest and latest are the ends of its prediction interval.
    A newest reading past the limit is overdue whatever the line says. Otherwise it refuses with a
    reason where there are too few readings, they do not move towards the limit, or the line meets it
    only after a century. ``odometer_km``: distance done by today, default that of
    the last reading; ``printed``: the limit as its source prints it; ``said_in``: the unit in
    which the readings were said, if another than ``unit``.
    """
    if not readings:
        return Projection(None, "no readings")
    last = readings[-1]
    if last.value < limit if falling else last.value > limit:
        past = printed or tell.quantity(Quantity(limit, unit))
        what = say("{what} is past {limit}", what=named(component, characteristic), limit=past)
        km = None if last.odometer_km is None else Fraction(round(last.odometer_km))
        told_in = said_in or unit
        said = tell.quantity(Quantity(convert(last.value, unit, told_in), told_in))
        told = say("read {value} on {day}", value=said, day=last.on)
        item = DueItem(
            what, component, position, last.on, km, None, None, When.OVERDUE, told, source
        )
        return Projection(item, "the newest reading is past the limit")
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
    if due is None and not by_days.passed:
        return Projection(None, "not within a century", by_days, by_km)
    km = None
    if by_km is not None and by_km.expected is not None:
        km = Fraction(round(by_km.expected))
    odometer = readings[-1].odometer_km if odometer_km is None else odometer_km
    count = len(readings)
    item = DueItem(
        what=say(
            "{what} reaches {limit}",
            what=named(component, characteristic),
            limit=printed or tell.quantity(Quantity(limit, unit)),
        ),
        component=component,
        position=position,
        by_date=due,
        by_km=km,
        earliest=_day(first, by_days.earliest),
        latest=_day(first, by_days.latest),
        when=When.OVERDUE if by_days.passed else nearness(due, km, today, odometer),
        reason="; ".join(
            part
            for part in (
                say(
                    "straight line through {count} readings, {level} prediction interval",
                    count=count,
                    level=f"{level:.0%}",
                ),
                by_days.reason,
                _far(days, by_days.expected),
            )
            if part
        ),
        source=source,
    )
    return Projection(item, by_days.reason, by_days, by_km)


def _far(points: Sequence[Point], expected: float | None) -> str:
    """A warning where the line runs on for longer than the readings themselves reach."""
    span, last = points[-1].x - points[0].x, points[-1].x
    if expected is None or expected - last <= span:
        return ""
    return say("far beyond the readings: a rough guess")


def due_from_age(
    component: str,
    position: str | None,
    age_years: Fraction,
    seen_on: date,
    limit_years: Fraction,
    source: str,
    today: date,
) -> DueItem:
    """A part that comes due by its age alone: no line is fitted, time runs evenly."""
    left_days = (limit_years - age_years) * Fraction(3652425, 10000)
    due = seen_on + timedelta(days=math.ceil(left_days))
    return DueItem(
        say("age reaches {years} years", years=f"{float(limit_years):g}"), component, position, due, None, None, None,
        nearness(due, None, today, None), say("{years} years old on {day}", years=f"{float(age_years):.1f}", day=seen_on), source,
    )  # fmt: skip


def _day(first: date, days: float | None) -> date | None:
    """``first`` plus ``days``; None where there is no end or it lies beyond a century."""
    if days is None or abs(days) > 36_525:
        return None
    return first + timedelta(days=round(days))
