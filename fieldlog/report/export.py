"""The record of one inspection as JSON, and its findings as CSV; both read back exactly (pure).

Where a photo was taken is not in the record's rows and so in neither; it stays in the original.
"""

from __future__ import annotations

import csv
import io
from typing import Any

from fieldlog.quantities.instants import instant_text
from fieldlog.report.lines import after_signature
from fieldlog.store.records import InspectionRecord, Photo, RecordedFinding, Utterance
from fieldlog.store.signatures import signatures
from fieldlog.words.as_json import exact_json, finding_json, picked, told

FORMAT = "fieldlog inspection 1"

COLUMNS = (
    "inspection", "vehicle", "number", "time_utc", "system", "component", "position",
    "characteristic", "value_num", "value_den", "high_num", "high_den", "unit", "qualifier",
    "readings", "condition", "code", "spoken", "state", "severity", "limit_num", "limit_den",
    "limit_unit", "limit_relation", "limit_source", "limit_status", "margin", "stands",
    "superseded_by", "photos", "not_covered", "cautions",
)  # fmt: skip


def record_json(record: InspectionRecord) -> dict[str, Any]:
    """The whole record as JSON values; instants are ISO 8601 in UTC."""
    head, vehicle = record.inspection, record.vehicle
    return {
        "format": FORMAT,
        "fingerprint": record.fingerprint,
        "rows": record.rows,
        "signatures": [
            {
                "name": each.event.text,
                "at": instant_text(each.event.at),
                "key": each.key,
                "checkpoint": each.checkpoint.text if each.checkpoint else None,
            }
            for each in signatures(record)
        ],
        "addenda": list(after_signature(record)),
        "vehicle": {
            **picked(vehicle, "id", "name", "facts"),
            "odometer": [
                {**(exact_json(o.distance) or {}), **told(o, "distance")} for o in vehicle.odometer
            ],
        },
        "inspection": told(head, "vehicle_id", "vehicle_name", "findings"),
        "findings": [_finding(each) for each in record.findings],
        "utterances": [_utterance(each) for each in record.utterances],
        "remarks": [
            {**told(r, "made_at"), "at": instant_text(r.made_at), **_later(r.id, record)}
            for r in record.remarks
        ],
        "marks": [told(m) for m in record.marks],
        "photos": [_photo(each, record) for each in record.photos],
        "clocks": [told(c, "id") for c in record.clocks],
        "events": [{**told(e, "id"), **_later(e.id, record)} for e in record.events],
        "reviews": [
            {**told(r, "made_at", "turn"), "at": instant_text(r.made_at), **_later(r.id, record)}
            for r in record.reviews
        ],
    }


def _finding(kept: RecordedFinding) -> dict[str, Any]:
    return {
        **told(kept, "finding", "verdict", "turn"),
        "stands": kept.stands,
        **finding_json(kept.finding, kept.verdict),
    }


def _utterance(u: Utterance) -> dict[str, Any]:
    return {
        **told(u, "asked"),
        "stretches": [told(each) for each in u.stretches],
        "hypotheses": [
            {
                "listener": listener,
                **told(h, "score"),
                "score": h.score if h.score > float("-inf") else None,
            }
            for listener, h in u.hypotheses
        ],
    }


def _photo(photo: Photo, record: InspectionRecord) -> dict[str, Any]:
    held = photo.attachment
    placed = None
    if held is not None:
        placed = {**told(held, "id", "photo_id"), **_later(held.id, record)}
    return {**told(photo, "attachment"), **_later(photo.id, record), "attachment": placed}


def _later(id: str, record: InspectionRecord) -> dict[str, bool]:
    return {"after_signature": id in record.uncovered}


# -- CSV ------------------------------------------------------------------------------------------


def findings_csv(record: InspectionRecord, systems: dict[str, str]) -> str:
    """One line per finding, corrected ones included; ``systems`` maps components to systems.

    RFC 4180 with a heading line. Values stay exact as numerator and denominator. A text that a
    spreadsheet would take for a formula gets an apostrophe in front.
    """
    photos: dict[str, list[str]] = {}
    for photo in record.photos:
        if photo.attachment and photo.attachment.finding_id:
            photos.setdefault(photo.attachment.finding_id, []).append(photo.file)
    said = {u.id: u for u in record.utterances}
    numbers = {each.id: each.number for each in record.findings}
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for each in record.findings:
        finding, verdict = each.finding, each.verdict
        utterance = said.get(each.utterance_id or "")
        quantity = finding.quantity
        gate = verdict.gate if verdict else None
        limit = gate.limit if gate else None
        value, high = (quantity.value, quantity.high) if quantity else (None, None)
        printed = limit.value if limit else None
        later = numbers.get(each.superseded_by or "")
        writer.writerow(
            _guarded(cell)
            for cell in (
                record.inspection.number,
                record.vehicle.name,
                each.number,
                instant_text(utterance.said_at if utterance else each.made_at),
                systems.get(finding.component, "other"),
                finding.component,
                finding.position,
                finding.characteristic,
                *(_parts(value)),
                *(_parts(high)),
                quantity.unit if quantity else None,
                quantity.qualifier.value if quantity and quantity.qualifier else None,
                " ".join(f"{r.value.numerator}/{r.value.denominator}" for r in finding.readings),
                finding.condition,
                finding.code,
                utterance.text if utterance else finding.words,
                verdict.state.value if verdict else None,
                verdict.severity.value if verdict and verdict.severity else None,
                *(_parts(printed)),
                limit.unit if limit else None,
                limit.relation if limit else None,
                limit.source if limit else None,
                limit.status.value if limit else None,
                float(gate.margin) if gate and gate.margin is not None else None,
                "yes" if each.stands else "withdrawn" if each.withdrawn else "corrected",
                later,
                " ".join(photos.get(each.id, ())),
                " ".join(
                    part
                    for part, later in (
                        ("made", each.made_after_signature),
                        ("fallen", each.fallen_after_signature),
                    )
                    if later
                ),
                " ".join(verdict.cautions) if verdict else None,
            )
        )
    return buffer.getvalue()


def _parts(value: Any) -> tuple[int | None, int | None]:
    return (None, None) if value is None else (value.numerator, value.denominator)


def _guarded(cell: object) -> object:
    if isinstance(cell, str) and cell[:1] in {"=", "+", "-", "@", "\t", "\r"}:
        return f"'{cell}"
    return "" if cell is None else cell
