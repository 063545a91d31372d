"""What one finding makes a mechanic look at as well, open until a finding answers it (pure)."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fieldlog.aftercare.data import Faults, rows, table, texts
from fieldlog.aftercare.repairs import end_of, side_of
from fieldlog.catalogue.component import CONDITION, Catalogue
from fieldlog.model.finding import Finding

SAME_END = "end"
_PLACES = ("", SAME_END, "front", "rear")


@dataclass(frozen=True, slots=True)
class Look:
    """One thing to look at, and the findings that answer it."""

    what: str
    components: tuple[str, ...]
    at: str = ""
    """``end``: the end of what raised it; ``front``, ``rear``; empty: anywhere."""
    measures: tuple[str, ...] = ()
    """Characteristics that answer it beside a condition of the whole; none: a condition alone."""
    conditions: tuple[str, ...] = ()
    """The conditions of the whole that answer it. That a disc is cracked tells not of oil."""

    def answered_by(self, finding: Finding, end: str | None, side: str | None = None) -> bool:
        """Whether ``finding`` tells it, for something raised at ``end``, on ``side`` where one was said."""
        if finding.component not in self.components or finding.code is not None:
            return False
        wanted = end if self.at == SAME_END else self.at
        if wanted and end_of(finding.position) not in (None, wanted):
            return False
        if self.at and side and side_of(finding.position) not in (None, side):
            return False
        if finding.characteristic in (None, CONDITION):
            return finding.condition in self.conditions
        return finding.characteristic in self.measures


@dataclass(frozen=True, slots=True)
class CrossCheck:
    """What raises it, what is asked, what has to be looked at."""

    id: str
    ask: str
    looks: tuple[Look, ...]
    components: tuple[str, ...] = ()
    conditions: tuple[str, ...] = ()
    measures: tuple[str, ...] = ()
    end: str = ""
    work: tuple[str, ...] = ()

    def raised_by(self, finding: Finding) -> bool:
        """Whether the finding makes one look."""
        if finding.component not in self.components or finding.condition not in self.conditions:
            return False
        if self.measures and finding.characteristic not in self.measures:
            return False
        return not self.end or end_of(finding.position) in (None, self.end)


@dataclass(frozen=True, slots=True)
class Unanswered:
    """A cross-check that is open: why, where, and what of it nobody has looked at yet."""

    check: CrossCheck
    end: str | None
    """The end of what raised it."""
    left: tuple[Look, ...]


@dataclass(frozen=True, slots=True)
class WorkDone:
    """Work that was done in the inspection: the interval's id and its place."""

    interval: str
    position: str | None = None


def unanswered(
    findings: Sequence[Finding], done: Iterable[WorkDone], checks: Iterable[CrossCheck]
) -> tuple[Unanswered, ...]:
    """The cross-checks that standing ``findings`` and work raise and no other finding answers."""
    works = tuple(done)
    found: dict[tuple[str, str | None], Unanswered] = {}
    for check in checks:
        others = [each for each in findings if not check.raised_by(each)]
        places = [each.position for each in findings if check.raised_by(each)]
        places += [each.position for each in works if each.interval in check.work]
        for place in places:
            end, side = end_of(place), side_of(place)
            before = found.get((check.id, end))
            left = tuple(
                look
                for look in check.looks
                if (before is not None and look in before.left)
                or not any(look.answered_by(other, end, side) for other in others)
            )
            if left:
                found[check.id, end] = Unanswered(check, end, left)
    return tuple(found.values())


_KEYS = ("id", "components", "conditions", "measures", "end", "work", "ask", "look")


def read_crosschecks(
    text: str, catalogue: Catalogue, intervals: Collection[str], file: str = "crosschecks.toml"
) -> tuple[CrossCheck, ...]:
    """The rows of one TOML text. Raises ``LimitError`` that lists every fault."""
    faults = Faults(file)
    found = []
    for called, row in rows(table(text, faults), "crosscheck", _KEYS, faults):
        check = CrossCheck(
            id=called,
            ask=str(row.get("ask", "")),
            looks=tuple(_look(each, called, catalogue, faults) for each in row.get("look", ())),
            components=texts(row, "components", called, faults),
            conditions=texts(row, "conditions", called, faults),
            measures=texts(row, "measures", called, faults),
            end=str(row.get("end", "")),
            work=texts(row, "work", called, faults),
        )
        if not check.ask or not check.looks:
            faults.add(called, "ask and look are needed")
        if bool(check.components and check.conditions) == bool(check.work):
            faults.add(called, "components with conditions raise it, or work does")
        for name in check.work:
            if name not in intervals:
                faults.add(called, f"work {name!r} is no interval")
        _named(check, called, catalogue, faults)
        found.append(check)
    faults.stop()
    return tuple(found)


def _look(each: Mapping[str, Any], called: str, catalogue: Catalogue, faults: Faults) -> Look:
    look = Look(
        str(each.get("what", "")),
        texts(each, "components", called, faults),
        str(each.get("at", "")),
        texts(each, "measures", called, faults),
        texts(each, "conditions", called, faults),
    )
    if not look.what or look.at not in _PLACES:
        faults.add(called, "look: what, and at as end, front, rear or nothing")
    if not look.conditions and not look.measures:
        faults.add(called, f"look {look.what!r}: which conditions or measures tell it")
    for name in look.components:
        if catalogue.get(name) is None:
            faults.add(called, f"look: {name!r} is not in the catalogue")
    measures = {each.name for name in look.components for each in _characteristics(catalogue, name)}
    for name in look.measures:
        if name not in measures:
            faults.add(called, f"look: there is no {name!r}")
    return look


def _named(check: CrossCheck, called: str, catalogue: Catalogue, faults: Faults) -> None:
    words = set()
    for name in check.components:
        component = catalogue.get(name)
        if component is None:
            faults.add(called, f"{name!r} is not in the catalogue")
        else:
            words |= {word for _, word, _ in component.judged()}
    for word in check.conditions:
        if check.components and word not in words:
            faults.add(called, f"is never found {word!r}")


def _characteristics(catalogue: Catalogue, name: str) -> tuple[Any, ...]:
    component = catalogue.get(name)
    return component.characteristics if component is not None else ()
