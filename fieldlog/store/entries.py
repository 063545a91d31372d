"""The rows of the record by kind: what a session says, as rows to be kept (pure)."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.limit import Limit
from fieldlog.model.verdict import Verdict
from fieldlog.store.base import NewRow
from fieldlog.store.cells import cells
from fieldlog.store.chain import Cell, Row
from fieldlog.store.kept_question import KeptQuestion
from fieldlog.store.records import CameraClock, NewAttachment, NewEvent, NewPhoto, NewUtterance
from fieldlog.store.reviews import NewReview
from fieldlog.store.rows import (
    finite,
    flags_cell,
    instant_us,
    limit_text,
    quantity_columns,
    to_json,
)

LOG = "log "
"""Rows of ``vehicle_fact`` whose key begins so are entries of the vehicle's log (JSON), no facts."""
NAMED = "named"
"""The entry of the log that gives a vehicle a new name."""


def vehicle(id: str, name: str) -> NewRow:
    """A machine."""
    return NewRow("vehicle", id, id, {"name": name})


def fact(id: str, vehicle_id: str, key: str, value: str) -> NewRow:
    """A value of one fact of a vehicle; the newest rules."""
    return NewRow(
        "vehicle_fact", id, vehicle_id, {"vehicle_id": vehicle_id, "key": key, "value": value}
    )


def own_limit(id: str, vehicle_id: str, limit_id: str, limit: Limit | None) -> NewRow:
    """A limit of a vehicle's own; None: it no longer counts."""
    sha256, texts = None, {}
    if limit is not None:
        sha256, text = limit_text(limit)
        texts[sha256] = text
    columns: Row = {"vehicle_id": vehicle_id, "limit_id": limit_id, "limit_sha256": sha256}
    return NewRow("vehicle_limit", id, vehicle_id, columns, limits=texts)


def odometer(
    id: str, vehicle_id: str, distance: Quantity, read_at: datetime, inspection_id: str | None
) -> NewRow:
    """A reading of the distance done; it belongs to the vehicle."""
    columns: Row = {
        "vehicle_id": vehicle_id,
        "inspection_id": inspection_id,
        "read_at": instant_us(read_at),
        **quantity_columns(distance),
    }
    return NewRow("odometer", id, vehicle_id, columns)


def inspection(
    id: str,
    vehicle_id: str,
    *,
    started_at: datetime,
    zone: str,
    inspector: str,
    place: str,
    jurisdiction: str | None,
    settings: Mapping[str, str],
    program: str,
    language: str | None = None,
) -> NewRow:
    """The head of an inspection. ``language``: ISO 639-1; None for the reference language."""
    columns: Row = {
        "vehicle_id": vehicle_id,
        "started_at": instant_us(started_at),
        "zone": zone,
        "inspector": inspector,
        "place": place,
        "jurisdiction": jurisdiction,
        "settings": to_json(dict(settings)),
        "program": program,
        "language": language,
    }
    return NewRow("inspection", id, id, columns)


def utterance(id: str, inspection_id: str, new: NewUtterance) -> NewRow:
    """One utterance with every hypothesis, and where in it what was said."""
    u = new.understanding
    hypotheses: list[Row] = []
    for hearing in new.hearings:
        hypotheses += [
            {
                "utterance_id": id,
                "rank": len(hypotheses) + offset,
                "listener": hearing.listener,
                "text": h.text,
                "score": finite(h.score),
                "evidence": to_json(dict(h.evidence)),
            }
            for offset, h in enumerate(hearing.hypotheses)
        ]
    first = new.hearings[0] if new.hearings else None
    columns: dict[str, Cell] = {
        "inspection_id": inspection_id,
        "said_at": instant_us(new.said_at),
        "start_s": float(new.start_s),
        "end_s": float(new.end_s),
        "source": new.source,
        "clip": new.clip,
        "listener": first.listener if first else "typed",
        "model": new.model,
        "grammar": new.grammar,
        "latency_ms": finite(first.latency_ms) if first else None,
        "decision": u.decision.value,
        "kind": u.kind.value,
        "reason": u.reason,
        "text": u.text,
        "question": u.question_text,
        "dialogue": u.dialogue,
        "flags": flags_cell(u.flags, KeptQuestion.of(u)),
        "answers": new.answers,
    }
    stretches: list[Row] = [
        {
            "utterance_id": id,
            "rank": rank,
            "start_s": float(each.start_s),
            "end_s": float(each.end_s),
            "part": each.part,
        }
        for rank, each in enumerate(new.stretches)
    ]
    words: list[Row] = [
        {"utterance_id": id, "rank": rank, "start_s": float(begin), "end_s": float(end)}
        for rank, (begin, end) in enumerate(new.words)
    ]
    children = {"hypothesis": hypotheses, "stretch": stretches, "word": words}
    return NewRow("utterance", id, inspection_id, columns, children)


def finding(id: str, inspection_id: str, found: Finding, utterance_id: str | None) -> NewRow:
    """One finding with its readings."""
    columns: Row = {
        "inspection_id": inspection_id,
        "utterance_id": utterance_id,
        "component": found.component,
        "position": found.position,
        "characteristic": found.characteristic,
        "condition": found.condition,
        "code": found.code,
        "words": found.words,
        "given": to_json([list(pair) for pair in found.given]) if found.given else None,
        **quantity_columns(found.quantity),
    }
    readings: list[Row] = [
        {"finding_id": id, "rank": rank, **quantity_columns(reading)}
        for rank, reading in enumerate(found.readings)
    ]
    return NewRow("finding", id, inspection_id, columns, {"reading": readings})


def verdict(id: str, inspection_id: str, finding_id: str, given: Verdict) -> NewRow:
    """A verdict with a snapshot of every limit it was judged by."""
    judgements = [(given.gate, True)] if given.gate else []
    judgements += [(other, False) for other in given.others]
    texts: dict[str, str] = {}
    rows: list[Row] = []
    for rank, (judgement, gates) in enumerate(judgements):
        sha256, text = limit_text(judgement.limit)
        texts[sha256] = text
        row: Row = {"verdict_id": id, "rank": rank, "gates": int(gates), "limit_sha256": sha256}
        rows.append({**row, **cells(judgement, "limit")})
    columns: Row = {
        "inspection_id": inspection_id,
        "finding_id": finding_id,
        **cells(given, "gate", "others"),
    }
    return NewRow("verdict", id, inspection_id, columns, {"judgement": rows}, texts)


def correction(
    id: str,
    inspection_id: str,
    finding_id: str,
    replacement_id: str | None,
    reason: str,
    made_by: str,
) -> NewRow:
    """A finding is superseded, or withdrawn when there is no replacement."""
    columns: Row = {
        "finding_id": finding_id,
        "replacement_id": replacement_id,
        "reason": reason,
        "made_by": made_by,
    }
    return _part("correction", id, inspection_id, columns)


def remark(
    id: str, inspection_id: str, text: str, utterance_id: str | None, finding_id: str | None = None
) -> NewRow:
    """Free speech, of a finding where it was put to one."""
    columns: Row = {"utterance_id": utterance_id, "text": text, "finding_id": finding_id}
    return _part("remark", id, inspection_id, columns)


def mark(
    id: str,
    inspection_id: str,
    name: str,
    at: datetime,
    utterance_id: str | None,
    finding_id: str | None,
) -> NewRow:
    """An instant on the session clock."""
    columns: Row = {"utterance_id": utterance_id, "finding_id": finding_id, "name": name}
    return _part("mark", id, inspection_id, {**columns, "at": instant_us(at)})


def event(id: str, inspection_id: str, happened: NewEvent, at: datetime) -> NewRow:
    """Something that happened."""
    return _part("event", id, inspection_id, {**cells(happened), "at": instant_us(at)})


def review(id: str, inspection_id: str, new: NewReview, finding_id: str | None) -> NewRow:
    """What somebody decided who went through the inspection; ``finding_id``: what stands now."""
    columns: Row = {**cells(new, "decided"), "outcome": new.decided.value, "finding_id": finding_id}
    return _part("review", id, inspection_id, columns)


def photo(id: str, inspection_id: str, new: NewPhoto) -> NewRow:
    """A photo; the store keeps one row for each original of an inspection."""
    return _part("photo", id, inspection_id, cells(new))


def attachment(id: str, inspection_id: str, new: NewAttachment) -> NewRow:
    """Where a photo belongs; the newest rules."""
    return _part("attachment", id, inspection_id, cells(new))


def camera_clock(
    id: str,
    inspection_id: str,
    camera: str,
    offset_s: float | None,
    uncertainty_s: float | None,
    how: str,
    evidence: Mapping[str, str],
) -> NewRow:
    """Offset of a camera's clock; the newest rules."""
    clock = CameraClock(id, camera, finite(offset_s), finite(uncertainty_s), how, evidence)
    return _part("camera_clock", id, inspection_id, cells(clock, "id"))


def _part(kind: str, id: str, inspection_id: str, columns: Row) -> NewRow:
    """A row of an inspection that names it."""
    return NewRow(kind, id, inspection_id, {"inspection_id": inspection_id, **columns})
