"""What an utterance meets in the record as it is now (pure)."""

from __future__ import annotations

from fieldlog.aftercare.plan import skips_of
from fieldlog.shop.earlier import (
    asked_in,
    breath_of,
    kept_as,
    said_last,
    skipped_last,
    stood_before,
    subjects_withdrawn,
)
from fieldlog.shop.events import Kept
from fieldlog.shop.known import VehicleKnown
from fieldlog.shop.scene import Rules, Scene
from fieldlog.store.affirmed import unaffirmed
from fieldlog.store.records import EventName, InspectionRecord, RecordedFinding


class KeptFindings:
    """The findings of one inspection that stand, as events tell them: each is put so once, not with every utterance."""

    def __init__(self) -> None:
        """Nothing is known yet."""
        self._known: dict[str, tuple[RecordedFinding, Kept]] = {}

    def of(self, record: InspectionRecord) -> tuple[Kept, ...]:
        """Those of ``record``, oldest first."""
        known, found = self._known, []
        for each in record.findings:
            pair = known.get(each.id)
            if pair is None or pair[0] is not each:
                pair = known[each.id] = each, kept_as(each)
            if each.superseded_by is None and not each.withdrawn:
                found.append(pair[1])
        return tuple(found)


def scene_in(
    record: InspectionRecord, rules: Rules, last: RecordedFinding | None, kept: KeptFindings
) -> Scene:
    """The scene of ``record``; ``last``: what the finding that was said last has become."""
    standing = kept.of(record)
    breath = breath_of(record, last) if last is not None else frozenset()
    inspection, vehicle = record.inspection, record.vehicle
    return Scene(
        rules,
        standing,
        next((each for each in standing if last and each.id == last.id), None),
        together=tuple([each for each in standing if each.id in breath]),
        put_right=lambda: stood_before(record),
        gone=last.finding if last and not last.stands else None,
        withdrawn=subjects_withdrawn(record),
        skips=skips_of(record),
        skipped=skipped_last(record),
        signed=any(event.name == EventName.SIGNED_OFF for event in record.events),
        known=VehicleKnown(inspection.id, inspection.started_at, vehicle.odometer, rules.context),
        remark=said_last(record, last),
        not_affirmed=lambda: tuple(kept_as(each) for each in unaffirmed(record)),
        not_answered=lambda: tuple(asked_in(record)),
    )
