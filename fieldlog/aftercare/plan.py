"""Everything that comes due on one vehicle, its trends and its checklist, from its record (pure)."""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from fractions import Fraction
from itertools import pairwise

from fieldlog.aftercare.checklist import Item, Progress, Skip, last_checked, progress
from fieldlog.aftercare.conclusion import Conclusion, conclude
from fieldlog.aftercare.crosschecks import CrossCheck, Unanswered, WorkDone, unanswered
from fieldlog.aftercare.done import (
    CHECKLIST,
    everything_done,
    km_of,
    odd_entries,
    own_intervals,
)
from fieldlog.aftercare.due import (
    Done,
    DueItem,
    Interval,
    When,
    due_from_expiry,
    due_from_intervals,
)
from fieldlog.aftercare.equipment import has
from fieldlog.aftercare.intervals import Intervals, with_own
from fieldlog.aftercare.trend import AGE, Trend, TrendBasis, same_place, trends
from fieldlog.aftercare.walk_list import DefaultWalk, Walk, walk_for
from fieldlog.aftercare.work import Work
from fieldlog.catalogue.component import Catalogue
from fieldlog.errors import UsageError
from fieldlog.language.dialogue import CORRECTION
from fieldlog.limits.context import JURISDICTIONS, SETTINGS, parse_context
from fieldlog.model.context import Context
from fieldlog.model.finding import Finding
from fieldlog.model.limit import Limit
from fieldlog.model.question import Asks, Settled
from fieldlog.model.understanding import Decision, Kind
from fieldlog.store.records import (
    EventName,
    HistoryRow,
    Inspection,
    InspectionRecord,
    NewEvent,
    Utterance,
    Vehicle,
)
from fieldlog.words import old_questions

EXPIRES = "expires"
WALK = "walk"
"""Setting of an inspection that names its walk; without it the usual one, as the vehicle has it."""
USUAL = "usual"
WALKS = ("storage", "recommissioning", "recheck")
"""Names of the others; each is a file ``walk_NAME.toml``."""
_URGENT = (When.OVERDUE, When.SOON, When.LATER, When.UNKNOWN)


@dataclass(frozen=True)
class Care:
    """Everything aftercare knows that is not of one vehicle."""

    catalogue: Catalogue
    walk: DefaultWalk
    intervals: Intervals
    work: Work
    others: Mapping[str, DefaultWalk] = field(default_factory=dict)
    """Further walks by name: for storage, after it, after work."""
    crosschecks: tuple[CrossCheck, ...] = ()


@dataclass(frozen=True)
class Past:
    """What the record holds of one vehicle."""

    vehicle: Vehicle
    inspections: Sequence[Inspection]
    history: Sequence[HistoryRow]
    remarks: Sequence[tuple[Inspection, str]]

    def until(self, last: Inspection) -> Past:
        """The same as it was known after the inspection ``last``: for its report."""
        known = [each for each in self.inspections if each.started_at <= last.started_at]
        ids = {each.id for each in known}
        return replace(
            self,
            inspections=known,
            history=[each for each in self.history if each.inspection_id in ids],
            remarks=[each for each in self.remarks if each[0].id in ids],
        )

    def odometer_km(self, today: date) -> Fraction | None:
        """Distance done by ``today`` in km, by the newest reading up to then."""
        read = [each for each in self.vehicle.odometer if each.read_at.date() <= today]
        return km_of(read[-1].distance) if read else None


@dataclass(frozen=True)
class Plan:
    """What comes due, what of it follows from which trend, and what was done."""

    due: tuple[DueItem, ...]
    """Most urgent first."""
    trends: tuple[Trend, ...]
    done: tuple[Done, ...]
    notes: tuple[str, ...] = ()
    """Facts and settings that could not be meant and were left out."""

    def worn(self, intervals: Intervals) -> tuple[Trend, ...]:
        """Trends of what wears; age runs evenly and is no trend."""
        return tuple(
            each
            for each in self.trends
            if (each.component, each.characteristic) in intervals.wears
            and each.characteristic != AGE
        )


def context_of(vehicle: Vehicle, inspection: Inspection) -> Context:
    """What the checks may assume: facts of the vehicle that are settings, then the inspection's.

    Raises ``UsageError`` for a value that a setting cannot hold.
    """
    facts = {key: value for key, value in vehicle.facts.items() if key in SETTINGS}
    return parse_context(inspection.jurisdiction, {**facts, **_said_of(inspection)})


def usable_context(vehicle: Vehicle, inspection: Inspection) -> tuple[Context, tuple[str, ...]]:
    """The same for looking back: what cannot be meant is left out and told.

    One old slip does not hide a whole vehicle's trends.
    """
    try:
        return context_of(vehicle, inspection), ()
    except UsageError:
        kept: dict[str, str] = {}
        notes = []
        for key, value in {**vehicle.facts, **_said_of(inspection)}.items():
            if key in SETTINGS:
                try:
                    kept |= parse_context(None, {key: value}).settings
                except UsageError as error:
                    notes.append(f"left out: {error.where} {error.what}")
        jurisdiction = inspection.jurisdiction if inspection.jurisdiction in JURISDICTIONS else None
        return Context(jurisdiction, kept), tuple(notes)


def _said_of(inspection: Inspection) -> dict[str, str]:
    """Settings of an inspection that its checks may assume: not which walk it is."""
    return {key: value for key, value in inspection.settings.items() if key != WALK}


def plan(past: Past, care: Care, limits: Sequence[Limit], today: date) -> Plan:
    """Everything due by date or distance: from intervals, papers, wear and age.

    ``limits``: those that ship with fieldlog and the vehicle's own.
    """
    vehicle = past.vehicle
    intervals = with_own(care.intervals, own_intervals(care.intervals, vehicle.log))
    odometer = past.odometer_km(today)
    done = everything_done(
        intervals, vehicle.log, past.remarks, past.history, vehicle.odometer, today
    )
    replaces = {each.id: each.component for each in intervals.rows.values() if _is_part(each)}
    usable = {each.id: usable_context(vehicle, each) for each in past.inspections}
    contexts = {key: context for key, (context, _) in usable.items()}
    notes = tuple(dict.fromkeys(note for _, told in usable.values() for note in told))
    notes += odd_entries(vehicle.log)
    found = trends(
        past.history,
        TrendBasis(care.catalogue, limits, contexts),
        done,
        replaces,
        today,
        odometer_km=odometer,
    )
    worn = [each for each in found if (each.component, each.characteristic) in intervals.wears]
    parts = {each.id: each.component for each in intervals.rows.values() if not each.recurs}
    done = (*done, *_seen_replaced(worn, parts, done))
    fitted = [
        each
        for each in intervals.rows.values()
        if each.recurs and has(each.needs, vehicle.facts, care.walk.facts)
    ]
    items = [
        *due_from_intervals(fitted, done, today, odometer),
        *_papers(past, today),
        *(trend.projection.item for trend in worn if trend.projection.item is not None),
    ]
    ordered = sorted(items, key=lambda i: (_URGENT.index(i.when), i.by_date or date.max, i.what))
    return Plan(tuple(ordered), found, done, notes)


def _is_part(interval: Interval) -> bool:
    """Work that puts a new part on, which never comes due by a clock."""
    return not interval.recurs or interval.count is not None


def _seen_replaced(
    worn: Sequence[Trend], parts: Mapping[str, str], done: Sequence[Done]
) -> tuple[Done, ...]:
    """Parts whose readings went back: replaced, though nobody entered it."""
    seen: list[Done] = []
    for trend in worn:
        names = [name for name, component in parts.items() if component == trend.component]
        for old, new in pairwise([*trend.before, trend.readings]):
            for name in names:
                known = any(
                    each.interval == name
                    and same_place(each.position, trend.position)
                    and old[-1].on <= each.on <= new[0].on
                    for each in (*done, *seen)
                )
                if not known:
                    how = f"{trend.characteristic} went back between {old[-1].on} and {new[0].on}"
                    seen.append(Done(name, new[0].on, new[0].odometer_km, trend.position, how))
    return tuple(seen)


def _papers(past: Past, today: date) -> list[DueItem]:
    """The newest date of each paper that somebody read."""
    newest: dict[str, date] = {}
    for row in past.history:
        if row.finding.characteristic == EXPIRES and row.finding.code:
            runs_to = last_day(row.finding.code)
            if runs_to is not None:
                newest[row.finding.component] = runs_to
    return [due_from_expiry(paper, runs_to, today) for paper, runs_to in newest.items()]


def last_day(code: str) -> date | None:
    """The day a paper runs to: ``2027-05-01``, or the end of the month of ``2027-03``.

    None for ``--03-03``, which records of earlier versions may hold: a day of no known year.
    """
    if code.startswith("-"):
        return None
    if len(code) == 7:
        year, month = int(code[:4]), int(code[5:])
        return date(year, month, monthrange(year, month)[1])
    return date.fromisoformat(code)


# -- the checklist ----------------------------------------------------------------------------------


def walk_setting(name: str) -> dict[str, str]:
    """What an inspection that goes the walk ``name`` is started with; ``UsageError`` for none of them."""
    if name == USUAL:
        return {}
    if name not in WALKS:
        raise UsageError(f"{name!r} is no walk", where="--walk", todo=", ".join((USUAL, *WALKS)))
    return {WALK: name}


def vehicle_walk(vehicle: Vehicle, care: Care, inspection: Inspection | None = None) -> Walk:
    """The vehicle's list: the usual walk without what it has not, with its own edits.

    Of an ``inspection`` that goes another walk (for storage, say) that one, without the edits.
    """
    other = care.others.get(inspection.settings.get(WALK, "")) if inspection else None
    if other is not None:
        return walk_for(other, care.catalogue, vehicle.facts)
    edits = [entry.data for entry in vehicle.log if entry.kind == CHECKLIST]
    return walk_for(care.walk, care.catalogue, vehicle.facts, edits)


def checked_before(past: Past, walk: Sequence[Item], inspection: Inspection) -> dict[str, date]:
    """Item -> the last day it was checked in earlier inspections."""
    earlier = [
        (row.at.date(), row.finding)
        for row in past.history
        if row.inspection_id != inspection.id and row.at < inspection.started_at
    ]
    return last_checked(walk, earlier)


def skipped_event(skip: Skip) -> NewEvent:
    """What the record keeps of an item left out, spoken or typed."""
    return NewEvent(EventName.SKIPPED, skip.reason, {"item": skip.key})


def skips_of(record: InspectionRecord) -> tuple[Skip, ...]:
    """The items skipped in an inspection, and not taken back; an event without a reason skips nothing."""
    found: list[Skip] = []
    for event in record.events:
        item = event.data.get("item", "")
        if event.name == EventName.SKIPPED and event.text.strip():
            found.append(Skip(item, event.text))
        elif event.name == EventName.SKIP_TAKEN_BACK:
            found = [each for each in found if each.key != item]
    return tuple(found)


def progress_of(
    record: InspectionRecord, walk: Sequence[Item], checked: dict[str, date]
) -> Progress:
    """Where the walk of an inspection stands."""
    findings = [each.finding for each in record.findings if each.stands]
    day = record.inspection.started_at.date()
    return progress(walk, [*findings, *entered_with(record)], skips_of(record), checked, day)


def work_done_in(record: InspectionRecord, intervals: Intervals) -> tuple[WorkDone, ...]:
    """Work that a remark of the inspection says was done, or that was entered for its day."""
    day = record.inspection.started_at.date()
    stand = [each for each in record.remarks if not each.taken_back]
    remarks = [(record.inspection, each.text) for each in stand]
    done = everything_done(intervals, record.vehicle.log, remarks, (), (), day)
    return tuple(WorkDone(each.interval, each.position) for each in done if each.on == day)


def cross_checks_of(record: InspectionRecord, care: Care) -> tuple[Unanswered, ...]:
    """The cross-checks that an inspection raises and does not answer."""
    findings = [each.finding for each in record.findings if each.stands]
    return unanswered(findings, work_done_in(record, care.intervals), care.crosschecks)


def entered_with(record: InspectionRecord) -> tuple[Finding, ...]:
    """What was read without being said: the distance entered when the inspection began."""
    here = (each.inspection_id == record.inspection.id for each in record.vehicle.odometer)
    return (Finding("odometer", None, "reading"),) if any(here) else ()


def left_open(record: InspectionRecord, asked: Utterance) -> bool:
    """Whether nobody answered it and no later finding that stands is of what was offered.

    An answer that led to a question itself leaves that one open, not this. "Brake fluid" is not of
    a question about brake pads, nor the rear ones of one about the front. "Correction of what?" is
    settled when the next finding is a correction, which says of what.
    """
    if any(u.answers == asked.id for u in record.utterances):
        return False
    if any(each.utterance_id == asked.id for each in record.decisions):
        return False  # whoever went through the inspection decided about it
    # By their order, which is the same in every copy of the record; numbers are each copy's own.
    order = [u.id for u in record.utterances]
    later = record.utterances[order.index(asked.id) + 1 :]
    if asked.asked is not None and asked.asked.kind is Asks.OF_WHAT:
        found = (u for u in later if u.kind is Kind.FINDING and u.decision is Decision.ACCEPT)
        anew = next(found, None)
        return anew is None or anew.dialogue != CORRECTION
    after = {u.id for u in later}
    since = [e.finding for e in record.findings if e.stands and e.utterance_id in after]
    if asked.asked is not None and asked.asked.kind is Asks.ALL_OF_IT:
        apart = [
            replace(asked, asked=replace(asked.asked, about=(each,))) for each in asked.asked.about
        ]  # what was said of the front tyre leaves the rear one open
        return not all(any(_is_of(one, found) for found in since) for one in apart)
    return not any(_is_of(asked, found) for found in since)


def never_confirmed(record: InspectionRecord) -> int:
    """How many spoken values led to a question that is still open.

    "Did you say 'take photo'?" is of no value. A question between a command and something else
    counts: that may be a value.
    """
    return sum(
        left_open(record, each)
        for each in record.utterances
        if each.decision is Decision.ASK and not _of_a_command(each)
    )


def _of_a_command(said: Utterance) -> bool:
    if said.kind is not Kind.DIALOGUE or said.dialogue == CORRECTION:
        return False
    if said.asked is None:
        return not old_questions.of_several(said.question)
    return said.asked.kind.settled is not Settled.BY_CHOICE


def _is_of(said: Utterance, finding: Finding) -> bool:
    """Whether ``finding`` is of what was offered: there, where a place was said, and the same thing
    of it: that the pads are worn says nothing of the two millimetres that were asked about, nor "left
    mirror fine" of the mirror that is loose.
    """
    if said.asked is None:
        return old_questions.names(said.text, finding)
    places = [where for component, where in said.asked.about if component == finding.component]
    if said.asked.measured and finding.characteristic not in said.asked.measured:
        return False
    if said.asked.says and all(finding.says.leaves_out(was) for was in said.asked.says):
        return False
    return None in places or finding.position in places


def conclusion_of(record: InspectionRecord, state: Progress) -> Conclusion:
    """What the inspection amounts to."""
    verdicts = [each.verdict for each in record.findings if each.stands and each.verdict]
    return conclude(verdicts, len(state.open), never_confirmed(record))
