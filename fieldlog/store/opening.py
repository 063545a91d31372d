"""Opening one inspection: all its rows in a fixed number of queries, none per finding."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Set
from types import MappingProxyType
from typing import Any

from fieldlog.model.hearing import Hypothesis
from fieldlog.model.limit import Limit
from fieldlog.model.state import Severity, State
from fieldlog.model.understanding import Decision, Kind
from fieldlog.model.verdict import Verdict
from fieldlog.store import places, queries
from fieldlog.store.chain import fingerprint, seen_from
from fieldlog.store.queries import corrections, finding_from, inspection, rows_of, vehicle
from fieldlog.store.records import (
    Attachment,
    CameraClock,
    Event,
    EventName,
    InspectionRecord,
    Mark,
    Photo,
    RecordedFinding,
    Remark,
    Stretch,
    Utterance,
)
from fieldlog.store.reviews import Decided, Review
from fieldlog.store.rows import (
    evidence_from,
    flags_from,
    instant_from,
    judgement_from,
    limit_from,
    quantity_from,
    texts_from,
)
from fieldlog.store.sql import Read, Rows, Tables
from fieldlog.store.standing import standing


def inspection_record(connection: Tables, key: str) -> InspectionRecord:
    """Everything kept of one inspection."""
    head = inspection(connection, key)
    own = rows_of(
        connection, "SELECT id, hash, turn FROM record WHERE owner = ? ORDER BY turn, id", head.id
    )
    events = _in_order(connection, "event", head.id)
    signatures = {row["id"] for row in events if row["name"] == EventName.SIGNED_OFF}
    gone = queries.taken_back(events)
    noted = {row["id"] for row in events if row["name"] == EventName.CHECKPOINT}
    uncovered = tuple(name for name in _uncovered(connection, own, signatures) if name not in noted)
    return InspectionRecord(
        inspection=head,
        vehicle=vehicle(connection, head.vehicle_id),
        utterances=_utterances(connection, head.id),
        findings=_findings(connection, head.id, frozenset(uncovered)),
        remarks=tuple(
            Remark(
                row["id"],
                instant_from(row["made_at"]),
                row["text"],
                row["utterance_id"],
                row["finding_id"],
                row["id"] in gone,
            )
            for row in _in_order(connection, "remark", head.id)
        ),
        marks=tuple(
            Mark(
                row["id"],
                row["name"],
                instant_from(row["at"]),
                row["utterance_id"],
                row["finding_id"],
            )
            for row in _in_order(connection, "mark", head.id)
        ),
        photos=_photos(connection, head.id),
        clocks=_clocks(connection, head.id),
        events=tuple(
            Event(
                row["id"],
                row["name"],
                instant_from(row["at"]),
                row["text"],
                MappingProxyType(json.loads(row["data"])),
            )
            for row in events
        ),
        reviews=_reviews(connection, head.id),
        fingerprint=fingerprint(row["hash"] for row in own),
        rows=len(own),
        uncovered=uncovered,
    )


def _uncovered(connection: Tables, own: Rows, signatures: Set[str]) -> tuple[str, ...]:
    """Ids of an inspection's rows ``own`` that none of its ``signatures`` (ids) had seen."""
    signed = {row["hash"]: row["turn"] for row in own if row["id"] in signatures}
    if not signed:
        return ()
    # All of an inspection comes after its first row, so nothing older has to be gone through.
    between = places.newest_first(connection, own[0]["turn"], max(signed.values()))
    seen = seen_from(signed, between)
    return tuple(row["id"] for row in own if row["hash"] not in seen)


def covered_by(connection: Tables, owner: str, signature: str) -> tuple[bytes, ...]:
    """Hashes of an inspection's rows that the sign-off with that id had seen, itself among them."""
    own = rows_of(
        connection, "SELECT id, hash, turn FROM record WHERE owner = ? ORDER BY turn, id", owner
    )
    left = set(_uncovered(connection, own, {signature}))
    return tuple(row["hash"] for row in own if row["id"] not in left)


def _in_order(connection: Tables, table: str, inspection_id: str) -> Rows:
    return rows_of(
        connection,
        f"SELECT t.*, r.made_at FROM {table} t JOIN record r ON r.id = t.id "
        "WHERE t.inspection_id = ? ORDER BY r.turn, r.id",
        inspection_id,
    )


def _utterances(connection: Tables, inspection_id: str) -> tuple[Utterance, ...]:
    heard: dict[str, list[tuple[str, Hypothesis]]] = defaultdict(list)
    for row in rows_of(
        connection,
        "SELECT h.* FROM utterance u JOIN hypothesis h ON h.utterance_id = u.id "
        "WHERE u.inspection_id = ? ORDER BY h.utterance_id, h.rank",
        inspection_id,
    ):
        score = float("-inf") if row["score"] is None else row["score"]
        heard[row["utterance_id"]].append(
            (row["listener"], Hypothesis(row["text"], score, evidence_from(row["evidence"])))
        )
    words: dict[str, list[tuple[float, float]]] = defaultdict(list)
    for row in rows_of(
        connection,
        "SELECT w.* FROM utterance u JOIN word w ON w.utterance_id = u.id "
        "WHERE u.inspection_id = ? ORDER BY w.utterance_id, w.rank",
        inspection_id,
    ):
        words[row["utterance_id"]].append((row["start_s"], row["end_s"]))
    said: dict[str, list[Stretch]] = defaultdict(list)
    for row in rows_of(
        connection,
        "SELECT s.* FROM utterance u JOIN stretch s ON s.utterance_id = u.id "
        "WHERE u.inspection_id = ? ORDER BY s.utterance_id, s.rank",
        inspection_id,
    ):
        said[row["utterance_id"]].append(Stretch(row["start_s"], row["end_s"], row["part"]))
    return tuple(
        Utterance(
            id=row["id"],
            number=row["local_number"],
            said_at=instant_from(row["said_at"]),
            start_s=row["start_s"],
            end_s=row["end_s"],
            source=row["source"],
            clip=row["clip"],
            listener=row["listener"],
            model=row["model"],
            grammar=row["grammar"],
            latency_ms=row["latency_ms"],
            decision=Decision(row["decision"]),
            kind=Kind(row["kind"]),
            reason=row["reason"],
            text=row["text"],
            question=row["question"],
            dialogue=row["dialogue"],
            flags=flags,
            hypotheses=tuple(heard.get(row["id"], ())),
            answers=row["answers"],
            asked=asked,
            stretches=tuple(said.get(row["id"], ())),
            words=tuple(words.get(row["id"], ())),
        )
        for row in _in_order(connection, "utterance", inspection_id)
        for flags, asked in (flags_from(row["flags"]),)
    )


def _findings(
    connection: Tables, inspection_id: str, uncovered: Set[str]
) -> tuple[RecordedFinding, ...]:
    readings: dict[str, list[Any]] = defaultdict(list)
    for row in rows_of(
        connection,
        "SELECT x.* FROM finding f JOIN reading x ON x.finding_id = f.id "
        "WHERE f.inspection_id = ? ORDER BY x.finding_id, x.rank",
        inspection_id,
    ):
        readings[row["finding_id"]].append(quantity_from(row))
    verdicts = _verdicts(connection, inspection_id)
    made = corrections(connection, "WHERE i.id = ? ", inspection_id)[0]
    came = standing(made)
    signed = standing([each for each in made if each.id not in uncovered]) if uncovered else came
    found = []
    for row in _in_order(connection, "finding", inspection_id):
        fallen = came.fallen.get(row["id"])
        found.append(
            RecordedFinding(
                id=row["id"],
                number=row["local_number"],
                made_at=instant_from(row["made_at"]),
                finding=finding_from(row, readings.get(row["id"], ())),
                verdict=verdicts.get(row["id"]),
                utterance_id=row["utterance_id"],
                superseded_by=fallen.superseded_by if fallen else None,
                supersedes=came.supersedes.get(row["id"]),
                withdrawn=fallen is not None and fallen.superseded_by is None,
                reason=fallen.reason if fallen else "",
                rivals=came.rivals.get(row["id"], ()),
                withdrawn_elsewhere=row["id"] in came.kept,
                made_after_signature=row["id"] in uncovered,
                fallen_after_signature=fallen != signed.fallen.get(row["id"]),
            )
        )
    return tuple(found)


def _verdicts(connection: Tables, inspection_id: str) -> dict[str, Verdict]:
    judged: dict[str, list[Read]] = defaultdict(list)
    for row in rows_of(
        connection,
        "SELECT j.*, t.text FROM verdict v JOIN judgement j ON j.verdict_id = v.id "
        "JOIN limit_text t ON t.sha256 = j.limit_sha256 "
        "WHERE v.inspection_id = ? ORDER BY j.verdict_id, j.rank",
        inspection_id,
    ):
        judged[row["verdict_id"]].append(row)
    limits: dict[str, Limit] = {}
    newest: dict[str, Verdict] = {}
    for row in _in_order(connection, "verdict", inspection_id):
        gate, others = None, []
        for part in judged.get(row["id"], ()):
            key = part["limit_sha256"]
            if key not in limits:
                limits[key] = limit_from(part["text"])
            judgement = judgement_from(part, limits[key])
            if part["gates"]:
                gate = judgement
            else:
                others.append(judgement)
        newest[row["finding_id"]] = Verdict(
            state=State(row["state"]),
            gate=gate,
            others=tuple(others),
            severity=Severity(row["severity"]) if row["severity"] else None,
            reason=row["reason"],
            cautions=texts_from(row["cautions"]),
        )
    return newest


def _photos(connection: Tables, inspection_id: str) -> tuple[Photo, ...]:
    """One photo for each original; two copies of the record may each have brought it in."""
    rows = _in_order(connection, "photo", inspection_id)
    first: dict[str, str] = {}
    for row in rows:
        first.setdefault(row["media"], row["id"])
    same = {row["id"]: first[row["media"]] for row in rows}
    placed = {
        same.get(row["photo_id"], row["photo_id"]): Attachment(
            id=row["id"],
            photo_id=same.get(row["photo_id"], row["photo_id"]),
            finding_id=row["finding_id"],
            reason=row["reason"],
            gap_s=row["gap_s"],
            uncertainty_s=row["uncertainty_s"],
            candidates=tuple(json.loads(row["candidates"])),
        )
        for row in _in_order(connection, "attachment", inspection_id)
    }
    return tuple(
        Photo(
            id=row["id"],
            media=row["media"],
            file=row["file"],
            kind=row["kind"],
            capture_local=row["capture_local"],
            offset=row["offset"],
            utc=instant_from(row["utc"]) if row["utc"] is not None else None,
            camera=row["camera"],
            orientation=row["orientation"],
            problem=row["problem"],
            attachment=placed.get(row["id"]),
        )
        for row in rows
        if same[row["id"]] == row["id"]
    )


def _reviews(connection: Tables, inspection_id: str) -> tuple[Review, ...]:
    return tuple(_review(row) for row in _in_order(connection, "review", inspection_id))


def sampled(connection: Tables) -> tuple[Review, ...]:
    """Decisions of the blind sample of every inspection, and what was taken back, oldest first."""
    rows = rows_of(
        connection,
        "SELECT t.*, r.made_at FROM review t JOIN record r ON r.id = t.id "
        "WHERE t.sampled = 1 OR t.undoes IS NOT NULL ORDER BY r.turn, r.id",
    )
    return tuple(_review(row) for row in rows)


def _review(row: Read) -> Review:
    return Review(
        id=row["id"],
        made_at=instant_from(row["made_at"]),
        decided=Decided(row["outcome"]),
        reviewer=row["reviewer"],
        utterance_id=row["utterance_id"],
        photo_id=row["photo_id"],
        was=row["was"],
        finding_id=row["finding_id"],
        sampled=bool(row["sampled"]),
        note=row["note"],
        undoes=row["undoes"],
    )


def _clocks(connection: Tables, inspection_id: str) -> tuple[CameraClock, ...]:
    newest = {
        row["camera"]: CameraClock(
            id=row["id"],
            camera=row["camera"],
            offset_s=row["offset_s"],
            uncertainty_s=row["uncertainty_s"],
            how=row["how"],
            evidence=MappingProxyType(json.loads(row["evidence"])),
        )
        for row in _in_order(connection, "camera_clock", inspection_id)
    }
    return tuple(newest.values())
