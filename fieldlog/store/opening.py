"""ReadOnward one inspection: all its rows in a fixed number of queries, none per finding."""

from __future__ import annotations

from bisect import insort
from collections import defaultdict
from collections.abc import Iterator, Set
from dataclasses import replace

from fieldlog.model.hearing import Hypothesis
from fieldlog.model.limit import Limit
from fieldlog.model.verdict import Judgement, Verdict
from fieldlog.store import places
from fieldlog.store.cells import taken
from fieldlog.store.chain import digest, seen_from
from fieldlog.store.queries import corrections, finding_from, inspection_of, rows_of, vehicle
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
    limit_from,
    quantity_from,
)
from fieldlog.store.sql import Read, Rows, Tables
from fieldlog.store.standing import WhatStands


class ReadOnward:
    """One inspection as it was read last: reading it again reads the rows that came since, and no other.

    Rows of the record are only ever added, and one that is added here comes behind all that are there. Where it did
    not (records were merged), the number of rows does not come out, and all is read anew.
    """

    def __init__(self, id: str) -> None:
        """Of the inspection ``id``; nothing was read yet."""
        self.id = id
        self._forget()

    def _forget(self) -> None:
        self._rows: list[Read] = []
        self._hashes: list[bytes] = []
        self._utterances: list[Utterance] = []
        self._findings: dict[str, RecordedFinding] = {}
        self._came = WhatStands(())
        self._uncovered: tuple[str, ...] = ()
        self._remarks: list[Read] = []
        self._marks: list[Mark] = []
        self._photos: list[Read] = []
        self._attachments: list[Read] = []
        self._clocks: dict[str, CameraClock] = {}
        self._events: list[Event] = []
        self._signatures: set[str] = set()
        self._noted: set[str] = set()
        self._reviews: list[Review] = []
        self._record: InspectionRecord | None = None

    def record(self, connection: Tables, row: Read) -> InspectionRecord:
        """Everything kept of it, within an open transaction; the same object where nothing came since.

        ``row``: of the inspection as it is now.
        """
        of_vehicle = vehicle(connection, row["vehicle_id"])
        new = self._came_since(connection)
        if new or self._record is None:
            self._take(connection, new)
        head, known = inspection_of(row, len(self._came.fallen)), self._record
        heads = (head, of_vehicle)
        if not new and known is not None and (known.inspection, known.vehicle) == heads:
            return known
        self._record = InspectionRecord(
            inspection=head,
            vehicle=of_vehicle,
            utterances=tuple(self._utterances),
            findings=tuple(self._findings.values()),
            remarks=self._standing_remarks(),
            marks=tuple(self._marks),
            photos=_photos(self._photos, self._attachments),
            clocks=tuple(self._clocks.values()),
            events=tuple(self._events),
            reviews=tuple(self._reviews),
            fingerprint=digest(*self._hashes).hex(),
            rows=len(self._rows),
            uncovered=self._uncovered,
        )
        return self._record

    def _came_since(self, connection: Tables) -> Rows:
        sql = (
            "SELECT id, kind, hash, turn FROM record WHERE owner = ? AND turn > ? ORDER BY turn, id"
        )
        last = self._rows[-1]["turn"] if self._rows else -1
        new = rows_of(connection, sql, self.id, last)
        of_all = not self._rows
        whole = len(self._rows) + len(new) == places.rows_of_owner(connection, self.id)
        if whole and (of_all or len(new) <= _FEW):
            return new
        self._forget()
        return rows_of(connection, sql, self.id, -1)

    def _take(self, connection: Tables, new: Rows) -> None:
        of = _Which(self.id, None if not self._rows else new)
        self._rows += new
        for row in new:
            insort(self._hashes, row["hash"])
        events = _in_order(connection, "event", of)
        self._events += (taken(Event, row) for row in events)
        self._signatures |= {row["id"] for row in events if row["name"] == EventName.SIGNED_OFF}
        self._noted |= {row["id"] for row in events if row["name"] == EventName.CHECKPOINT}
        left = _uncovered(connection, self._rows, self._signatures)
        before, self._uncovered = (
            self._uncovered,
            tuple(name for name in left if name not in self._noted),
        )
        self._utterances += _utterances(connection, of)
        self._judge_anew(connection, of, frozenset(before) ^ frozenset(self._uncovered))
        self._remarks += _in_order(connection, "remark", of)
        self._marks += (taken(Mark, row) for row in _in_order(connection, "mark", of))
        self._photos += _in_order(connection, "photo", of)
        self._attachments += _in_order(connection, "attachment", of)
        for row in _in_order(connection, "camera_clock", of):
            self._clocks[row["camera"]] = taken(CameraClock, row)
        self._reviews += map(_review, _in_order(connection, "review", of))

    def _judge_anew(self, connection: Tables, of: _Which, changed: Set[str]) -> None:
        """Take new findings, and of the others what came of those that were judged or corrected since.

        ``changed``: ids of rows of which a signature is told otherwise now.
        """
        verdicts = _verdicts(connection, of)
        made = [*_findings(connection, of)]
        touched = {*verdicts, *changed, *(each.id for each in made)}
        if of.has("correction"):
            where, values = of.where("c", "correction")
            touched |= self._came.take(corrections(connection, f"WHERE {where} ", *values)[0])
        uncovered, came = frozenset(self._uncovered), self._came
        signed = came
        if uncovered:
            signed = WhatStands([one for one in came.corrections if one.id not in uncovered])
        if uncovered or changed:  # signed again, what fell before that is covered
            touched |= came.touched
        self._findings |= {each.id: each for each in made}
        for name in touched & self._findings.keys():
            known, fallen = self._findings[name], came.fallen.get(name)
            self._findings[name] = replace(
                known,
                verdict=verdicts.get(name, known.verdict),
                superseded_by=fallen.superseded_by if fallen else None,
                supersedes=came.supersedes.get(name),
                withdrawn=fallen is not None and fallen.superseded_by is None,
                reason=fallen.reason if fallen else "",
                rivals=came.rivals.get(name, ()),
                withdrawn_elsewhere=name in came.kept,
                made_after_signature=name in uncovered,
                fallen_after_signature=fallen != signed.fallen.get(name),
            )

    def _standing_remarks(self) -> tuple[Remark, ...]:
        gone = {
            each.data.get("remark", "")
            for each in self._events
            if each.name == EventName.REMARK_TAKEN_BACK
        }
        return tuple(taken(Remark, row, taken_back=row["id"] in gone) for row in self._remarks)


class _Which:
    """Rows of an inspection: all, or those alone that came since."""

    def __init__(self, id: str, new: Rows | None) -> None:
        self._id = id
        self._new: dict[str, list[str]] | None = None
        if new is not None:
            self._new = defaultdict(list)
            for row in new:
                self._new[row["kind"]].append(row["id"])

    def has(self, kind: str) -> bool:
        """Whether there may be rows of that kind."""
        return self._new is None or kind in self._new

    def where(self, alias: str, kind: str) -> tuple[str, tuple[str, ...]]:
        """The condition that a row of ``kind``, called ``alias``, is one of them, and its values."""
        if self._new is None:
            return f"{alias}.inspection_id = ?", (self._id,)
        names = tuple(self._new[kind])
        return f"{alias}.id IN ({', '.join('?' * len(names))})", names


_FEW = 200
"""Up to so many rows are asked for by their ids; where more came, all is read anew."""


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


def _in_order(connection: Tables, table: str, of: _Which) -> Rows:
    if not of.has(table):
        return []
    where, values = of.where("t", table)
    return rows_of(
        connection,
        f"SELECT t.*, r.made_at, r.turn FROM {table} t JOIN record r ON r.id = t.id "
        f"WHERE {where} ORDER BY r.turn, r.id",
        *values,
    )


def _parts(connection: Tables, table: str, parent: str, of: _Which) -> dict[str, Rows]:
    """The parts of rows of ``parent`` in ``table``, by the id of the row they are of."""
    found: dict[str, Rows] = defaultdict(list)
    if of.has(parent):
        where, values = of.where("p", parent)
        sql = (
            f"SELECT x.* FROM {parent} p JOIN {table} x ON x.{parent}_id = p.id "
            f"WHERE {where} ORDER BY x.{parent}_id, x.rank"
        )
        for row in rows_of(connection, sql, *values):
            found[row[f"{parent}_id"]].append(row)
    return found


def _utterances(connection: Tables, of: _Which) -> Iterator[Utterance]:
    heard = _parts(connection, "hypothesis", "utterance", of)
    words = _parts(connection, "word", "utterance", of)
    said = _parts(connection, "stretch", "utterance", of)
    for row in _in_order(connection, "utterance", of):
        id = row["id"]
        flags, asked = flags_from(row["flags"])
        yield taken(
            Utterance,
            row,
            number=row["local_number"],
            flags=flags,
            hypotheses=tuple(map(_hypothesis, heard.get(id, ()))),
            asked=asked,
            stretches=tuple(
                Stretch(one["start_s"], one["end_s"], one["part"]) for one in said.get(id, ())
            ),
            words=tuple((one["start_s"], one["end_s"]) for one in words.get(id, ())),
        )


def _hypothesis(row: Read) -> tuple[str, Hypothesis]:
    score = float("-inf") if row["score"] is None else row["score"]
    return row["listener"], Hypothesis(row["text"], score, evidence_from(row["evidence"]))


def _findings(connection: Tables, of: _Which) -> Iterator[RecordedFinding]:
    """Findings as they were made; what came of them is not in them yet."""
    readings = _parts(connection, "reading", "finding", of)
    for row in _in_order(connection, "finding", of):
        yield RecordedFinding(
            id=row["id"],
            number=row["local_number"],
            made_at=instant_from(row["made_at"]),
            finding=finding_from(row, map(quantity_from, readings.get(row["id"], ()))),
            verdict=None,
            utterance_id=row["utterance_id"],
            turn=row["turn"],
        )


def _verdicts(connection: Tables, of: _Which) -> dict[str, Verdict]:
    """The newest verdict among them of each finding (id) that has one."""
    judged: dict[str, Rows] = defaultdict(list)
    if of.has("verdict"):
        where, values = of.where("v", "verdict")
        sql = (
            "SELECT j.*, t.text FROM verdict v JOIN judgement j ON j.verdict_id = v.id "
            "JOIN limit_text t ON t.sha256 = j.limit_sha256 "
            f"WHERE {where} ORDER BY j.verdict_id, j.rank"
        )
        for row in rows_of(connection, sql, *values):
            judged[row["verdict_id"]].append(row)
    limits: dict[str, Limit] = {}
    newest: dict[str, Verdict] = {}
    for row in _in_order(connection, "verdict", of):
        gate, others = None, []
        for part in judged.get(row["id"], ()):
            key = part["limit_sha256"]
            if key not in limits:
                limits[key] = limit_from(part["text"])
            judgement = taken(Judgement, part, limit=limits[key])
            if part["gates"]:
                gate = judgement
            else:
                others.append(judgement)
        newest[row["finding_id"]] = taken(Verdict, row, gate=gate, others=tuple(others))
    return newest


def _photos(rows: Rows, attachments: Rows) -> tuple[Photo, ...]:
    """One photo for each original; two copies of the record may each have brought it in."""
    first: dict[str, str] = {}
    for row in rows:
        first.setdefault(row["media"], row["id"])
    same = {row["id"]: first[row["media"]] for row in rows}
    placed = {
        whose: taken(Attachment, row, photo_id=whose)
        for row in attachments
        for whose in (same.get(row["photo_id"], row["photo_id"]),)
    }
    return tuple(
        taken(Photo, row, attachment=placed.get(row["id"]))
        for row in rows
        if same[row["id"]] == row["id"]
    )


def sampled(connection: Tables) -> tuple[Review, ...]:
    """Decisions of the blind sample of every inspection, and what was taken back, oldest first."""
    rows = rows_of(
        connection,
        "SELECT t.*, r.made_at, r.turn FROM review t JOIN record r ON r.id = t.id "
        "WHERE t.sampled = 1 OR t.undoes IS NOT NULL ORDER BY r.turn, r.id",
    )
    return tuple(_review(row) for row in rows)


def _review(row: Read) -> Review:
    return taken(Review, row, decided=Decided(row["outcome"]))
