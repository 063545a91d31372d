"""The tables that years of a record are asked through: their columns, and the rows of them (pure).

Three tables, each a row for one thing: ``findings`` (those that stand, with the verdict that counts),
``utterances`` (what was made of each stretch of speech) and ``wear`` (one part's course between two
replacements). A value stands as the exact fraction that was said, and as a float beside it: sums and
plots are made of the float, what is quoted of the fraction.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from fractions import Fraction

from fieldlog.aftercare.due import WearReading
from fieldlog.aftercare.trend import Trend
from fieldlog.catalogue.component import Catalogue
from fieldlog.derived.wear import Point, TooFewPoints, fit
from fieldlog.model.state import State
from fieldlog.model.understanding import Kind
from fieldlog.model.verdict import Verdict
from fieldlog.quantities.units import convert, dimension
from fieldlog.store.records import InspectionRecord, Utterance, Vehicle

Cell = str | int | float | None
Row = tuple[Cell, ...]

_OF_INSPECTION = {
    "inspection": "VARCHAR",
    "year": "SMALLINT",
    "started_at": "TIMESTAMP",
    "inspector": "VARCHAR",
    "place": "VARCHAR",
    "jurisdiction": "VARCHAR",
    "vehicle": "VARCHAR",
    "model": "VARCHAR",
}

TABLES: Mapping[str, Mapping[str, str]] = {
    "findings": {
        **_OF_INSPECTION,
        "finding": "VARCHAR",
        "component": "VARCHAR",
        "position": "VARCHAR",
        "characteristic": "VARCHAR",
        "condition": "VARCHAR",
        "value_num": "BIGINT",
        "value_den": "BIGINT",
        "value": "DOUBLE",
        "unit": "VARCHAR",
        "state": "VARCHAR",
        "severity": "VARCHAR",
        "limit_id": "VARCHAR",
    },
    "utterances": {
        **_OF_INSPECTION,
        "utterance": "VARCHAR",
        "listener": "VARCHAR",
        "decision": "VARCHAR",
        "kind": "VARCHAR",
        "seconds": "DOUBLE",
        "over_noise_db": "DOUBLE",
    },
    "wear": {
        "year": "SMALLINT",
        "vehicle": "VARCHAR",
        "model": "VARCHAR",
        "component": "VARCHAR",
        "position": "VARCHAR",
        "characteristic": "VARCHAR",
        "unit": "VARCHAR",
        "part": "INTEGER",
        "readings": "INTEGER",
        "days": "INTEGER",
        "km": "DOUBLE",
        "first": "DOUBLE",
        "last": "DOUBLE",
        "a_year": "DOUBLE",
        "in_1000_km": "DOUBLE",
    },
}
"""Table -> column -> SQL type, in the order of a row's cells."""

_DAYS_A_YEAR = Fraction(3652425, 10000)
"""The mean Gregorian year."""
_LARGEST = 2**63


def of_inspection(record: InspectionRecord) -> Row:
    """The cells that every row of an inspection begins with."""
    head = record.inspection
    at = head.started_at.astimezone(UTC)
    return (
        head.id,
        at.year,
        _instant(at),
        head.inspector,
        head.place,
        head.jurisdiction,
        record.vehicle.id,
        record.vehicle.facts.get("model"),
    )


def findings(record: InspectionRecord) -> Iterator[Row]:
    """A row for each finding that stands; what was corrected or withdrawn is in the record alone."""
    head = of_inspection(record)
    for each in record.findings:
        if not each.stands:
            continue
        found, quantity = each.finding, each.finding.quantity
        value = None if quantity is None else quantity.value
        exact = value if value is not None and _fits(value) else None
        yield (
            *head,
            each.id,
            found.component,
            found.position,
            found.characteristic,
            found.condition,
            None if exact is None else exact.numerator,
            None if exact is None else exact.denominator,
            None if value is None else float(value),
            None if quantity is None else quantity.unit,
            each.verdict.state.value if each.verdict else State.UNDECIDED.value,
            each.verdict.severity.value if each.verdict and each.verdict.severity else None,
            _limit(each.verdict),
        )


def utterances(record: InspectionRecord, over_noise_db: Mapping[str, float]) -> Iterator[Row]:
    """A row for each stretch of speech; ``over_noise_db``: utterance id -> speech over noise, in dB.

    What was typed has no sound and is no row: it says nothing of hearing.
    """
    head = of_inspection(record)
    for each in record.utterances:
        if was_spoken(each):
            yield (
                *head,
                each.id,
                each.listener,
                each.decision.value,
                each.kind.value,
                each.end_s - each.start_s,
                over_noise_db.get(each.id),
            )


def was_spoken(said: Utterance) -> bool:
    """Whether it was heard, and was meant as words of the job."""
    return said.clip is not None and said.kind is not Kind.REMARK


def wear(vehicle: Vehicle, trend: Trend, catalogue: Catalogue) -> Iterator[Row]:
    """A row for each part that was on: how far it was seen to wear, and how fast.

    In the catalogue's first unit of the characteristic, so that machines can be held side by side whatever
    unit their limits are printed in.
    """
    unit = _unit(trend, catalogue)
    for part, told in enumerate((*trend.before, trend.readings)):
        series = [replace(each, value=convert(each.value, trend.unit, unit)) for each in told]
        if len(series) < 2:
            continue
        first, last = series[0], series[-1]
        days = (last.on - first.on).days
        known = first.odometer_km is not None and last.odometer_km is not None
        km = last.odometer_km - first.odometer_km if known else None  # type: ignore[operator]
        a_day = _slope([Point(Fraction(each.on.toordinal()), each.value) for each in series])
        a_km = _slope(_by_km(series))
        yield (
            last.on.year,
            vehicle.id,
            vehicle.facts.get("model"),
            trend.component,
            trend.position,
            trend.characteristic,
            unit,
            part,
            len(series),
            days,
            None if km is None else float(km),
            float(first.value),
            float(last.value),
            None if a_day is None else float(a_day * _DAYS_A_YEAR),
            None if a_km is None else float(a_km * 1000),
        )


def _unit(trend: Trend, catalogue: Catalogue) -> str:
    component = catalogue.get(trend.component)
    measured = component.characteristic(trend.characteristic) if component else None
    units = measured.units if measured else ()
    alike = [each for each in units if dimension(each) == dimension(trend.unit)]
    return alike[0] if alike else trend.unit


def _by_km(series: Sequence[WearReading]) -> list[Point]:
    points = [
        Point(each.odometer_km, each.value) for each in series if each.odometer_km is not None
    ]
    return points if len(points) == len(series) else []


def _slope(points: list[Point]) -> Fraction | None:
    """Change of the value for a step of one; the line through two readings where there are no more."""
    if len(points) == 2 and points[0].x != points[1].x:
        return (points[1].y - points[0].y) / (points[1].x - points[0].x)
    try:
        return fit(points).slope
    except TooFewPoints:
        return None


def _limit(verdict: Verdict | None) -> str | None:
    gate = verdict.gate if verdict else None
    return gate.limit.id if gate else None


def _fits(value: Fraction) -> bool:
    return abs(value.numerator) < _LARGEST and value.denominator < _LARGEST


def _instant(at: datetime) -> str:
    return at.replace(tzinfo=None).isoformat(sep=" ", timespec="microseconds")
