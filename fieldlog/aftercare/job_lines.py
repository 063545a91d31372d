"""What to do and what to buy, from findings that are not within (pure).

What is done follows from the fault (``repairs.toml``), not from the component: a dry chain is
lubricated, a worn one replaced. Places stay apart unless the row says how far its work goes. Lines
stand in the order work is done (common practice): what can hurt first is found first, wheels come out
once, fluids last, then the test ride and what is looked at again.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import TypeVar

from fieldlog.aftercare.known import known_facts, values_for
from fieldlog.aftercare.repairs import WHAT, Consumable, Covers, Part, Repair, Repairs, Uses, filled
from fieldlog.aftercare.work import NO_WORK, Tighten, Work, torques_for
from fieldlog.catalogue.component import Catalogue, Component
from fieldlog.model.finding import Finding
from fieldlog.model.limit import Limit, LimitStatus
from fieldlog.model.state import Severity, State
from fieldlog.model.verdict import Verdict
from fieldlog.words import tell
from fieldlog.words.advice import not_yet_told, summed
from fieldlog.words.telling import part as called
from fieldlog.words.telling import say

CLEANING = "cleaning"
"""Stands for a system in the lines that gather what is cleaned."""
WORK_ORDER = (
    CLEANING, "battery", "controls and chassis", "final drive", "wheels", "tyres", "brakes", "cables",
    "filters", "engine", "fasteners", "lights", "fluids", "equipment", "papers",
)  # fmt: skip
"""Systems in the order their work is done."""
CLOSING = "closing"
"""Stands for a system in the lines that end every work."""

_T = TypeVar("_T")
_RANK = {Severity.DANGEROUS: 0, Severity.MAJOR: 1, Severity.MINOR: 2, None: 3}


@dataclass(frozen=True, slots=True)
class Judged:
    """A finding with its verdict, as the job lines take it."""

    id: str
    finding: Finding
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Needed:
    """A part or a consumable to buy: how many of what, for which place."""

    item: str
    text: str
    """With what is known of the vehicle: ``520 chain, 110 links``."""
    place: str | None = None
    count: int = 1
    each: str = ""
    """What one of it is: ``set``, ``pair``; empty for a piece."""
    amount: str = ""
    """How much of a consumable."""
    adds: bool = False
    for_: str = ""
    """What the work replaces, where a fact of the vehicle makes it another item (``valve stem``)."""


@dataclass(frozen=True, slots=True)
class JobLine:
    """One piece of work with what it needs."""

    do: str
    """What is done, in the language that is told in."""
    system: str
    components: tuple[str, ...]
    position: str | None
    parts: tuple[Needed, ...]
    """What the work replaces."""
    consumables: tuple[Needed, ...]
    torques: tuple[Tighten, ...]
    """Each fastener that it tightens."""
    because: tuple[str, ...]
    """Ids of the findings it follows from."""
    severity: Severity | None
    advice: tuple[str, ...] = ()
    settles: tuple[str, ...] = ()
    """Ids of the intervals that it settles; no others."""
    recheck: tuple[str, ...] = ()
    job: str = ""
    first: bool = False
    """It falls away where the thing itself is replaced."""
    early: bool = False
    """It stands before all other work."""
    gathers: tuple[str, ...] = ()
    """Text of the line that gathers all of its kind; empty where each stands for itself."""
    plain: str = ""
    """What is done, in the words of the table: what is told in another language decides nothing."""


def job_lines(
    judged: Iterable[Judged],
    catalogue: Catalogue,
    limits: Sequence[Limit] = (),
    work: Work = NO_WORK,
    facts: Mapping[str, str] = MappingProxyType({}),
) -> tuple[JobLine, ...]:
    """Every line that follows from findings that are not within, in the order of the work.

    An undecided finding makes one where it may well be beyond (it has a severity then). What is
    within, or open either way, makes none; neither does a component without an entry.
    ``work`` says what is done about which fault and which fasteners it undoes; their torque comes
    from ``limits`` (the vehicle's own first). ``facts`` of the vehicle fill the lines.
    """
    every = list(judged)
    known = known_facts(facts, (each.finding for each in every))
    lines: list[JobLine] = []
    for each in every:
        component = catalogue.get(each.finding.component)
        if component is None or not _asks_for_work(each.verdict):
            continue
        line = _line(each, component, limits, work, known, facts)
        at = next((n for n, other in enumerate(lines) if _same_job(other, line)), None)
        if at is None:
            lines.append(line)
        else:
            lines[at] = _united(lines[at], line)
    there = _gathered(_without_what_falls_away(lines))
    ordered = sorted(map(_naming, there), key=_order)
    return (*ordered, *_closing(ordered, work.repairs))


def shopping(lines: Iterable[JobLine]) -> tuple[Needed, ...]:
    """What to buy: each part once for each place, then each consumable once.

    What two jobs at one place replace is bought once; amounts that add are summed over the places.
    """
    parts: dict[tuple[str, str | None], Needed] = {}
    used: dict[str, dict[str | None, Needed]] = {}
    for line in lines:
        for part in line.parts:
            have = parts.get((part.item, part.place))
            parts[part.item, part.place] = part if have is None or have.count < part.count else have
        for use in line.consumables:
            used.setdefault(use.item, {}).setdefault(use.place, use)
    together = []
    for places in used.values():
        first, *rest = places.values()
        amounts = tuple(each.amount for each in (first, *rest))
        amount = summed(amounts) if first.adds else first.amount
        together.append(replace(first, place=None, amount=amount))
    return (*parts.values(), *together)


def _asks_for_work(verdict: Verdict) -> bool:
    if verdict.state is State.UNDECIDED:
        return verdict.severity is not None
    return verdict.state is not State.WITHIN


def _line(
    each: Judged,
    component: Component,
    limits: Sequence[Limit],
    work: Work,
    known: Mapping[str, str],
    facts: Mapping[str, str],
) -> JobLine:
    finding, verdict, repairs = each.finding, each.verdict, work.repairs
    found = repairs.of(finding, verdict)
    repair = found or _as_the_catalogue_says(component, finding)
    values = values_for(finding, known)
    place = repair.covers.place(finding.position)
    parts = tuple(_part(text, repair.covers, finding, repairs, values) for text in repair.parts)
    plain = filled(repair.do, values, canonical=True) or repair.do[-1]
    do = filled(repair.do, {**values, WHAT: called(component.name)}) or repair.do[-1]
    if found is None and component.name not in plain:
        do, plain = f"{called(component.name)}: {do}", f"{component.name}: {plain}"
    fastens = repair.fastens
    if repair.tightens and component.characteristic("torque") is not None:
        fastens = (component.name, *work.undoes.get(component.name, ()))
    torques = (
        torques_for(component.name, finding.position, work, limits, facts, fastens)
        if parts or repair.tightens or fastens
        else ()
    )
    return JobLine(
        do=do,
        system=component.system,
        components=(component.name,),
        position=place,
        parts=parts,
        consumables=tuple(_use(each, place, repairs, values) for each in repair.uses),
        torques=torques,
        because=(each.id,),
        severity=verdict.severity,
        advice=_advice(verdict, repair, found is None),
        settles=tuple(filled([name], values) or name for name in repair.settles),
        recheck=(repair.recheck,) if repair.recheck else (),
        job=repair.job,
        first=repair.first,
        early=repair.early,
        gathers=repair.do if repair.gathers else (),
        plain=plain,
    )


def _as_the_catalogue_says(component: Component, finding: Finding) -> Repair:
    """What no row names: the component's own entry."""
    beyond = component.follows(finding.characteristic)
    return Repair(
        do=(beyond.do or "put the {what} right as the maker's manual says",),
        parts=beyond.parts,
        uses=tuple(Uses(item) for item in beyond.consumables),
    )


def _advice(verdict: Verdict, repair: Repair, unnamed: bool) -> tuple[str, ...]:
    """Why it is undecided, what the limit's own row advises, and what is checked afterwards.

    The advice of a row of ours is for the component whatever the fault; it stands only where no
    repair is named. What somebody entered always stands.
    """
    gate = verdict.gate
    told = say(gate.limit.advice) if gate else ""
    if gate is not None and not unnamed and gate.limit.status is not LimitStatus.ENTERED:
        told = ""
    then = (say("then: {what}", what=say(repair.then)),) if repair.then else ()
    why = tell.reason(verdict)
    reason = say("undecided: {why}", why=why) if verdict.state is State.UNDECIDED else ""
    open_ = (reason,) if reason else ()
    return (*open_, *not_yet_told(told, reason or repair.do[-1]), *then)


def _part(
    text: str, covers: Covers, finding: Finding, repairs: Repairs, values: Mapping[str, str]
) -> Needed:
    number, _, rest = text.partition(" ")
    count, name = (int(number), rest) if number.isdigit() else (1, text)
    name = wanted = filled([name], values) or name
    for fact, by_value in repairs.parts.get(name, Part()).instead.items():
        if values.get(fact, "").lower() in by_value:
            name = by_value[values[fact].lower()]
            break
    part = repairs.parts.get(name, Part())
    if part.counted:
        count = int(values.get("count", count))
    count *= part.count_at(finding.position, values)
    told = filled(part.told, values) or called(name)
    place = part.at.place(covers.place(finding.position))
    return Needed(name, told, place, count, part.each, for_=wanted)


def _use(use: Uses, place: str | None, repairs: Repairs, values: Mapping[str, str]) -> Needed:
    name = filled([use.item], values) or use.item
    usual = repairs.uses.get(name, Consumable())
    amount = filled(use.amount, values) or usual.amount
    told = filled(usual.told, values) or called(name)
    return Needed(name, told, place, amount=amount, adds=usual.adds)


def _naming(line: JobLine) -> JobLine:
    """``line`` whose text says what is worked on: "brake fluid: flush and refill ..."."""
    unnamed = [name for name in line.components if name.split()[-1] not in line.plain]
    if not unnamed or line.gathers:
        return line
    told = ", ".join(map(called, unnamed))
    return replace(line, do=f"{told}: {line.do}", plain=f"{', '.join(unnamed)}: {line.plain}")


def _same_job(one: JobLine, other: JobLine) -> bool:
    """The same work at one place: places stay apart unless the row's work covers more."""
    if one.system != other.system or one.position != other.position:
        return False
    if one.job or other.job:
        return one.job == other.job
    return one.plain == other.plain


def _united(one: JobLine, other: JobLine) -> JobLine:
    worse = min(one, other, key=lambda line: _RANK[line.severity])
    return replace(
        worse,
        components=_both(one.components, other.components),
        parts=_both(one.parts, other.parts),
        consumables=_once(_both(one.consumables, other.consumables)),
        torques=_both(one.torques, other.torques),
        because=_both(one.because, other.because),
        advice=_told_once(_both(one.advice, other.advice)),
        settles=_both(one.settles, other.settles),
        recheck=_both(one.recheck, other.recheck),
        first=one.first and other.first,
        early=one.early or other.early,
    )


def _once(uses: tuple[Needed, ...]) -> tuple[Needed, ...]:
    """Each consumable once; an amount that was said counts before the usual one."""
    found: dict[str, Needed] = {}
    for use in uses:
        have = found.get(use.item)
        found[use.item] = use if have is None or have.amount[:1].isalpha() else have
    return tuple(found.values())


def _without_what_falls_away(lines: Sequence[JobLine]) -> list[JobLine]:
    """Nothing is cleaned or set that is replaced anyway, and no part is replaced by two jobs.

    The findings, and the worse severity, go to the job that stays.
    """
    kept = list(lines)
    for line in lines:
        others = [other for other in kept if other is not line]
        heir = next((other for other in others if _replaces(other, line)), None)
        if heir is not None and line in kept:
            merged = replace(
                heir,
                because=_both(heir.because, line.because),
                severity=min(heir.severity, line.severity, key=_RANK.__getitem__),
                advice=heir.advice if line.first else _told_once(_both(heir.advice, line.advice)),
            )
            kept = [merged if other is heir else other for other in others]
    return kept


def _gathered(lines: Sequence[JobLine]) -> list[JobLine]:
    """Lines of one kind that gather as one, naming all that it is done to with its place."""
    kept = [line for line in lines if not line.gathers]
    for text in dict.fromkeys(line.gathers for line in lines if line.gathers):
        first, *rest = [line for line in lines if line.gathers == text]
        things = [
            tell.place(name, line.position) for line in (first, *rest) for name in line.components
        ]
        whole = replace(first, system=CLEANING)
        for line in rest:
            whole = _united(whole, line)
        do = filled(text, {WHAT: ", ".join(dict.fromkeys(things))}) or text[-1]
        consumables = tuple(replace(use, place=None) for use in whole.consumables)
        once = _once(consumables)
        kept.append(
            replace(whole, do=do, plain=do, system=CLEANING, position=None, consumables=once)
        )
    return kept


def _replaces(other: JobLine, line: JobLine) -> bool:
    """Whether ``other`` puts a new part where ``line`` would work on the old one."""
    if other.first or other.system != line.system:
        return False
    if line.first:
        here = other.position is None or (line.position or "").startswith(other.position)
        bought = {part.item for part in other.parts}
        same = set(line.components) <= set(other.components) and bool(bought)
        return here and (same or set(line.components) <= bought)
    asked, given = _bought(line), _bought(other)
    fully = set(line.components) <= {
        name for part in other.parts for name in (part.item, part.for_)
    }
    return fully and bool(asked) and asked < given


def _bought(line: JobLine) -> set[tuple[str, str | None]]:
    return {(part.item, part.place) for part in line.parts}


def _closing(lines: Sequence[JobLine], repairs: Repairs) -> tuple[JobLine, ...]:
    """The test ride, and what is looked at again after it has run."""
    systems = {line.system for line in lines} - set(repairs.no_ride_for)
    if not systems or not repairs.test_ride:
        return ()
    again = dict.fromkeys(name for line in lines for name in line.recheck)
    told = [repairs.test_ride]
    if again:
        rechecks = "; ".join(say(text) for name, text in repairs.rechecks.items() if name in again)
        told.append(say(repairs.recheck, rechecks=rechecks))
    return tuple(JobLine(say(text), CLOSING, (), None, (), (), (), (), None) for text in told)


def _both(one: tuple[_T, ...], other: tuple[_T, ...]) -> tuple[_T, ...]:
    return tuple(dict.fromkeys((*one, *other)))


def _told_once(texts: tuple[str, ...]) -> tuple[str, ...]:
    """Without a text that another one holds: "pump the lever ..." of disc and of pads."""
    return tuple(
        text for text in texts if not any(text != other and text in other for other in texts)
    )


def _order(line: JobLine) -> tuple[int, int, str]:
    order = WORK_ORDER.index(line.system) if line.system in WORK_ORDER else len(WORK_ORDER)
    return 0 if line.early else 1 + order, _RANK[line.severity], line.plain
