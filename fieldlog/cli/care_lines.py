"""Due items, trends and job lines as lines, and trends as JSON, the same in every command."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from fieldlog.aftercare.due import DueItem, WearReading, When
from fieldlog.aftercare.job_lines import JobLine
from fieldlog.aftercare.trend import Trend
from fieldlog.aftercare.wear_ruler import wear_ruler
from fieldlog.quantities.units import convert
from fieldlog.report.follows import distance_json, due_json
from fieldlog.report.lines import due_row, needed, tightening
from fieldlog.words import tell
from fieldlog.words.as_json import Json, exact, limit_json, picked
from fieldlog.words.telling import part, place, say


def due_lines(item: DueItem, unit: str) -> Iterator[str]:
    """What, by when, why and by whose word."""
    row = due_row(item, unit)
    if item.when is When.UNKNOWN:
        yield row.what
        yield f"         {row.reason} (fieldlog vehicle done); {row.source}"
        return
    yield f"{row.nearness:<8} {row.what}"
    yield f"         by {row.by}"
    yield f"         {row.reason}; {row.source}"


def name_of(trend: Trend) -> str:
    """``rear tyre, tread depth``."""
    return tell.about(trend.component, trend.position, trend.characteristic)


def trend_lines(trend: Trend, unit: str, *, drawn: bool) -> Iterator[str]:
    """Readings, on the ruler of their limit where ``drawn``, replaced parts, slope, and what is to come."""
    ruler = wear_ruler(trend) if drawn else None
    yield f"{name_of(trend)}, {tell.unit(trend.told_unit)}".rstrip(", ")
    for number, series in enumerate((*trend.before, trend.readings)):
        if number:
            yield "  a new part from here on"
        for each in series:
            line = _reading(each, trend, unit)
            yield f"  {line:<38}  {ruler(each.value)}" if ruler else f"  {line}"
    for text in trend.left_out:
        yield f"  left out, {text}"
    slope = slopes(trend, unit)
    if slope:
        factor = float(convert(Fraction(1), trend.unit, trend.told_unit, difference=True))
        yield "  " + ", ".join(
            f"{tell.with_unit(f'{value * factor:+.3g}', trend.told_unit)} per {per}"
            for per, value in slope
        )
    if trend.limit is not None:
        limit = trend.limit
        beside = ""
        if limit.value is not None and limit.unit != trend.told_unit:
            beside = f" ({tell.rounded(trend.told(limit.value), trend.told_unit)})"
        yield f"  limit: {tell.limit(limit)}{beside}; {limit.source} ({limit.status.value})"
    yield f"  {_projection(trend, unit)}"


def trend_json(trend: Trend, unit: str) -> Json:
    """A trend with everything it was made of."""
    item = trend.projection.item
    return {
        **picked(trend, "component", "position", "characteristic", "unit", "left_out", "falling"),
        "said_unit": trend.told_unit,
        "readings": [_reading_json(each, trend.unit, unit) for each in trend.readings],
        "before": [
            [_reading_json(each, trend.unit, unit) for each in series] for series in trend.before
        ],
        "replaced_on": [day.isoformat() for day in trend.replaced_on],
        "slope": dict(slopes(trend, unit)),
        "limit": None if trend.limit is None else limit_json(trend.limit),
        "projection": None if item is None else due_json(item, unit) | _ends(trend, unit),
        "reason": trend.projection.reason,
    }


def slopes(trend: Trend, unit: str) -> tuple[tuple[str, float], ...]:
    """Wear per year and per 1,000 km or mi, where a line could be fitted."""
    if not trend.readings:
        return ()
    first = trend.readings[0].on
    found = []
    by_days = trend.line(lambda each: Fraction((each.on - first).days))
    if by_days is not None:
        found.append(("year", float(by_days.slope) * 365.2425))
    by_km = trend.line(lambda each: each.odometer_km)
    if by_km is not None:
        per = convert(Fraction(1000), unit, "km")
        found.append((f"1000 {unit}", float(by_km.slope * per)))
    return tuple(found)


def job_text(line: JobLine) -> Iterator[str]:
    """One job with its parts, consumables and torques."""
    severity = f"[{say(line.severity.value)}] " if line.severity else ""
    where = f" ({place(line.position)})" if line.position else ""
    yield f"{severity}{line.do}{where}"
    for label, values in (
        ("parts", [needed(each) for each in line.parts]),
        ("consumables", [needed(each) for each in line.consumables]),
        ("done, it counts for what is due", tuple(map(part, line.settles))),
        ("advice", line.advice),
    ):
        if values:
            yield f"    {say(label)}: {'; '.join(map(say, values))}"
    for each in line.torques:
        yield f"    {tightening(each)}"


def _projection(trend: Trend, unit: str) -> str:
    item = trend.projection.item
    if item is None:
        return f"no projection: {trend.projection.reason}"
    told = due_row(item, unit)
    text = f"{told.nearness}: {item.what} by {told.by}"
    ends = _ends(trend, unit)
    low, high = ends["earliest_distance"], ends["latest_distance"]
    if low or high:
        text += f"; by distance between {_plain(low, 'now')} and {_plain(high, 'an open end')}"
    return f"{text}; {item.reason}"


def _plain(distance: Json | None, none: str) -> str:
    if distance is None:
        return none
    return f"{distance['num'] // distance['den']} {distance['unit']}"


def _ends(trend: Trend, unit: str) -> Json:
    """The ends of the interval by distance, rounded to whole units."""
    forecast = trend.projection.by_km
    ends = (forecast.earliest, forecast.latest) if forecast else (None, None)
    found = [None if end is None else distance_json(Fraction(round(end)), unit) for end in ends]
    return {"earliest_distance": found[0], "latest_distance": found[1]}


def _reading(each: WearReading, trend: Trend, unit: str) -> str:
    at = ""
    if each.odometer_km is not None:
        at = f"{float(convert(each.odometer_km, 'km', unit)):>9.0f} {unit}"
    return f"{each.on}  {at:<13} {trend.told_reading(each)}"


def _reading_json(each: WearReading, of: str, unit: str) -> Json:
    odometer = distance_json(each.odometer_km, unit)
    return {**picked(each, "on"), "odometer": odometer, **exact(each.value), "unit": of}
