"""Wear trends of a vehicle: every measured characteristic over its inspections (pure).

Readings of one place are held against the limit that gates the newest of them, in its inspection's
context; the limit's relation tells the direction of wear ("at least": readings fall). A reading that
goes back by more than the uncertainty of a difference of two readings means a new part: a new series
begins, and only the newest one is projected.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction

from fieldlog.aftercare.done import km_of
from fieldlog.aftercare.due import Done, Projection, WearReading, due_from_age, due_from_wear
from fieldlog.catalogue.component import Catalogue
from fieldlog.derived.wear import LEVEL, Line, Point, TooFewPoints, fit, split_at_replacements
from fieldlog.limits.assess import checked, context_for, usual_uncertainty
from fieldlog.limits.check import merge_readings
from fieldlog.limits.from_finding import Derived, derive
from fieldlog.limits.judge import comparable, judge
from fieldlog.model.context import Context
from fieldlog.model.finding import Finding, Qualifier, Quantity
from fieldlog.model.limit import Limit
from fieldlog.model.verdict import Judgement
from fieldlog.quantities.units import convert, dimension
from fieldlog.store.records import HistoryRow
from fieldlog.words import tell

Key = tuple[str, str | None, str]
"""Component, position, characteristic."""

AGE = "age"
_FINEST_SAID = 10_000
"""Nobody says a value with more than four decimals."""
DIFFERENCE = Fraction(99, 70)
"""sqrt(2) to 1 in 20,000: the uncertainty of a difference of two readings over that of one."""


@dataclass(frozen=True, slots=True)
class TrendBasis:
    """What readings are held against."""

    catalogue: Catalogue
    limits: Sequence[Limit]
    contexts: Mapping[str, Context]
    """Inspection id -> what its checks may assume."""


@dataclass(frozen=True, slots=True)
class Trend:
    """One characteristic at one place over the inspections."""

    component: str
    position: str | None
    characteristic: str
    unit: str
    readings: tuple[WearReading, ...]
    """Of the part that is on now, oldest first."""
    before: tuple[tuple[WearReading, ...], ...]
    """Series of the parts that were on before."""
    limit: Limit | None
    falling: bool | None
    """Direction of wear; None where no one-sided limit tells it."""
    noise: Fraction
    """A step the wrong way larger than this means a new part."""
    projection: Projection
    left_out: tuple[str, ...] = ()
    """Findings that could not be put on the line, each with the reason."""
    said: str = ""
    """Unit of the newest finding, in which people are told of it; empty: ``unit``."""

    def told(self, value: Fraction) -> Fraction:
        """A value in ``unit`` as one in the unit that was said."""
        return convert(value, self.unit, self.told_unit)

    def told_reading(self, each: WearReading) -> str:
        """A reading as it was said, or rounded in the unit that was said."""
        return each.said or tell.rounded(self.told(each.value), self.told_unit)

    @property
    def told_unit(self) -> str:
        """The unit people are told of it in."""
        return self.said or self.unit

    @property
    def key(self) -> Key:
        """Component, position, characteristic."""
        return self.component, self.position, self.characteristic

    @property
    def replaced_on(self) -> tuple[date, ...]:
        """The days on which a new part was first measured."""
        series = (*self.before, self.readings)
        return tuple(each[0].on for each in series[1:] if each)

    def line(self, by: Callable[[WearReading], Fraction | None]) -> Line | None:
        """The line through the readings by ``by`` (days or km); None where there is none."""
        places = [(by(each), each.value) for each in self.readings]
        points = [Point(x, y) for x, y in places if x is not None]
        if len(points) < len(places):
            return None
        try:
            return fit(points)
        except TooFewPoints:
            return None


def trends(
    history: Iterable[HistoryRow],
    rules: TrendBasis,
    done: Sequence[Done],
    replaces: Mapping[str, str],
    today: date,
    *,
    odometer_km: Fraction | None = None,
    level: float = LEVEL,
) -> tuple[Trend, ...]:
    """Every trend of the vehicle, in the catalogue's order.

    ``done`` with ``replaces`` (interval id -> component) are the parts known to be replaced: series
    are cut there whatever the values say.
    """
    found: dict[Key, list[tuple[HistoryRow, Finding, Fraction | None]]] = defaultdict(list)
    for row in history:
        for finding, uncertainty in _measured(row, rules):
            key = (finding.component, finding.position, str(finding.characteristic))
            found[key].append((row, finding, uncertainty))
    order = {name: at for at, name in enumerate(rules.catalogue.components)}
    made = []
    for key in sorted(found, key=lambda k: (order.get(k[0], 0), k[2], k[1] or "")):
        cuts = [
            each.on
            for each in done
            if replaces.get(each.interval) == key[0] and same_place(each.position, key[1])
        ]
        made.append(_trend(key, found[key], rules, cuts, today, odometer_km, level))
    return tuple(made)


def _measured(row: HistoryRow, rules: TrendBasis) -> list[tuple[Finding, Fraction | None]]:
    """The finding and what is derived from it, each with its U (k = 2) in its own unit."""
    finding = row.finding
    context = context_for(finding, rules.contexts[row.inspection_id], row.at.date())
    usual = usual_uncertainty(finding, rules.catalogue)
    u = finding.quantity.uncertainty if finding.quantity else None
    own = u if u is not None else usual.value if usual else None
    found = []
    if finding.quantity is not None and finding.characteristic:
        found.append((finding, own))
    moved = _derived(_shifted(finding, own), row, context)
    for name, made in _derived(finding, row, context).items():
        other = moved.get(name)
        step = None
        if made.quantity and other and other.quantity:
            step = abs(other.quantity.value - made.quantity.value)
        found.append((made, step))
    return found


def _derived(finding: Finding | None, row: HistoryRow, context: Context) -> dict[str, Finding]:
    """Characteristic -> what is computed from the finding."""
    if finding is None:
        return {}
    results = derive(finding, context, row.at.date())
    return {str(r.finding.characteristic): r.finding for r in results if isinstance(r, Derived)}


def _shifted(finding: Finding, u: Fraction | None) -> Finding | None:
    """The finding as it would read one uncertainty higher: how far derived values move with it."""
    if finding.quantity is None or not u:
        return None
    quantity = finding.quantity
    high = None if quantity.high is None else quantity.high + u
    return replace(
        finding,
        quantity=replace(quantity, value=quantity.value + u, high=high),
        readings=tuple(replace(r, value=r.value + u) for r in finding.readings),
    )


def same_place(done: str | None, place: str | None) -> bool:
    """Whether work at ``done`` concerns ``place``: everywhere, the same end, or the same side."""
    return done is None or place is None or set(done.split()) <= set(place.split())


def _trend(
    key: Key,
    rows: list[tuple[HistoryRow, Finding, Fraction | None]],
    rules: TrendBasis,
    cuts: Sequence[date],
    today: date,
    odometer_km: Fraction | None,
    level: float,
) -> Trend:
    by_inspection: dict[str, list[tuple[HistoryRow, Finding, Fraction | None]]] = defaultdict(list)
    for each in rows:
        by_inspection[each[0].inspection_id].append(each)
    newest_row, newest, u = rows[-1]
    context = rules.contexts[newest_row.inspection_id]
    gate = _one_sided(newest, rules, context_for(newest, context, newest_row.at.date()))
    unit = gate.unit if gate else _unit(newest)
    readings, left_out = [], []
    for several in by_inspection.values():
        row, merged = several[-1][0], merge_readings([finding for _, finding, _ in several])
        value, why = _value(merged, gate, unit)
        if value is None:
            left_out.append(f"inspection {row.inspection_number}: {why}")
        else:
            said_as = _as_said(merged, value, unit)
            readings.append(WearReading(row.at.date(), km_of(row.odometer), value, said_as))
    readings.sort(key=lambda each: each.on)
    falling = None if gate is None else gate.relation.is_lower
    noise = Fraction(0)
    if u is not None:
        noise = convert(u * DIFFERENCE, _unit(newest), unit, difference=True)
    series = _series(readings, falling, noise, cuts)
    now = series[-1] if series else ()
    own = _unit(newest)
    said = own if dimension(own) == dimension(unit) else unit
    projection = _projection(key, now, gate, falling, today, odometer_km, level, said)
    return Trend(
        key[0], key[1], key[2], unit, now, tuple(series[:-1]), gate, falling, noise, projection,
        tuple(left_out), said,
    )  # fmt: skip


def _projection(
    key: Key,
    readings: Sequence[WearReading],
    gate: Limit | None,
    falling: bool | None,
    today: date,
    odometer_km: Fraction | None,
    level: float,
    said: str,
) -> Projection:
    if gate is None or gate.value is None or falling is None:
        return Projection(None, "no limit with one end gates the newest reading")
    if not readings:
        return Projection(None, "no readings")
    source = f"{tell.limit(gate)}, {gate.source} ({gate.status.value})"
    if key[2] == AGE and not falling:
        last = readings[-1]
        years = convert(last.value, gate.unit, "a")
        item = due_from_age(
            key[0], key[1], years, last.on, convert(gate.value, gate.unit, "a"), source, today
        )
        return Projection(item, "age runs evenly")
    return due_from_wear(
        *key,
        readings,
        gate.value,
        gate.unit,
        falling,
        source,
        today,
        level,
        odometer_km,
        tell.limit_value(gate),
        said,
    )


def _series(
    readings: Sequence[WearReading], falling: bool | None, noise: Fraction, cuts: Sequence[date]
) -> list[tuple[WearReading, ...]]:
    """Cut where a part is known to be replaced, then where the values say so."""
    known: list[list[WearReading]] = []
    for reading in readings:
        if known and not any(known[-1][-1].on <= cut < reading.on for cut in cuts):
            known[-1].append(reading)
        else:
            known.append([reading])
    if falling is None:
        return [tuple(part) for part in known]
    found = []
    for part in known:
        points = [Point(Fraction(at), each.value) for at, each in enumerate(part)]
        for piece in split_at_replacements(points, falling, noise):
            found.append(tuple(part[int(point.x)] for point in piece))
    return found


def _one_sided(finding: Finding, rules: TrendBasis, context: Context) -> Limit | None:
    """The limit that gates, or the first beside it that has one end, in this context.

    Not an outright one: wear meets its limit before nothing is left.
    """
    verdict = checked(finding, rules.limits, context, rules.catalogue)
    judged: list[Judgement] = [*([verdict.gate] if verdict.gate else []), *verdict.others]
    for each in judged:
        limit = each.limit
        if limit.outright:
            continue
        if limit.value is not None and (limit.relation.is_lower or limit.relation.is_upper):
            return limit
    return None


def _as_said(finding: Finding, value: Fraction, unit: str) -> str:
    """The quantity of ``finding`` that came to ``value`` in ``unit``, as it was said; empty for none."""
    said = [*([finding.quantity] if finding.quantity else []), *finding.readings]
    return next(
        (
            tell.with_unit(tell.number(one.value, one.unit, one.words), one.unit)
            for one in said
            if _can_be_said(one) and convert(one.value, one.unit, unit) == value
        ),
        "",
    )


def _can_be_said(one: Quantity) -> bool:
    """Whether it is one number that somebody said: what is computed has no end of figures."""
    return bool(one.words) and one.high is None and one.value.denominator <= _FINEST_SAID


def _unit(finding: Finding) -> str:
    quantity = finding.quantity or (finding.readings[0] if finding.readings else None)
    return quantity.unit if quantity else "1"


def _value(finding: Finding, gate: Limit | None, unit: str) -> tuple[Fraction | None, str]:
    """The reading in the limit's unit, several made one as the limit says; or why not."""
    quantities: tuple[Quantity, ...] = finding.readings or (
        (finding.quantity,) if finding.quantity else ()
    )
    if any(each.qualifier and each.qualifier is not Qualifier.ABOUT for each in quantities):
        return None, "said as less or more than a value"
    if gate is None:
        if any(dimension(each.unit) != dimension(unit) for each in quantities):
            return None, f"in another kind of unit than {unit}"
        return min(convert(each.value, each.unit, unit) for each in quantities), ""
    if not all(comparable(gate, each) for each in quantities):
        return None, f"in another kind of unit than {gate.unit}"
    judgement = judge(gate, finding)
    return judgement.reading, judgement.reason
