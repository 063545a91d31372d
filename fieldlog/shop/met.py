"""What an utterance meets in the record as it is now (pure)."""

from __future__ import annotations

from fieldlog.aftercare.plan import skips_of
from fieldlog.shop.earlier import asked_in, kept_as, said_last, subjects_withdrawn
from fieldlog.shop.known import VehicleKnown
from fieldlog.shop.scene import Rules, Scene
from fieldlog.store.affirmed import unaffirmed
from fieldlog.store.records import EventName, InspectionRecord, RecordedFinding


def scene_in(record: InspectionRecord, rules: Rules, last: RecordedFinding | None) -> Scene:
    """The scene of ``record``; ``last``: what the finding that was said last has become."""
    standing = tuple(kept_as(each) for each in record.findings if each.stands)
    breath = {
        each.id
        for each in record.findings
        if last is not None and each.utterance_id == last.utterance_id
    }
    inspection, vehicle = record.inspection, record.vehicle
    return Scene(
        rules,
        standing,
        next((each for each in standing if last and each.id == last.id), None),
        together=tuple(each for each in standing if each.id in breath),
        gone=last.finding if last and not last.stands else None,
        withdrawn=subjects_withdrawn(record),
        skips=skips_of(record),
        signed=any(event.name == EventName.SIGNED_OFF for event in record.events),
        known=VehicleKnown(inspection.id, inspection.started_at, vehicle.odometer, rules.context),
        remark=said_last(record, last),
        unaffirmed=tuple(kept_as(each) for each in unaffirmed(record)),
        questions=tuple(asked_in(record)),
    )
