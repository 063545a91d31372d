"""From the record of one inspection to what its report shows (pure: no file, no clock)."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, tzinfo
from typing import Any

from fieldlog.aftercare.checklist import Progress, left_text
from fieldlog.aftercare.conclusion import Conclusion, conclude
from fieldlog.aftercare.job_lines import JobLine, Judged, job_lines, shopping
from fieldlog.aftercare.plan import left_open, never_confirmed, progress_of
from fieldlog.aftercare.walk_list import NOT_FITTED
from fieldlog.language.answers import APART
from fieldlog.limits.cautions import DEFERS, RANK, cautions_of_work
from fieldlog.model.finding import Qualifier
from fieldlog.model.state import Severity
from fieldlog.model.understanding import Decision, Flag
from fieldlog.model.verdict import Verdict
from fieldlog.report.follows import follows_json
from fieldlog.report.gauge import gauge
from fieldlog.report.heading import fields_of, provenance
from fieldlog.report.lines import (
    NOT_AFFIRMED,
    NOT_COVERED,
    TAKEN_BACK,
    after_signature,
    best_guess,
    came_in,
    cross_check,
    due_row,
    limit_lines,
    needed,
    settles,
    tightening,
    zone_of,
)
from fieldlog.report.owner import owner_page
from fieldlog.report.surroundings import Surroundings, catalogue_walk
from fieldlog.report.trend_picture import trend_picture
from fieldlog.report.view_model import (
    ClipLine,
    CorrectionLine,
    DueRow,
    FindingRow,
    HeardLine,
    JobRow,
    PhotoCell,
    Report,
    Shown,
    SystemSection,
)
from fieldlog.store.affirmed import unaffirmed
from fieldlog.store.records import (
    InspectionRecord,
    Photo,
    RecordedFinding,
    Remark,
    Utterance,
)
from fieldlog.store.signatures import signatures
from fieldlog.words import english, review, tell
from fieldlog.words.telling import key, place, say

WORST_FIRST = tuple(Shown)
_SEVERITIES = ("dangerous", "major", "minor", "")


def build(record: InspectionRecord, around: Surroundings) -> Report:
    """Everything the report of ``record`` shows."""
    return _Builder(record, around).report()


def follow_up(record: InspectionRecord, around: Surroundings) -> dict[str, Any]:
    """What follows from ``record``, as JSON values: conclusion, jobs, due items, what is open."""
    return _Builder(record, around).followed()


def _urgency(row: FindingRow) -> tuple[bool, int]:
    """Beyond first, then what may be beyond, then what is near a limit, then what is open."""
    counts = row.state is Shown.UNDECIDED and bool(row.severity)
    return row.state is not Shown.BEYOND and not counts, WORST_FIRST.index(row.state)


class _Builder:
    def __init__(self, record: InspectionRecord, around: Surroundings) -> None:
        self.record, self.around = record, around
        zone = zone_of(record.inspection.zone)
        self.zone: tzinfo = zone or UTC
        self.zone_text = record.inspection.zone
        if zone is None:
            self.zone_text += " (not known here: times are UTC)"
        self.utterances = {each.id: each for each in record.utterances}
        self.findings = {each.id: each for each in record.findings}
        self.standing = [each for each in record.findings if each.stands]
        self.unaffirmed = {each.id for each in unaffirmed(record)}
        self.numbers = {each.id: each.number for each in record.findings}

    def report(self) -> Report:
        placed, unplaced = self._photos()
        rows = [self._finding(each, placed.get(each.id, ())) for each in self.standing]
        state = self._progress()
        conclusion = self._conclusion(state)
        sections = self._sections(rows, state)
        jobs, due = self._jobs(), self._due()
        verdicts = [each.verdict for each in self.standing if each.verdict]
        asked = [u for u in self.record.utterances if u.decision is Decision.ASK]
        head = self.record.inspection
        return Report(
            title=say("Inspection record"),
            card_number=f"{head.started_at.astimezone(self.zone):%Y-%m-%d} / {head.number}",
            vehicle=self.record.vehicle.name,
            fields=fields_of(
                self.record, self._time(head.started_at, day=True), self.around.covered
            ),
            headline=conclusion.headline,
            deferral=say(conclusion.deferral),
            owner=owner_page(rows, jobs, state, due),
            counts=tuple(
                (state, sum(row.state is state for row in rows))
                for state in WORST_FIRST
                if state is not Shown.NOT_JUDGED or any(row.state is state for row in rows)
            ),
            off=tuple(
                sorted(
                    (row for row in rows if row.state not in {Shown.WITHIN, Shown.NOT_JUDGED}),
                    key=lambda row: (
                        row.severity != Severity.DANGEROUS.value,
                        _urgency(row),
                        _SEVERITIES.index(row.severity),
                        row.number,
                    ),
                )
            ),
            systems=sections,
            jobs=jobs,
            shopping=self._shopping(),
            cross_checks=tuple(cross_check(each) for each in self.around.crossed),
            due=due,
            remarks=tuple(
                self._remark(r, self.utterances.get(r.utterance_id or ""))
                for r in self.record.remarks
            ),
            asked=tuple(self._heard(u, u.text, self._question(u), u.said_at) for u in asked),
            not_understood=tuple(
                self._heard(
                    u,
                    u.text or best_guess(u),
                    "; ".join(filter(None, (u.reason, self._reviewed(u)))),
                    u.said_at,
                )
                for u in self.record.utterances
                if u.decision is Decision.REFUSE
            ),
            unplaced=unplaced,
            corrections=self._corrections(),
            cautions=self._cautions(verdicts),
            provenance=provenance(self.record, self.zone_text, self._time, self.around.notes),
            signed=tuple(
                f"{each.event.text}, {self._time(each.event.at, day=True)}, {each.told}"
                for each in signatures(self.record)
            ),
            not_covered=after_signature(self.record),
            fingerprint=self.record.fingerprint,
            rows=self.record.rows,
            printed=self._time(self.around.printed_at, day=True),
            trends=tuple(p for p in map(trend_picture, self.around.trends) if p is not None),
        )

    def followed(self) -> dict[str, Any]:
        """The same as values: what was made of the record."""
        state = self._progress()
        return follows_json(
            self.record,
            self._conclusion(state),
            self._work(),
            self.around.due,
            state.left,
            self.around.crossed,
            self._cautions(each.verdict for each in self.standing if each.verdict),
        )

    def _conclusion(self, state: Progress) -> Conclusion:
        verdicts = [each.verdict for each in self.standing if each.verdict]
        return conclude(verdicts, len(state.open), never_confirmed(self.record))

    # -- findings ---------------------------------------------------------------------------------

    def _finding(self, kept: RecordedFinding, photos: Sequence[PhotoCell]) -> FindingRow:
        utterance = self.utterances.get(kept.utterance_id or "")
        verdict = kept.verdict
        notes = [
            *([say(NOT_AFFIRMED)] if kept.id in self.unaffirmed else []),
            *(
                say(english.flag(each))
                for each in (utterance.flags if utterance else ())
                if each != Flag.ANSWERED
            ),
        ]
        asked = self.utterances.get((utterance.answers if utterance else None) or "")
        if asked is not None:
            notes.append(say("answers: {what}", what=asked.question or asked.reason))
        if kept.finding.quantity and kept.finding.quantity.qualifier is Qualifier.ABOUT:
            notes.append(say("said as about"))
        notes += [
            say("with {what} {value}", what=say(name.replace("_", " ")), value=value)
            for name, value in kept.finding.given
        ]
        if kept.supersedes:
            earlier = self.findings[kept.supersedes]
            notes.append(
                say(
                    "corrects no. {number} ({value})",
                    number=earlier.number,
                    value=tell.value(earlier.finding),
                )
            )
        notes += [say("remark: {text}", text=text) for text in self._remarks_on(kept)]
        if kept.made_after_signature:
            notes.append(say(NOT_COVERED))
        spoken = utterance.text if utterance else kept.finding.words
        return FindingRow(
            id=kept.id,
            number=kept.number,
            subject=tell.subject(kept.finding),
            value=tell.value(kept.finding),
            spoken=spoken,
            told=came_in(spoken, utterance, sure=True) if spoken else "",
            when=self._time(utterance.said_at if utterance else kept.made_at),
            state=Shown(verdict.state.value) if verdict else Shown.NOT_JUDGED,
            severity=tell.severity(verdict),
            reason=tell.reason(verdict) if verdict else say("no limit was held against it"),
            limits=limit_lines(verdict, kept.finding.quantity),
            gauge=gauge(verdict.gate) if verdict and verdict.gate else None,
            photos=tuple(photos),
            clip=self._clip(utterance),
            notes=tuple(notes),
            plain=tell.plainly(kept.finding, verdict),
        )

    def _remarks_on(self, kept: RecordedFinding) -> tuple[str, ...]:
        """Remarks put to the finding or to those it corrects."""
        ids, one = {kept.id}, kept
        while one.supersedes:
            one = self.findings[one.supersedes]
            ids.add(one.id)
        return tuple(
            each.text
            for each in self.record.remarks
            if each.finding_id in ids and not each.taken_back
        )

    def _progress(self) -> Progress:
        """Where the walk stands: the vehicle's own, or the whole catalogue as one."""
        catalogue = self.around.catalogue
        walk = self.around.walk if self.around.walk is not None else catalogue_walk(catalogue)
        absent = {name.strip() for name in self.record.vehicle.facts.get(NOT_FITTED, "").split(",")}
        walk = tuple(item for item in walk if not {item.component, item.key} & absent)
        return progress_of(self.record, walk, dict(self.around.checked))

    def _sections(self, rows: Sequence[FindingRow], state: Progress) -> tuple[SystemSection, ...]:
        catalogue = self.around.catalogue
        by_system: dict[str, list[FindingRow]] = defaultdict(list)
        for kept, row in zip(self.standing, rows, strict=True):
            component = catalogue.get(kept.finding.component)
            by_system[component.system if component else "other"].append(row)
        open_: dict[str, list[str]] = defaultdict(list)
        for item in state.open:
            left = [each for each in state.left if each.item is item]
            open_[item.system] += map(left_text, left)
        left_out: dict[str, list[str]] = defaultdict(list)
        for item, reason in state.skipped:
            left_out[item.system].append(
                f"{key(item.component, item.position, item.key)}: {reason}"
            )
        order = dict.fromkeys([*catalogue.systems, *by_system, *open_, *left_out])
        return tuple(
            SystemSection(name, tuple(by_system[name]), tuple(open_[name]), tuple(left_out[name]))
            for name in order
            if by_system[name] or open_[name] or left_out[name]
        )

    # -- what follows -----------------------------------------------------------------------------

    def _lines(self) -> tuple[Judged, ...]:
        return tuple(
            Judged(each.id, each.finding, each.verdict) for each in self.standing if each.verdict
        )

    def _jobs(self) -> tuple[JobRow, ...]:
        return tuple(
            JobRow(
                do=line.do,
                where=place(line.position),
                parts="; ".join(needed(each) for each in line.parts),
                consumables="; ".join(needed(each) for each in line.consumables),
                torques="; ".join(tightening(each) for each in line.torques),
                advice="; ".join((*line.advice, *(settles(name) for name in line.settles))),
                because=tuple(sorted(self.numbers[name] for name in line.because)),
                severity=line.severity.value if line.severity else "",
            )
            for line in self._work()
        )

    def _work(self) -> tuple[JobLine, ...]:
        around = self.around
        facts = self.record.vehicle.facts
        return job_lines(self._lines(), around.catalogue, around.limits, around.work, facts)

    def _shopping(self) -> tuple[str, ...]:
        return tuple(needed(each) for each in shopping(self._work()))

    def _cautions(self, verdicts: Iterable[Verdict]) -> tuple[str, ...]:
        """Those the verdicts were given with, and those of the work as they are now."""
        worst = sorted(verdicts, key=lambda verdict: RANK[verdict.severity])
        said = [caution for verdict in worst for caution in verdict.cautions]
        work = [(name, line.severity) for line in self._work() for name in line.components]
        said += cautions_of_work(work, self.around.catalogue)
        defers = [DEFERS] if DEFERS in said else []
        return tuple(map(say, (*(text for text in dict.fromkeys(said) if text != DEFERS), *defers)))

    def _due(self) -> tuple[DueRow, ...]:
        return tuple(due_row(item, self.record.vehicle.unit) for item in self.around.due)

    # -- photos -----------------------------------------------------------------------------------

    def _photos(self) -> tuple[dict[str, list[PhotoCell]], tuple[PhotoCell, ...]]:
        placed: dict[str, list[PhotoCell]] = defaultdict(list)
        unplaced = []
        for photo in self.record.photos:
            finding, gone = self._home(photo)
            if finding is None:
                unplaced.append(self._photo(photo, gone))
            else:
                placed[finding].append(self._photo(photo, ""))
        return placed, tuple(unplaced)

    def _home(self, photo: Photo) -> tuple[str | None, str]:
        """The standing finding a photo belongs to, following corrections; else why there is none."""
        name = photo.attachment.finding_id if photo.attachment else None
        while name is not None:
            kept = self.findings[name]
            if kept.stands:
                return name, ""
            if kept.withdrawn:
                return None, say("finding no. {number} was withdrawn", number=kept.number)
            name = kept.superseded_by
        return None, ""

    def _photo(self, photo: Photo, gone: str) -> PhotoCell:
        attachment = photo.attachment
        reason = say(attachment.reason if attachment else (photo.problem or "not attached yet"))
        parts = [gone, reason] if gone else [reason]
        if attachment and attachment.gap_s is not None:
            gap = f"{tell.seconds(attachment.gap_s)} {say('after' if attachment.gap_s >= 0 else 'before')}"
            if attachment.uncertainty_s:
                gap += f" (± {tell.seconds(attachment.uncertainty_s)})"
            parts.append(gap)
        if attachment and attachment.finding_id is None and attachment.candidates:
            numbers = sorted(self.numbers[c] for c in attachment.candidates if c in self.numbers)
            if numbers:
                parts.append(say("could be no. {numbers}", numbers=", ".join(map(str, numbers))))
        local = (photo.capture_local or "").replace("T", " ")
        taken = (
            self._time(photo.utc)
            if photo.utc
            else say("camera clock {time}", time=local or say("without time"))
        )
        return PhotoCell(photo.media, photo.file, taken, "; ".join(p for p in parts if p))

    # -- what was heard ---------------------------------------------------------------------------

    def _heard(
        self,
        utterance: Utterance | None,
        text: str,
        reason: str,
        at: datetime,
    ) -> HeardLine:
        told = came_in(text, utterance, sure=False)
        return HeardLine(self._time(at), text, told, reason, self._clip(utterance))

    def _question(self, asked: Utterance) -> str:
        """What was asked, with the words that answered it."""
        question = asked.question or asked.reason
        said = [
            u.text.rpartition(APART)[2] for u in self.record.utterances if u.answers == asked.id
        ]
        if said:
            return say("{question} (answered: {said})", question=question, said=", ".join(said))
        if self._reviewed(asked):
            return f"{question} ({self._reviewed(asked)})"
        if left_open(self.record, asked):
            return say("{question} (no finding of it followed)", question=question)
        return question

    def _reviewed(self, said: Utterance) -> str:
        """What a reviewer decided about it last; empty where nobody did."""
        made = [each for each in self.record.decisions if each.utterance_id == said.id]
        return review.decided(made[-1].decided, made[-1].reviewer) if made else ""

    def _remark(self, one: Remark, utterance: Utterance | None) -> HeardLine:
        at = utterance.said_at if utterance else one.made_at
        later = say(NOT_COVERED) if one.id in self.record.uncovered else ""
        told = "; ".join(filter(None, (say(TAKEN_BACK) if one.taken_back else "", later)))
        return self._heard(utterance, one.text, told, at)

    def _corrections(self) -> tuple[CorrectionLine, ...]:
        lines = []
        for kept in self.record.findings:
            if kept.stands:
                continue
            later = self.findings.get(kept.superseded_by or "")
            after = (
                f"{say('no.')} {later.number}: {tell.value(later.finding)}"
                if later
                else say("withdrawn")
            )
            uncovered = say(NOT_COVERED) if kept.fallen_after_signature else ""
            lines.append(
                CorrectionLine(
                    kept.number,
                    tell.finding(kept.finding),
                    after,
                    "; ".join(filter(None, (kept.reason, uncovered))),
                    self._clip(self.utterances.get(kept.utterance_id or "")),
                )
            )
        return tuple(lines)

    def _clip(self, utterance: Utterance | None) -> ClipLine | None:
        if utterance is None or utterance.clip is None:
            return None
        length = max(0.0, utterance.end_s - utterance.start_s)
        said = utterance.text if utterance.decision is Decision.ACCEPT else ""
        return ClipLine(utterance.clip, round(length, 2), said)

    def _time(self, at: datetime, *, day: bool = False) -> str:
        local = at.astimezone(self.zone)
        return f"{local:%Y-%m-%d %H:%M}" if day else f"{local:%H:%M:%S}"
