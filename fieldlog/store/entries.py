"""The rows of the record by kind: what a session says, written through one transaction."""

from __future__ import annotations

from datetime import datetime

from fieldlog.errors import UsageError
from fieldlog.model import Finding, Limit, Quantity, Verdict
from fieldlog.store import queries
from fieldlog.store.chain import Cell, Row
from fieldlog.store.records import (
    NewAttachment,
    NewEntry,
    NewEvent,
    NewPhoto,
    NewUtterance,
    Saved,
)
from fieldlog.store.rows import (
    finite,
    instant_text,
    judgement_columns,
    limit_text,
    quantity_columns,
    to_json,
)
from fieldlog.store.writer import Writer, new_id


class Entries(Writer):
    """A ``Writer`` that knows what each kind of row holds."""

    def entry(self, inspection_id: str, new: NewEntry) -> Saved:
        """An utterance with all that follows; what an earlier try saved is not saved again."""
        said = new.utterance
        if said is not None and said.id is not None:
            known = queries.saved_before(self.connection, inspection_id, said.id)
            if known is not None:
                return known
        utterance_id = finding_id = number = verdict_id = remark_id = mark_id = None
        if said is not None:
            utterance_id = self.utterance(inspection_id, said)
        if new.finding is not None:
            finding_id, number = self.finding(inspection_id, new.finding, utterance_id)
            if new.verdict is not None:
                verdict_id = self.verdict(inspection_id, finding_id, new.verdict)
        if new.corrects is not None:
            self.correction(inspection_id, new.corrects, finding_id, new.reason, new.made_by)
        for changed, verdict in new.verdicts:
            self.verdict(inspection_id, changed, verdict)
        if new.remark is not None:
            remark_id = self.remark(inspection_id, new.remark, utterance_id)
        at = said.said_at if said is not None else self.now
        if new.mark is not None:
            about = finding_id or new.marks
            mark_id = self.mark(inspection_id, new.mark, at, utterance_id, about)
        for event in new.events:
            self.event(inspection_id, event, at)
        for attachment in new.attachments:
            self.attachment(inspection_id, attachment)
        return Saved(utterance_id, finding_id, number, verdict_id, remark_id, mark_id)

    def attachment(self, inspection_id: str, new: NewAttachment) -> str:
        """Add where a photo belongs; the newest rules."""
        return self.add(
            "attachment",
            {
                "inspection_id": inspection_id,
                "photo_id": new.photo_id,
                "finding_id": new.finding_id,
                "reason": new.reason,
                "gap_s": finite(new.gap_s),
                "uncertainty_s": finite(new.uncertainty_s),
                "candidates": to_json(list(new.candidates)),
            },
            chain=inspection_id,
        )

    def fact(self, vehicle_id: str, key: str, value: str) -> str:
        """Add a value of one fact of a vehicle; the newest rules."""
        return self.add(
            "vehicle_fact",
            {"vehicle_id": vehicle_id, "key": key, "value": value},
            chain=vehicle_id,
        )

    def verdict(self, inspection_id: str, finding_id: str, verdict: Verdict) -> str:
        """Add ``verdict`` with a snapshot of every limit it was judged by."""
        name = new_id(self.now)
        judgements = [(verdict.gate, True)] if verdict.gate else []
        judgements += [(other, False) for other in verdict.others]
        return self.add(
            "verdict",
            {
                "inspection_id": inspection_id,
                "finding_id": finding_id,
                "state": verdict.state.value,
                "severity": verdict.severity.value if verdict.severity else None,
                "reason": verdict.reason,
                "cautions": to_json(list(verdict.cautions)),
            },
            chain=inspection_id,
            id=name,
            children={
                "judgement": [
                    {
                        "verdict_id": name,
                        "rank": rank,
                        **judgement_columns(
                            judgement, gates=gates, limit_sha256=self.limit(judgement.limit)
                        ),
                    }
                    for rank, (judgement, gates) in enumerate(judgements)
                ]
            },
        )

    def limit(self, limit: Limit) -> str:
        """Keep the text of ``limit`` once; returns its SHA-256 (hex)."""
        sha256, text = limit_text(limit)
        self.connection.execute(
            "INSERT OR IGNORE INTO limit_text (sha256, text) VALUES (?, ?)", (sha256, text)
        )
        return sha256

    def odometer(
        self, vehicle_id: str, distance: Quantity, read_at: datetime, inspection_id: str | None
    ) -> str:
        """Add a reading of the distance done; it belongs to the vehicle's chain."""
        return self.add(
            "odometer",
            {
                "vehicle_id": vehicle_id,
                "inspection_id": inspection_id,
                "read_at": instant_text(read_at),
                **quantity_columns(distance),
            },
            chain=vehicle_id,
        )

    def utterance(self, inspection_id: str, new: NewUtterance) -> str:
        """Add one utterance with every hypothesis; returns its id."""
        name = new.id or new_id(self.now)
        u = new.understanding
        hypotheses: list[Row] = []
        for hearing in new.hearings:
            hypotheses += [
                {
                    "utterance_id": name,
                    "rank": len(hypotheses) + offset,
                    "listener": hearing.listener,
                    "text": h.text,
                    "score": finite(h.score),
                    "evidence": to_json(dict(h.evidence)),
                }
                for offset, h in enumerate(hearing.hypotheses)
            ]
        first = new.hearings[0] if new.hearings else None
        row: dict[str, Cell] = {
            "inspection_id": inspection_id,
            "number": self.next_number("utterance", inspection_id),
            "said_at": instant_text(new.said_at),
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
            "question": u.question,
            "dialogue": u.dialogue,
            "flags": to_json(list(u.flags)),
            "answers": new.answers,
        }
        return self.add(
            "utterance", row, chain=inspection_id, id=name, children={"hypothesis": hypotheses}
        )

    def finding(
        self, inspection_id: str, finding: Finding, utterance_id: str | None
    ) -> tuple[str, int]:
        """Add one finding with its readings; returns its id and number in the inspection."""
        name = new_id(self.now)
        number = self.next_number("finding", inspection_id)
        self.add(
            "finding",
            {
                "inspection_id": inspection_id,
                "number": number,
                "utterance_id": utterance_id,
                "component": finding.component,
                "position": finding.position,
                "characteristic": finding.characteristic,
                "condition": finding.condition,
                "code": finding.code,
                "words": finding.words,
                "given": to_json([list(pair) for pair in finding.given]) if finding.given else None,
                **quantity_columns(finding.quantity),
            },
            chain=inspection_id,
            id=name,
            children={
                "reading": [
                    {"finding_id": name, "rank": rank, **quantity_columns(reading)}
                    for rank, reading in enumerate(finding.readings)
                ]
            },
        )
        return name, number

    def correction(
        self,
        inspection_id: str,
        finding_id: str,
        replacement_id: str | None,
        reason: str,
        made_by: str,
    ) -> str:
        """Let a finding be superseded, or withdrawn when there is no replacement.

        Raises ``UsageError`` when it belongs elsewhere or no longer stands.
        """
        if self.inspection_of(finding_id) != inspection_id:
            raise UsageError(f"finding {finding_id} belongs to another inspection")
        if queries.is_superseded(self.connection, finding_id):
            raise UsageError(
                f"finding {finding_id} was already corrected or withdrawn",
                todo="correct the finding that replaced it",
            )
        return self.add(
            "correction",
            {
                "inspection_id": inspection_id,
                "finding_id": finding_id,
                "replacement_id": replacement_id,
                "reason": reason,
                "made_by": made_by,
            },
            chain=inspection_id,
        )

    def remark(self, inspection_id: str, text: str, utterance_id: str | None) -> str:
        """Add free speech; returns its id."""
        return self.add(
            "remark",
            {"inspection_id": inspection_id, "utterance_id": utterance_id, "text": text},
            chain=inspection_id,
        )

    def mark(
        self,
        inspection_id: str,
        name: str,
        at: datetime,
        utterance_id: str | None,
        finding_id: str | None,
    ) -> str:
        """Add an instant on the session clock; returns its id."""
        return self.add(
            "mark",
            {
                "inspection_id": inspection_id,
                "utterance_id": utterance_id,
                "finding_id": finding_id,
                "name": name,
                "at": instant_text(at),
            },
            chain=inspection_id,
        )

    def event(self, inspection_id: str, event: NewEvent, at: datetime) -> str:
        """Add something that happened; returns its id."""
        return self.add(
            "event",
            {
                "inspection_id": inspection_id,
                "name": event.name,
                "at": instant_text(at),
                "text": event.text,
                "data": to_json(dict(event.data)),
            },
            chain=inspection_id,
        )

    def photo(self, inspection_id: str, photo: NewPhoto) -> str:
        """Add a photo, unless the inspection has its original already; returns its id."""
        known = queries.photo_id(self.connection, inspection_id, photo.media)
        if known is not None:
            return known
        return self.add(
            "photo",
            {
                "inspection_id": inspection_id,
                "media": photo.media,
                "file": photo.file,
                "kind": photo.kind,
                "capture_local": photo.capture_local,
                "offset": photo.offset,
                "utc": instant_text(photo.utc) if photo.utc else None,
                "camera": photo.camera,
                "orientation": photo.orientation,
                "problem": photo.problem,
            },
            chain=inspection_id,
        )

    def inspection_of(self, finding_id: str) -> str:
        """Id of the inspection of a finding; raises ``UsageError`` when there is none."""
        found = queries.inspection_of_finding(self.connection, finding_id)
        if found is None:
            raise UsageError(f"there is no finding {finding_id}")
        return found
