"""Single lines of the report: limits, severities, due items, zones (pure)."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from fieldlog.aftercare.crosschecks import Unanswered
from fieldlog.aftercare.due import DueItem
from fieldlog.aftercare.job_lines import Needed
from fieldlog.aftercare.plan import left_open
from fieldlog.aftercare.work import Tighten
from fieldlog.model.finding import Quantity
from fieldlog.model.understanding import Decision
from fieldlog.model.verdict import Judgement, Verdict
from fieldlog.quantities.units import convert
from fieldlog.report.view_model import DueRow, LimitLine
from fieldlog.store.affirmed import unaffirmed
from fieldlog.store.records import TYPED, EventName, InspectionRecord, Utterance
from fieldlog.words import tell, walk
from fieldlog.words.advice import to_buy, to_tighten
from fieldlog.words.came_in import came_in as words_came_in
from fieldlog.words.english import counted
from fieldlog.words.telling import part, say

NOT_AFFIRMED = "to be affirmed, and nobody did"
NOT_COVERED = "addendum, not covered by the signature"
"""What came after a sign-off, wherever it is shown."""
TAKEN_BACK = "taken back, counts for nothing"
"""Of a remark that does not stand any more."""


def after_signature(record: InspectionRecord) -> tuple[str, ...]:
    """What no signature covers, a part for each kind of it; none where nobody signed.

    Findings by their numbers ("corrected no. 1 (now no. 5)"), the rest counted.
    """
    numbers = {each.id: each.number for each in record.findings}
    added, corrected, withdrawn = [], [], []
    for each in record.findings:
        if each.made_after_signature and each.supersedes is None:
            added.append(f"{say('no.')} {each.number}")
        if each.fallen_after_signature and each.superseded_by is not None:
            corrected.append(
                say("no. {old} (now no. {new})", old=each.number, new=numbers[each.superseded_by])
            )
        elif each.fallen_after_signature:
            withdrawn.append(f"{say('no.')} {each.number}")
    told = {"added": added, "corrected": corrected, "withdrawn": withdrawn}
    found = [f"{say(what)} {', '.join(which)}" for what, which in told.items() if which]
    later = frozenset(record.uncovered)
    photos = sum(
        bool(later & {p.id, p.attachment.id if p.attachment else ""}) for p in record.photos
    )
    counts = {
        ("remark",): sum(each.id in later for each in record.remarks),
        ("remark taken back", "remarks taken back"): sum(
            each.id in later for each in record.events if each.name == EventName.REMARK_TAKEN_BACK
        ),
        ("item left out", "items left out"): sum(
            each.id in later for each in record.events if each.name == EventName.SKIPPED
        ),
        ("item no longer left out", "items no longer left out"): sum(
            each.id in later for each in record.events if each.name == EventName.SKIP_TAKEN_BACK
        ),
        ("photo",): photos,
        ("decision on what was heard", "decisions on what was heard"): sum(
            each.id in later for each in record.reviews
        ),
    }
    found += [counted(count, *nouns) for nouns, count in counts.items() if count]
    if later and not found:  # nothing that came later goes unsaid, of whatever kind it is
        found.append(counted(len(later), "row of the record", "rows of the record"))
    return tuple(found)


def zone_of(name: str) -> tzinfo | None:
    """The zone behind an IANA name or an offset such as ``+02:00``; None where it is not known."""
    if len(name) == 6 and name[0] in "+-" and name[3] == ":":
        sign = -1 if name[0] == "-" else 1
        return timezone(sign * timedelta(hours=int(name[1:3]), minutes=int(name[4:])))
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None


def limit_lines(verdict: Verdict | None, said: Quantity | None = None) -> tuple[LimitLine, ...]:
    """Every limit held against a finding, the gating one first.

    ``said``: the value of the finding; where it is what was judged it reads as it was said, 4/32 in.
    """
    if verdict is None:
        return ()
    gate = [(verdict.gate, True)] if verdict.gate else []
    return tuple(
        _limit(j, gates, said) for j, gates in [*gate, *((o, False) for o in verdict.others)]
    )


def _limit(judgement: Judgement, gates: bool, said: Quantity | None) -> LimitLine:
    limit = judgement.limit
    source = ", ".join(
        part
        for part in (limit.source, limit.section if limit.section not in limit.source else "")
        if part
    )
    if limit.edition and limit.edition not in source:
        source = f"{source}, {limit.edition}"
    detail = []
    if judgement.reading is not None:
        as_said = said and said.unit == limit.unit and said.value == judgement.reading
        reads = (
            tell.with_unit(tell.number(said.value, said.unit, said.words), said.unit)
            if said and as_said
            else tell.converted(judgement.reading, limit.unit)
        )
        detail.append(say("reads {value}", value=reads))
    if judgement.margin is not None:
        margin = tell.rounded(judgement.margin, limit.unit, signed=True)
        detail.append(say("margin {value}", value=margin))
    if judgement.guard_band:
        band = tell.rounded(judgement.guard_band, limit.unit)
        detail.append(say("guard band {value}", value=band))
        if judgement.probability is not None:
            chance = tell.probability(judgement.probability)
            detail.append(say("conforms with probability {value}", value=chance))
    if judgement.reason:
        detail.append(say(judgement.reason))
    return LimitLine(
        text=tell.limit(limit),
        source=say(source),
        status=say(limit.status.value),
        state=tell.state(judgement),
        detail="; ".join(detail),
        gates=gates,
    )


def due_row(item: DueItem, unit: str = "km") -> DueRow:
    """A due item with its date, distance (in ``unit``: km or mi) and interval in one line."""
    by = [f"{item.by_date}" if item.by_date else "", _distance(item, unit)]
    shown = f" {say('or')} ".join(part for part in by if part) or say("time not known")
    if item.earliest or item.latest:
        shown += say(
            " (between {one} and {other})",
            one=item.earliest or say("now"),
            other=item.latest or say("an open end"),
        )
    where = tell.place(item.component, item.position)
    return DueRow(
        f"{where}: {say(item.what)}", shown, item.when.value, say(item.reason), say(item.source)
    )


def _distance(item: DueItem, unit: str) -> str:
    if item.by_km is None:
        return ""
    return tell.with_unit(f"{round(float(convert(item.by_km, 'km', unit)))}", unit)


def cross_check(each: Unanswered) -> str:
    """A cross-check that is open, with what nobody has looked at."""
    return walk.cross_check(each.check.ask, each.end, [look.what for look in each.left])


def needed(each: Needed) -> str:
    """A line to buy: ``1 x 160/60-17 tyre, rear``."""
    return to_buy(each.text, each.count, each.each, each.place, each.amount)


def settles(interval: str) -> str:
    """Which interval a job settles, so that nobody takes it for another."""
    return say("done, it counts for what is due: {interval}", interval=part(interval))


def tightening(each: Tighten) -> str:
    """A fastener to tick, with its value, its source and room for what it got."""
    return to_tighten(each.fastener, each.place, each.value, each.source)


def not_settled(record: InspectionRecord) -> Iterator[tuple[str, str]]:
    """Questions that are open and utterances that were not understood, in their order: kind, line.
    Then what was read back and not affirmed; it counts all the same.

    The line ends with the clip's place in the record's folder where there is one.
    """
    for each in record.utterances:
        if each.decision is Decision.ASK and left_open(record, each):
            told = f"{each.question or each.reason}  heard: {each.text}"
            yield "open", _with_clip(told, each)
        elif each.decision is Decision.REFUSE:
            heard = each.text or best_guess(each)
            told = f"{each.reason or 'not understood'}{f'  heard as: {heard}' if heard else ''}"
            yield "not taken", _with_clip(told, each)
    for kept in unaffirmed(record):
        yield "not affirmed", f"{kept.number}, {tell.finding(kept.finding)}: {NOT_AFFIRMED}"


def _with_clip(line: str, utterance: Utterance) -> str:
    seconds = utterance.end_s - utterance.start_s
    if utterance.clip is None:
        return line
    return f"{line}  clip {utterance.clip[:2]}/{utterance.clip} ({seconds:.1f} s)"


def came_in(text: str, utterance: Utterance | None, *, sure: bool) -> str:
    """How the words of an utterance came into the record; without one they were typed."""
    return words_came_in(text, utterance is None or utterance.source == TYPED, sure=sure)


def best_guess(utterance: Utterance) -> str:
    """What each listener made of an utterance that nobody understood."""
    best = {name: h.text for name, h in reversed(utterance.hypotheses)}
    return " | ".join(text for text in best.values() if text)
