"""One vehicle over the years, and looking for findings, as JSON values."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from typing import Any

from fieldlog.aftercare.due import folded
from fieldlog.aftercare.walk_list import NOT_FITTED
from fieldlog.errors import UsageError
from fieldlog.model.state import State
from fieldlog.report.lines import due_row
from fieldlog.report.trend_picture import trend_picture
from fieldlog.review.exchanges import placed_photos
from fieldlog.shop.workshop import Workshop
from fieldlog.store.records import Vehicle
from fieldlog.store.searching import Wanted
from fieldlog.words import tell

Json = dict[str, Any]
LAST = 12
"""Inspections of which photos are looked through."""


def vehicle_page(shop: Workshop, key: str) -> Json:
    """History, wear, what comes due, and the oldest beside the newest photo of a part."""
    vehicle = shop.vehicle(key)
    planned = shop.due(vehicle, shop.now().date())
    pictures = (trend_picture(each) for each in planned.worn(shop.care.intervals))
    return {
        "number": vehicle.number,
        "name": vehicle.name,
        "facts": [
            [key.replace("_", " "), value]
            for key, value in vehicle.facts.items()
            if key != NOT_FITTED
        ],
        "odometer": tell.quantity(vehicle.odometer[-1].distance) if vehicle.odometer else "",
        "due": [asdict(due_row(each, vehicle.unit)) for each in folded(planned.due)],
        "trends": [asdict(each) for each in pictures if each is not None],
        "history": _history(shop, vehicle),
        "pictures": _pictures(shop, vehicle),
    }


def _history(shop: Workshop, vehicle: Vehicle) -> list[Json]:
    """What was found of each thing, newest first."""
    found: dict[str, list[Json]] = defaultdict(list)
    for row in shop.store.history(vehicle.id):
        found[tell.subject(row.finding)].append(
            {
                "day": f"{row.at:%Y-%m-%d}",
                "inspection": row.inspection_number,
                "value": tell.value(row.finding),
                "state": str(row.state) if row.state else "not judged",
                "odometer": tell.quantity(row.odometer) if row.odometer else "",
            }
        )
    return [{"subject": subject, "rows": rows[::-1]} for subject, rows in sorted(found.items())]


def _pictures(shop: Workshop, vehicle: Vehicle) -> list[Json]:
    """Parts that were photographed in several inspections: the first photo and the last."""
    shown: dict[str, list[Json]] = defaultdict(list)
    for head in shop.store.inspections(vehicle.id)[-LAST:]:
        record = shop.store.inspection_record(head.id)
        findings = {each.id: each for each in record.findings}
        placed = placed_photos(record)
        for photo in record.photos:
            at = findings.get(placed[photo.id] or "")
            if at is not None:
                part = tell.place(at.finding.component, at.finding.position)
                shown[part].append(
                    {"media": photo.media, "day": f"{head.started_at:%Y-%m-%d}",
                     "told": tell.finding(at.finding), "inspection": head.number}
                )  # fmt: skip
    return [
        {"part": part, "before": several[0], "after": several[-1]}
        for part, several in sorted(shown.items())
        if several[0]["inspection"] != several[-1]["inspection"]
    ]


def search(shop: Workshop, asked: Mapping[str, str]) -> Json:
    """Findings by ``words``, ``component``, ``verdict``, ``since`` and ``until`` (days)."""
    state = asked.get("verdict")
    if state is not None and state not in set(State):
        raise UsageError(f"{state!r} is no verdict", todo=", ".join(State))
    until = _day(asked.get("until"))
    wanted = Wanted(
        tuple(asked.get("words", "").split()[:8]),
        asked.get("component", "").strip(),
        State(state) if state else None,
        _day(asked.get("since")),
        until + timedelta(days=1) if until else None,
    )
    return {
        "found": [
            {
                "told": tell.finding(each.finding),
                "number": each.number,
                "state": str(each.state) if each.state else "not judged",
                "day": f"{each.at:%Y-%m-%d}",
                "inspection": each.inspection,
                "vehicle": each.vehicle,
                "vehicle_number": each.vehicle_number,
                "item": each.exchange,
            }
            for each in shop.store.engine.search(wanted)
        ]
    }


def _day(text: str | None) -> datetime | None:
    if not text:
        return None
    day: datetime | None
    try:
        day = datetime.strptime(text, "%Y-%m-%d").replace(tzinfo=UTC)
    except ValueError:
        day = None
    if day is None or not 1970 <= day.year < 2200:
        raise UsageError(f"{text!r} is no day", todo="write it like 2026-03-14")
    return day
