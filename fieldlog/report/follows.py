"""What follows from an inspection as JSON: conclusion, jobs, due items, what is open (pure)."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from fieldlog.aftercare.checklist import LeftOpen
from fieldlog.aftercare.conclusion import Conclusion
from fieldlog.aftercare.crosschecks import Unanswered
from fieldlog.aftercare.due import DueItem
from fieldlog.aftercare.job_lines import JobLine, Needed, shopping
from fieldlog.quantities.units import convert
from fieldlog.store.records import InspectionRecord
from fieldlog.words.as_json import Json, exact, picked, told


def follows_json(
    record: InspectionRecord,
    conclusion: Conclusion,
    jobs: Iterable[JobLine],
    due: Iterable[DueItem],
    left: Iterable[LeftOpen],
    crossed: Iterable[Unanswered],
    cautions: Iterable[str],
) -> Json:
    """What stands beside the record in its JSON: everything that was made of it."""
    numbers = {each.id: each.number for each in record.findings}
    lines = tuple(jobs)
    return {
        "conclusion": conclusion_json(conclusion),
        "cautions": list(cautions),
        "jobs": [job_json(line, numbers) for line in lines],
        "shopping": [needed_json(each) for each in shopping(lines)],
        "due": [due_json(item, record.vehicle.unit) for item in due],
        "not_looked_at": [left_json(each) for each in left],
        "cross_checks": [cross_json(each) for each in crossed],
    }


def conclusion_json(one: Conclusion) -> Json:
    """The sentence on top with the counts behind it."""
    return told(one)


def needed_json(each: Needed) -> Json:
    """A part or consumable with its quantity and place."""
    return {**picked(each, "item", "count", "each", "amount", "place"), "what": each.text}


def job_json(line: JobLine, numbers: dict[str, int]) -> Json:
    """A job; ``because`` holds the numbers of the findings it follows from."""
    return {
        **picked(line, "do", "system", "components", "position", "settles", "advice", "severity"),
        "parts": [needed_json(each) for each in line.parts],
        "consumables": [needed_json(each) for each in line.consumables],
        "torques": [picked(each, "fastener", "place", "value", "source") for each in line.torques],
        "because": sorted(numbers[name] for name in line.because),
    }


def due_json(item: DueItem, unit: str) -> Json:
    """A due item; distances exact, in ``unit``."""
    return {**told(item, "by_km"), "by_distance": distance_json(item.by_km, unit)}


def left_json(left: LeftOpen) -> Json:
    """What of an item nobody looked at, at one stage; ``begun``: something else of it was."""
    return {
        "item": left.item.key,
        "system": left.item.system,
        "stage": left.stage.name,
        "sights": [sight.name for sight in left.sights if sight.name],
        "begun": left.begun,
    }


def cross_json(each: Unanswered) -> Json:
    """A cross-check that is open."""
    left = [look.what for look in each.left]
    return {"id": each.check.id, "end": each.end, "ask": each.check.ask, "left": left}


def distance_json(km: Fraction | None, unit: str) -> Json | None:
    """A distance in ``unit`` (km or mi), exact."""
    if km is None:
        return None
    return {**exact(convert(km, "km", unit)), "unit": unit}
