"""What a job undoes, and which torque puts it back: the vehicle's own value first (pure).

A guideline table is advice only and always carries its edition and friction: it is used where the
vehicle's fact ``thread_<fastener>`` names thread and class (``thread_caliper_bolt=M8 8.8``).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from fieldlog.aftercare.data import Faults, rows, table, texts
from fieldlog.aftercare.repairs import NO_REPAIRS, Repairs, end_of
from fieldlog.catalogue.component import Catalogue
from fieldlog.derived import torque
from fieldlog.model.limit import Limit, LimitStatus
from fieldlog.words import tell

THREAD = "thread_"
"""Facts of a vehicle that begin so give a fastener's thread and property class."""
FRICTION = 0.14
"""Friction of a bolt as delivered, lightly oiled: the figure guideline tables are printed for."""
MANUAL = "maker's manual: no value entered"


@dataclass(frozen=True, slots=True)
class Tighten:
    """One fastener of a job, to be ticked: what it takes, by whose word, and room for what it got."""

    fastener: str
    place: str | None
    value: str
    """The value with its unit; empty where none was entered."""
    source: str


@dataclass(frozen=True)
class Work:
    """Component -> the fasteners that a job on it undoes, and what is done about which fault."""

    undoes: Mapping[str, tuple[str, ...]]
    repairs: Repairs = NO_REPAIRS


NO_WORK = Work(MappingProxyType({}))


def read_work(text: str, catalogue: Catalogue, file: str = "work.toml") -> Work:
    """The rows of one TOML text. Raises ``LimitError`` that lists every fault."""
    faults = Faults(file)
    found: dict[str, tuple[str, ...]] = {}
    for called, row in rows(table(text, faults), "work", ("component", "undoes"), faults):
        fasteners = texts(row, "undoes", called, faults)
        if called not in catalogue.components:
            faults.add(called, "is not in the catalogue")
        for name in fasteners:
            fastener = catalogue.get(_named(name)[0])
            if fastener is None or fastener.characteristic("torque") is None:
                faults.add(called, f"{name!r} has no torque in the catalogue")
        if called in found:
            faults.add(called, "is there twice")
        found[called] = fasteners
    faults.stop()
    return Work(MappingProxyType(found))


def torques_for(
    component: str,
    position: str | None,
    work: Work,
    limits: Sequence[Limit],
    facts: Mapping[str, str],
    fastens: Sequence[str] = (),
) -> tuple[Tighten, ...]:
    """Every fastener the job undoes with its torque, each with its source or the lack of one.

    ``fastens``: the fasteners, where they are not those that any work on the component undoes.
    """
    own = [
        limit for limit in limits if limit.characteristic == "torque" and limit.value is not None
    ]
    entered_here = any(
        each.component == component and each.status is LimitStatus.ENTERED and _at(each, position)
        for each in own
    )
    usual = work.undoes.get(component, (component,) if entered_here else ())
    told = []
    for named in dict.fromkeys(fastens or usual):
        name, end = _named(named)
        at = end or end_of(position)
        entered = [limit for limit in own if limit.component == name and _at(limit, at)]
        gating = [limit for limit in entered if limit.status is LimitStatus.ENTERED]
        found = gating or [limit for limit in entered if limit.status is LimitStatus.CITED]
        told += [Tighten(name, at, tell.limit_value(each), each.source) for each in found]
        if not found:
            told.append(
                Tighten(name, at, "", f"{MANUAL}{_guideline(facts.get(_thread(name), ''))}")
            )
    return tuple(told)


def _named(fastener: str) -> tuple[str, str | None]:
    """``rear axle nut`` as the axle nut at the rear."""
    end, _, rest = fastener.partition(" ")
    return (rest, end) if end in ("front", "rear") else (fastener, None)


def _at(limit: Limit, position: str | None) -> bool:
    wanted = limit.applies.get("position")
    return wanted is None or position is None or wanted in (position, *position.split())


def _thread(fastener: str) -> str:
    return THREAD + fastener.replace(" ", "_")


def _guideline(fact: str) -> str:
    """Advice from the guideline table for ``M8 8.8``; nothing where the fact is not of that form."""
    parts = fact.split()
    if len(parts) != 2 or parts[0] not in torque.THREADS or parts[1] not in torque.YIELD_N_MM2:
        return ""
    value = torque.guideline_nm(torque.THREADS[parts[0]], parts[1], FRICTION)
    return (
        f"; guideline for {parts[0]} {parts[1]}, advice only: {tell.with_unit(f'{value:.3g}', 'N.m')} "
        f"({torque.EDITION}, friction {FRICTION:g})"
    )
