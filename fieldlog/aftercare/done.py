"""When work was done: entered in the vehicle's log, said in a remark, or found (pure)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from fractions import Fraction

from fieldlog.aftercare.due import Done, Interval
from fieldlog.aftercare.intervals import Intervals, SaidDone, said
from fieldlog.catalogue.component import WORK
from fieldlog.errors import UsageError
from fieldlog.model.finding import Quantity
from fieldlog.model.limit import LimitStatus
from fieldlog.quantities.units import convert
from fieldlog.store.records import HistoryRow, Inspection, LogEntry, Odometer

DONE, INTERVAL, CHECKLIST = "done", "interval", "checklist"
"""Kinds of entries in a vehicle's log."""


def km_of(distance: Quantity | None) -> Fraction | None:
    """An odometer reading in kilometres, exactly; None for none."""
    return None if distance is None else convert(distance.value, distance.unit, "km")


def done_entry(words: str, each: SaidDone, on: date, odometer: Quantity | None) -> dict[str, str]:
    """What the vehicle's log keeps of work done."""
    entry = {"interval": each.interval.id, "on": on.isoformat(), "words": words}
    if each.position:
        entry["position"] = each.position
    if odometer is not None:
        entry["odometer"] = f"{odometer.value} {odometer.unit}"
    return entry


def meant(text: str, intervals: Intervals) -> tuple[SaidDone, ...]:
    """The work ``text`` says was done, or names by its id.

    Raises ``UsageError`` when it is none that is known.
    """
    row = intervals.rows.get(" ".join(text.lower().split()))
    found = said(text, intervals) or ((SaidDone(row, None),) if row else ())
    if not found:
        raise UsageError(
            f"{text!r} is no work known here",
            todo="say it like 'brake fluid changed', or use an id: " + ", ".join(intervals.rows),
        )
    return found


def everything_done(
    intervals: Intervals,
    log: Iterable[LogEntry],
    remarks: Iterable[tuple[Inspection, str]],
    history: Sequence[HistoryRow],
    odometer: Iterable[Odometer],
    until: date,
) -> tuple[Done, ...]:
    """Every time any interval's work was done up to ``until``, oldest first.

    A finding of work counts by its component and what was done to it. A remark counts only where one
    of its sentences as a whole says so; it is free speech, so the reason names it and anyone can look
    it up.
    """
    distances = {each.inspection_id: km_of(each.distance) for each in odometer}
    found = [each for entry in log if entry.kind == DONE and (each := _entered(entry.data))]
    for inspection, text in remarks:
        for sentence in text.replace(";", ".").replace(",", ".").split("."):
            found += [
                Done(
                    each.interval.id,
                    inspection.started_at.date(),
                    distances.get(inspection.id),
                    each.position,
                    f"remark of inspection {inspection.number}: {sentence.strip()}",
                )
                for each in said(sentence, intervals)
            ]
    checks = {i.component: i for i in intervals.rows.values() if i.seen}
    for row in history:
        if row.finding.characteristic == WORK:
            found += [
                Done(
                    each.interval.id,
                    row.at.date(),
                    distances.get(row.inspection_id),
                    row.finding.position,
                    f"found in inspection {row.inspection_number}: {row.finding.words}",
                )
                for each in said(f"{row.finding.component} {row.finding.condition}", intervals)
            ]
            continue
        check = checks.get(row.finding.component)
        if check is not None:
            found.append(
                Done(
                    check.id,
                    row.at.date(),
                    distances.get(row.inspection_id),
                    row.finding.position,
                    f"found in inspection {row.inspection_number}",
                )
            )
    return tuple(sorted((each for each in found if each.on <= until), key=lambda each: each.on))


def _entered(data: Mapping[str, str]) -> Done | None:
    """Work as ``done_entry`` keeps it; None for an entry that is none (another program wrote it)."""
    try:
        odometer = None
        if "odometer" in data:
            value, unit = data["odometer"].split()
            odometer = convert(Fraction(value), unit, "km")
        on = date.fromisoformat(data["on"])
        return Done(data["interval"], on, odometer, data.get("position"), "entered")
    except (KeyError, ValueError, ZeroDivisionError, UsageError):
        return None


def odd_entries(log: Iterable[LogEntry]) -> tuple[str, ...]:
    """What stands in the log as work done and cannot be read as such, told."""
    return tuple(
        f"left out: an entry of work done that cannot be read ({', '.join(entry.data.values())})"
        for entry in log
        if entry.kind == DONE and _entered(entry.data) is None
    )


def own_intervals(intervals: Intervals, log: Iterable[LogEntry]) -> dict[str, Interval]:
    """Rows of the vehicle's own over those of the file: the maker's manual, entered by the user.

    An entry without months and distance takes the row back to never coming due by itself.
    """
    found: dict[str, Interval] = {}
    for entry in log:
        usual = intervals.rows.get(entry.data.get("id", ""))
        if entry.kind != INTERVAL or usual is None:
            continue
        months, km = entry.data.get("months"), entry.data.get("km")
        found[usual.id] = Interval(
            id=usual.id,
            component=usual.component,
            do=usual.do,
            months=int(months) if months else None,
            km=Fraction(km) if km else None,
            source=entry.data.get("source", ""),
            status=LimitStatus.ENTERED.value,
            things=usual.things,
            verbs=usual.verbs,
            seen=usual.seen,
            after=usual.after,
        )
    return found
