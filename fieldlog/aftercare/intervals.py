"""Intervals as data: what is done again and again, how somebody says it was done, what wears (pure)."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from types import MappingProxyType

from fieldlog.aftercare.data import Faults, count, rows, table, texts
from fieldlog.aftercare.due import Interval
from fieldlog.aftercare.equipment import Fact, check_needs
from fieldlog.catalogue.component import Catalogue
from fieldlog.model.limit import LimitStatus
from fieldlog.quantities.units import convert

VERBS = ("changed", "replaced", "renewed", "done", "fitted")
"""Words that say that work was done, beside an interval's own."""

_KEYS = (
    *("id", "component", "do", "months", "every", "count", "of", "things", "verbs", "seen"),
    *("needs", "source", "status", "after"),
)
_DISTANCE = re.compile(r"(\d+(?:\.\d+)?) ?(km|mi)")
_PLACES = ("front", "rear", "left", "right")
_SMALL = frozenset({"the", "a", "an", "both"})


@dataclass(frozen=True)
class Intervals:
    """The rows of the file."""

    rows: Mapping[str, Interval]
    """By id."""
    wears: Collection[tuple[str, str]]
    """``(component, characteristic)`` whose trend makes a due item."""


@dataclass(frozen=True, slots=True)
class SaidDone:
    """What somebody said was done: the work, and at which place when one was named."""

    interval: Interval
    position: str | None


def distance_km(text: str) -> Fraction:
    """``"6000 mi"`` in kilometres, exactly; raises ``ValueError`` for anything else."""
    match = _DISTANCE.fullmatch(text.strip())
    if match is None or Fraction(match[1]) <= 0:
        raise ValueError(f"{text!r} is no distance: write it like '6000 mi' or '10000 km'")
    return convert(Fraction(match[1]), match[2], "km")


def read_intervals(
    text: str, catalogue: Catalogue, facts: Mapping[str, Fact], file: str = "intervals.toml"
) -> Intervals:
    """The intervals of one TOML text. Raises ``LimitError`` that lists every fault."""
    faults = Faults(file)
    document = table(text, faults)
    source, status = str(document.get("source", "")), str(document.get("status", ""))
    found: dict[str, Interval] = {}
    for called, row in rows(document, "interval", _KEYS, faults):
        interval = _interval(called, row, {"source": source, "status": status}, faults)
        check_needs(interval.needs, facts, called, faults)
        if interval.id in found:
            faults.add(called, "this id is used twice")
        if interval.component not in catalogue.components:
            faults.add(called, f"{interval.component!r} is not in the catalogue")
        found[interval.id] = interval
    for interval in found.values():
        if bool(interval.of) != (interval.count is not None):
            faults.add(interval.id, "count and of go together")
        elif interval.of and interval.of not in found:
            faults.add(interval.id, f"of {interval.of!r}, which is no id")
        for name in interval.after:
            if name not in found:
                faults.add(interval.id, f"after {name!r}, which is no id")
    wears = tuple(_wears(document, catalogue, faults))
    faults.stop()
    return Intervals(MappingProxyType(found), wears)


def _interval(
    called: str, row: Mapping[str, object], usual: Mapping[str, str], faults: Faults
) -> Interval:
    km = None
    if "every" in row:
        try:
            km = distance_km(str(row["every"]))
        except ValueError as error:
            faults.add(called, f"every: {error}")
    status, source = (str(row.get(key, usual[key])) for key in ("status", "source"))
    if status not in [each.value for each in LimitStatus]:
        faults.add(called, f"status {status!r} is none of {', '.join(LimitStatus)}")
    for key, value in (("do", row.get("do")), ("things", row.get("things")), ("source", source)):
        if not value:
            faults.add(called, f"{key} is missing")
    needs = row.get("needs", {})
    return Interval(
        id=str(row.get("id", "")) or called,
        component=str(row.get("component", "")),
        do=str(row.get("do", "")),
        months=count(row, "months", called, faults),
        km=km,
        source=source,
        status=status,
        count=count(row, "count", called, faults),
        of=str(row.get("of", "")),
        things=texts(row, "things", called, faults),
        verbs=texts(row, "verbs", called, faults),
        seen=bool(row.get("seen", False)),
        after=texts(row, "after", called, faults),
        needs=MappingProxyType(dict(needs)) if isinstance(needs, dict) else MappingProxyType({}),
    )


def _wears(
    document: Mapping[str, object], catalogue: Catalogue, faults: Faults
) -> Iterator[tuple[str, str]]:
    for called, row in rows(document, "wear", ("component", "characteristic"), faults):
        component = catalogue.get(called)
        name = str(row.get("characteristic", ""))
        if component is None or component.characteristic(name) is None:
            faults.add(called, f"{name!r} is no characteristic of {called!r} in the catalogue")
        yield called, name


def said(text: str, intervals: Intervals) -> tuple[SaidDone, ...]:
    """The work that ``text`` as a whole says was done: "rear tyre replaced", "new brake fluid".

    Only the whole text counts, so that "brake fluid was not changed" says nothing. Several rows
    may share one saying ("chain and sprockets replaced").
    """
    words = [word for word in re.findall(r"[a-z]+", text.lower()) if word not in _SMALL]
    places = [word for word in words if word in _PLACES]
    plain = " ".join(word for word in words if word not in _PLACES)
    return tuple(
        SaidDone(interval, " ".join(places) or None)
        for interval in intervals.rows.values()
        if plain in _sayings(interval)
    )


def _sayings(interval: Interval) -> frozenset[str]:
    part = interval.months is None and interval.km is None
    usual: tuple[str, ...] = VERBS if part or not interval.verbs else ("done",)
    if interval.after:  # "spokes done" is the work, not the second look
        usual = ()
    forms: set[str] = set()
    for thing in interval.things:
        plain = " ".join(word for word in thing.split() if word not in _SMALL)
        for verb in (*interval.verbs, *usual):
            forms |= {f"{plain} {verb}", f"{verb} {plain}"}
            forms |= {f"{plain} {aux} {verb}" for aux in ("was", "were", "has been", "have been")}
        if part or not interval.verbs:
            forms.add(f"new {plain}")
    return frozenset(forms)


def with_own(intervals: Intervals, own: Mapping[str, Interval]) -> Intervals:
    """``intervals`` with a vehicle's own rows over those of the same id."""
    return replace(intervals, rows=MappingProxyType({**intervals.rows, **own}))
