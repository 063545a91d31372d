"""What was to be affirmed, and what of it nobody did (pure)."""

from __future__ import annotations

from fieldlog.store.records import EventName, InspectionRecord, RecordedFinding


def unaffirmed(record: InspectionRecord) -> tuple[RecordedFinding, ...]:
    """Standing findings that were to be affirmed, and were not."""
    asked = {e.data.get("finding") for e in record.events if e.name == EventName.READ_BACK}
    answered = {e.data.get("finding") for e in record.events if e.name == EventName.AFFIRMED}
    return tuple(each for each in record.findings if each.stands and each.id in asked - answered)
