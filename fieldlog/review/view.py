"""What the page of the reviewer shows, as JSON values (pure)."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Any

from fieldlog.limits.cautions import worst_first
from fieldlog.model.finding import Finding
from fieldlog.model.understanding import Decision, Kind
from fieldlog.model.verdict import Verdict
from fieldlog.report.gauge import gauge
from fieldlog.report.lines import NOT_COVERED, limit_lines, zone_of
from fieldlog.review.deciding import Offered, Weighed, ordered
from fieldlog.review.exchanges import Exchange, remarks_of
from fieldlog.review.sample import FEWEST, Statement, drawn
from fieldlog.store.records import EventName, InspectionRecord, Photo, RecordedFinding, Utterance
from fieldlog.words import english, tell
from fieldlog.words import review as words

Json = dict[str, Any]
JudgedAs = Callable[[Finding], Verdict]


@dataclass(frozen=True, slots=True)
class Sheet:
    """One inspection as it is gone through."""

    record: InspectionRecord
    weighed: tuple[Weighed, ...]
    statement: Statement

    @property
    def queue(self) -> tuple[Weighed, ...]:
        """What needs a decision by its rank, then what was drawn and is not decided."""
        return (*ordered(self.weighed), *(each for each in self.weighed if is_blind(each)))

    def find(self, name: str) -> Weighed | None:
        """The exchange or photo of that id."""
        return next((each for each in self.weighed if name_of(each) == name), None)

    def shown(self) -> Json:
        """Head, counts, statement, and one line for each thing."""
        queue = self.queue
        first = {name_of(each) for each in queue}
        rest = [each for each in self.weighed if name_of(each) not in first]
        head, told = self.record.inspection, self.statement
        return {
            "inspection": head.number,
            "vehicle": {"number": self.record.vehicle.number, "name": self.record.vehicle.name},
            "date": f"{_local(self, head.started_at):%Y-%m-%d}",
            "inspector": head.inspector,
            "signed": [e.text for e in self.record.events if e.name == EventName.SIGNED_OFF],
            "uncovered": len(self.record.uncovered),
            "items": [self.line(each) for each in (*queue, *rest)],
            "findings": [
                {"number": each.number, "subject": tell.subject(each.finding)}
                for each in self.record.findings
                if each.stands
            ],
            "statement": words.stated(told.looked_at, told.wrong, FEWEST, told.at_most),
        }

    def line(self, one: Weighed) -> Json:
        """One thing in the list: what it is, why it is asked, what stands of it."""
        blind = is_blind(one)
        found: Json = {
            "id": name_of(one),
            "group": "decide" if one.need else "blind" if blind else "rest",
            "need": words.needed(one.need) if one.need else words.BLIND if blind else "",
        }
        if one.photo is not None:
            return found | {"when": "", "at": None, "title": one.photo.file, "state": "photo"}
        exchange = one.exchange
        assert exchange is not None
        first, standing = exchange.first, exchange.standing
        at = first.said_at if first is not None else exchange.findings[0].made_at
        decided = exchange.decided
        verdict = _worst(standing)
        return found | {
            "when": f"{_local(self, at):%H:%M:%S}",
            "at": (at - self.record.inspection.started_at).total_seconds(),
            "title": "" if blind else _title(exchange),
            "state": "" if blind else str(verdict.state) if verdict else "not judged",
            "severity": "" if blind else tell.severity(verdict),
            "decided": words.decided(decided.decided, decided.reviewer) if decided else "",
            "now": _now(exchange),
            "later": bool(self._later(exchange)),
        }

    def _later(self, exchange: Exchange) -> frozenset[str]:
        """Ids of what no signature covers of an exchange."""
        own = {each.id for each in exchange.said} | {each.id for each in exchange.findings}
        own |= {each.id for each in exchange.reviews}
        own |= {each.id for each in remarks_of(self.record, exchange)}
        fallen = {each.id for each in exchange.findings if each.fallen_after_signature}
        return frozenset(own & set(self.record.uncovered) | fallen)

    def item(self, one: Weighed, offered: Sequence[Offered], judged: JudgedAs) -> Json:
        """One thing in full. What was drawn blind tells nothing of what was taken."""
        if one.photo is not None:
            return self.line(one) | {"photos": [photo(one.photo)]}
        exchange = one.exchange
        assert exchange is not None
        blind = is_blind(one)
        later = self._later(exchange)
        standing = {each.finding.meaning for each in exchange.standing}
        choices = [
            {
                "mark": each.mark,
                "text": each.text,
                "told": [tell.finding(found) for found in each.findings] or [str(each.command)],
                "taken": not blind
                and bool(each.findings)
                and {found.meaning for found in each.findings} == standing,
                "verdicts": []
                if blind
                else [
                    {"state": str(v.state), "severity": tell.severity(v)}
                    for v in map(judged, each.findings)
                ],
                "command": each.command is not None,
            }
            for each in (sorted(offered, key=lambda each: each.mark) if blind else offered)
        ]
        return self.line(one) | {
            "seen": exchange.state,
            "blind": blind,
            "said": [_said(each, blind) for each in exchange.said],
            "offers": choices,
            "findings": [] if blind else [finding(each) for each in exchange.standing],
            "fallen": [] if blind else [_fallen(each) for each in exchange.findings if not each.stands],
            "photos": [] if blind else [photo(each) for each in exchange.photos],
            "reviews": [
                {"told": words.decided(each.decided, each.reviewer),
                 "when": f"{_local(self, each.made_at):%Y-%m-%d %H:%M}",
                 "note": NOT_COVERED if each.id in later else ""}
                for each in exchange.reviews
            ],
            "remarks": [
                {"id": each.id, "text": each.text, "gone": each.taken_back,
                 "note": NOT_COVERED if each.id in self.record.uncovered else ""}
                for each in remarks_of(self.record, exchange)
            ],
        }  # fmt: skip


def is_blind(one: Weighed) -> bool:
    """Whether it is shown without what was taken: drawn, and nobody decided yet."""
    exchange = one.exchange
    return (
        one.need is None and exchange is not None and exchange.decided is None and drawn(exchange)
    )


def name_of(one: Weighed) -> str:
    """The id by which it is asked for."""
    if one.photo is not None:
        return one.photo.id
    assert one.exchange is not None
    return one.exchange.id


def finding(kept: RecordedFinding) -> Json:
    """A finding with its verdict and all limits that apply."""
    verdict = kept.verdict
    ruler = gauge(verdict.gate) if verdict and verdict.gate else None
    return {
        "number": kept.number,
        "subject": tell.subject(kept.finding),
        "value": tell.value(kept.finding),
        "state": str(verdict.state) if verdict else "not judged",
        "severity": tell.severity(verdict),
        "reason": verdict.reason if verdict else "no limit was held against it",
        "limits": [asdict(each) for each in limit_lines(verdict, kept.finding.quantity)],
        "gauge": asdict(ruler) | {"allowed": ruler.allowed} if ruler else None,
        "cautions": list(verdict.cautions) if verdict else [],
        "note": NOT_COVERED if kept.made_after_signature else "",
    }


def photo(one: Photo) -> Json:
    """A photo with the reason it is where it is."""
    at = one.attachment
    return {
        "id": one.id,
        "media": one.media,
        "file": one.file,
        "problem": one.problem or "",
        "reason": at.reason if at else "no finding fits its time",
        "attachment": at.id if at else None,
    }


def _said(one: Utterance, blind: bool) -> Json:
    begin = one.start_s
    told = [] if blind else one.text.split()
    known = len(told) == len(one.words)
    return {
        "id": one.id,
        "typed": one.clip is None,
        "clip": one.clip,
        "seconds": round(max(0.0, one.end_s - begin), 3),
        "text": "" if blind else one.text,
        "words": [
            {"text": text, "from": _within(at[0] - begin), "to": _within(at[1] - begin)}
            for text, at in (zip(told, one.words, strict=True) if known else ())
        ],
        "parts": []
        if blind
        else [
            {"from": _within(each.start_s - begin), "to": _within(each.end_s - begin), "part": each.part}
            for each in one.stretches
        ],
        "question": "" if blind else one.question,
        "reason": "" if blind or one.decision is Decision.ACCEPT else one.reason,
        "flags": [] if blind else [english.flag(each) for each in one.flags if each != "answered"],
    }  # fmt: skip


def _within(seconds: float) -> float:
    return round(max(0.0, seconds), 3)


def _fallen(kept: RecordedFinding) -> Json:
    how = "withdrawn" if kept.withdrawn else "corrected"
    return {"number": kept.number, "told": tell.finding(kept.finding), "how": how,
            "reason": kept.reason, "note": NOT_COVERED if kept.fallen_after_signature else ""}  # fmt: skip


def _title(exchange: Exchange) -> str:
    standing = exchange.standing
    if standing:
        return words.several(tell.finding(standing[0].finding), len(standing) - 1)
    first = exchange.first
    if first is None:
        return tell.finding(exchange.findings[-1].finding)
    if first.decision is Decision.ASK:
        return first.question or first.text
    if first.kind in (Kind.DIALOGUE, Kind.REMARK) or exchange.findings:
        return first.text
    return f"({first.text})" if first.text else "(not understood)"


def _now(exchange: Exchange) -> str:
    """Another text where anything that is shown of it in full may be another."""
    told = [
        (v.state, v.severity, v.reason, len(v.others), v.gate.margin if v.gate else None)
        for v in (each.verdict for each in exchange.standing)
        if v is not None
    ]
    return f"{exchange.state}{zlib.crc32(repr(told).encode()):08x}"


def _worst(standing: Sequence[RecordedFinding]) -> Verdict | None:
    judged = [each.verdict for each in standing if each.verdict is not None]
    return min(judged, key=worst_first, default=None)


def _local(sheet: Sheet, at: datetime) -> datetime:
    return at.astimezone(zone_of(sheet.record.inspection.zone) or UTC)
