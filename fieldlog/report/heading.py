"""What the report says of the record as a whole: its head, and where it all came from (pure)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime

from fieldlog.aftercare.walk_list import NOT_FITTED
from fieldlog.limits.items import Coverage
from fieldlog.store.records import TYPED, EventName, InspectionRecord
from fieldlog.words import english, tell
from fieldlog.words.telling import say

Covered = Sequence[tuple[str, Coverage]]


def fields_of(
    record: InspectionRecord, begun: str, covered: Covered
) -> tuple[tuple[str, str], ...]:
    """What the card says of the vehicle and the inspection, which ``begun`` says the time of."""
    head, vehicle = record.inspection, record.vehicle
    here = [o for o in vehicle.odometer if o.inspection_id == head.id]
    shown: list[tuple[str, str]] = [
        ("vehicle", vehicle.name),
        ("inspected", begun),
        ("odometer", tell.quantity(here[-1].distance) if here else ""),
        ("inspector", head.inspector),
        ("place", head.place),
        ("limits of", head.jurisdiction or say("no jurisdiction named")),
    ]
    held = [
        english.covered(rule, much.rows, much.items, much.unread, much.sections)
        for rule, much in covered
    ]
    if head.jurisdiction:
        shown += [("limits held of its rules", "; ".join(held) or say(english.NO_RULE_HELD))]
    shown += [
        (key.replace("_", " "), value) for key, value in vehicle.facts.items() if key != NOT_FITTED
    ]
    known = {key for key, _ in shown}
    shown += [
        (key.replace("_", " "), value)
        for key, value in head.settings.items()
        if key.replace("_", " ") not in known
    ]
    return tuple((label, value) for label, value in shown if value)


def provenance(
    record: InspectionRecord, zone: str, time: Callable[[datetime], str], notes: Sequence[str]
) -> tuple[tuple[str, str], ...]:
    """By what it was heard and kept: programs, models, clocks, and what happened meanwhile."""
    told = [("kept by", record.inspection.program), ("session clock", zone)]
    for label, values in (
        ("listener", (u.listener for u in record.utterances if u.source != TYPED)),
        ("model", (u.model for u in record.utterances)),
        ("grammar", (u.grammar[:16] for u in record.utterances)),
        ("sound from", (u.source for u in record.utterances if u.source != TYPED)),
    ):
        found = [value for value in dict.fromkeys(values) if value]
        if found:
            told.append((label, ", ".join(found)))
    for clock in record.clocks:
        offset = say("not known")
        if clock.offset_s is not None:
            ahead = say("ahead" if clock.offset_s >= 0 else "behind")
            offset = f"{tell.seconds(clock.offset_s)} {ahead}"
            if clock.uncertainty_s is not None:
                offset += f", ± {tell.seconds(clock.uncertainty_s)}"
        told.append((say("clock of {camera}", camera=clock.camera), f"{offset} ({say(clock.how)})"))
    for event in record.events:
        if event.name not in set(EventName):
            told.append((event.name, f"{time(event.at)} {event.text}".strip()))
    return (*told, *(("note", note) for note in notes))
