"""What to do and what to buy, from findings that are not within (pure).

Parts that go together (chain and both sprockets, disc and pads) come from the catalogue's entries:
lines of one place on the vehicle that share a part become one line. Lines stand in the order work
is done (common practice): what can hurt first is found first, wheels come out once, fluids last.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from fieldlog.aftercare.work import NO_WORK, Work, torques_for
from fieldlog.catalogue.component import Catalogue, Component
from fieldlog.model import Finding, Limit, Severity, State, Verdict
from fieldlog.words.advice import not_yet_told

WORK_ORDER = (
    "battery", "controls and chassis", "final drive", "wheels", "tyres", "brakes", "cables",
    "filters", "fasteners", "lights", "fluids", "papers",
)  # fmt: skip
"""Systems in the order their work is done."""

_RANK = {Severity.DANGEROUS: 0, Severity.MAJOR: 1, Severity.MINOR: 2, None: 3}


@dataclass(frozen=True, slots=True)
class Judged:
    """A finding with its verdict, as the job lines take it."""

    id: str
    finding: Finding
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class JobLine:
    """One piece of work with what it needs."""

    do: str
    system: str
    components: tuple[str, ...]
    position: str | None
    parts: tuple[str, ...]
    consumables: tuple[str, ...]
    torques: tuple[str, ...]
    """Torque of each fastener that it undoes, with its source; the maker's manual otherwise."""
    because: tuple[str, ...]
    """Ids of the findings it follows from."""
    severity: Severity | None
    advice: tuple[str, ...] = ()


def job_lines(
    judged: Iterable[Judged],
    catalogue: Catalogue,
    limits: Sequence[Limit] = (),
    work: Work = NO_WORK,
    facts: Mapping[str, str] = MappingProxyType({}),
) -> tuple[JobLine, ...]:
    """Every line that follows from findings judged beyond or marginal, in the order of the work.

    An undecided finding makes one where it may well be beyond (it has a severity then). What is
    within, or open either way, makes none; neither does a component without an entry.
    ``work`` says which fasteners a job undoes; their torque comes from ``limits`` (the vehicle's own
    first) and from the vehicle's ``facts``.
    """
    lines: list[JobLine] = []
    for each in judged:
        component = catalogue.get(each.finding.component)
        if component is None or not _asks_for_work(each.verdict):
            continue
        finding = each.finding
        torques = torques_for(finding.component, finding.position, work, limits, facts)
        line = _line(each, component, torques)
        at = next((n for n, other in enumerate(lines) if _belong(other, line)), None)
        if at is None:
            lines.append(line)
        else:
            lines[at] = _united(lines[at], line)
    return tuple(sorted(lines, key=_place))


def shopping(lines: Iterable[JobLine]) -> tuple[tuple[str, int], ...]:
    """Parts with how many lines ask for them, then consumables, each once; what to buy."""
    counts: dict[str, int] = {}
    consumables: dict[str, int] = {}
    for line in lines:
        for part in line.parts:
            name = f"{line.position} {part}" if line.position else part
            counts[name] = counts.get(name, 0) + 1
        for consumable in line.consumables:
            consumables[consumable] = 1
    return (*counts.items(), *consumables.items())


def _asks_for_work(verdict: Verdict) -> bool:
    if verdict.state is State.UNDECIDED:
        return verdict.severity is not None
    return verdict.state is not State.WITHIN


def _line(each: Judged, component: Component, torques: tuple[str, ...]) -> JobLine:
    finding, verdict = each.finding, each.verdict
    gate, beyond = verdict.gate, component.follows(finding.characteristic)
    told = gate.limit.advice if gate else ""
    advice: tuple[str, ...] = (told,) if told else ()
    if verdict.state is State.UNDECIDED:
        advice = (f"undecided: {verdict.reason}", *not_yet_told(told, verdict.reason))
    return JobLine(
        do=beyond.do or f"put the {component.name} right as the maker's manual says",
        system=component.system,
        components=(component.name,),
        position=finding.position,
        parts=beyond.parts,
        consumables=beyond.consumables,
        torques=torques,
        because=(each.id,),
        severity=verdict.severity,
        advice=advice,
    )


def _belong(one: JobLine, other: JobLine) -> bool:
    """Whether two lines are one job: the same work at one place, or parts in common there."""
    if one.system != other.system:
        return False
    same_place = one.position == other.position or None in (one.position, other.position)
    shared = set(one.parts) & set(other.parts)
    if one.do == other.do and one.position == other.position:
        return True
    # a chain and its sprockets are one set wherever the worn one sits; pads of two ends are not
    whole_set = len(one.parts) > 1 and set(one.parts) == set(other.parts)
    return bool(shared) and (same_place or whole_set)


def _united(one: JobLine, other: JobLine) -> JobLine:
    lead, add = (one, other) if len(one.parts) >= len(other.parts) else (other, one)
    position = one.position if one.position == other.position else None
    if len(set(lead.parts)) and set(add.parts) <= set(lead.parts):
        position = position or (lead.position if add.position is None else position)
    return JobLine(
        do=lead.do,
        system=lead.system,
        components=_both(one.components, other.components),
        position=position,
        parts=_both(lead.parts, add.parts),
        consumables=_both(lead.consumables, add.consumables),
        torques=_both(one.torques, other.torques),
        because=_both(one.because, other.because),
        severity=min(one.severity, other.severity, key=_RANK.__getitem__),
        advice=_both(one.advice, other.advice),
    )


def _both(one: tuple[str, ...], other: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys((*one, *other)))


def _place(line: JobLine) -> tuple[int, int, str]:
    order = WORK_ORDER.index(line.system) if line.system in WORK_ORDER else len(WORK_ORDER)
    return order, _RANK[line.severity], line.do
