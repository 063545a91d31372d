"""One row of a limit pack, and the words that it is written in."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from fieldlog.model.state import Severity, State


class LimitStatus(StrEnum):
    """How well a limit's value is supported."""

    CITED = "cited"
    MEMORY = "from memory"
    COMMON = "common practice"
    ENTERED = "entered by user"


class SeverityFrom(StrEnum):
    """Who gave a row its severity."""

    PRINTED = "printed"
    """The source prints it."""
    INFERRED = "inferred"
    """From a text that takes over the same table with its classes printed."""
    OWN = "our own"
    """The source prints none."""


class Relation(StrEnum):
    """How a value has to lie to its limit; ``IS``: a row about conditions or codes."""

    AT_LEAST = "at least"
    AT_MOST = "at most"
    MORE_THAN = "more than"
    LESS_THAN = "less than"
    BETWEEN = "between"
    IS = "is"

    @property
    def is_lower(self) -> bool:
        """Whether it has a lower end alone."""
        return self in (Relation.AT_LEAST, Relation.MORE_THAN)

    @property
    def is_upper(self) -> bool:
        """Whether it has an upper end alone."""
        return self in (Relation.AT_MOST, Relation.LESS_THAN)

    @property
    def is_open(self) -> bool:
        """Whether the end itself is outside."""
        return self in (Relation.MORE_THAN, Relation.LESS_THAN)


class Layer(StrEnum):
    """Where a limit comes from."""

    REGULATION = "regulation"
    EQUIPMENT = "equipment"
    HANDBOOK = "handbook"
    MAKER = "maker"
    COMMON = "common practice"
    MEMORY = "memory"


class Aggregation(StrEnum):
    """How several readings become the value that a limit speaks about."""

    SINGLE = "single"
    THINNEST = "thinnest"
    ANY = "any"
    EACH = "each"
    INDICATOR_TOTAL = "indicator total"
    SPREAD = "spread"
    PAIR_DIFFERENCE = "pair difference"
    AVERAGE = "average"
    ADJACENT = "adjacent grooves"
    MAGNITUDE = "magnitude"


@dataclass(frozen=True, slots=True)
class KOfN:
    """At least ``k`` of ``n`` readings must pass; told as "3 of 4"."""

    k: int
    n: int

    def __str__(self) -> str:
        """As limit packs write it."""
        return f"{self.k} of {self.n}"


def aggregation(text: str) -> Aggregation | KOfN:
    """The rule that ``text`` names; raises ``ValueError`` where it names none."""
    match = re.fullmatch(r"([1-9]\d?) of ([1-9]\d?)", text)
    if match is not None and int(match[1]) <= int(match[2]):
        return KOfN(int(match[1]), int(match[2]))
    if text not in set(Aggregation):
        raise ValueError(f"unknown aggregation {text!r}")
    return Aggregation(text)


@dataclass(frozen=True, slots=True)
class Limit:
    """One row of a limit pack: the printed value with its unit, relation, source and status."""

    id: str
    pack: str
    component: str
    characteristic: str
    relation: Relation
    value: Fraction | None
    unit: str
    aggregation: Aggregation | KOfN
    applies: Mapping[str, str]
    """Context keys that must match for the limit to apply (jurisdiction, vehicle_class, rim...)."""
    source: str
    edition: str
    read_on: str
    status: LimitStatus
    severity: Severity = Severity.MAJOR
    advice: str = ""
    printed: str = ""
    """The value as the source prints it, a rounded second unit included: ``3/16 in (4.8 mm)``."""
    high: Fraction | None = None
    """Upper end for relation ``between``; ``value`` is the lower end."""
    words: tuple[str, ...] = ()
    """Conditions or codes a row of relation ``is`` speaks about."""
    outcome: State = State.BEYOND
    """What a row of relation ``is`` makes of a finding whose condition or code it names."""
    outright: bool = False
    """Outside it nothing is left to work with (no pad, no air): beyond whatever the row's status and
    the uncertainty. Inside it the row says nothing, as for ``silent``."""
    silent: bool = False
    """Inside it the row says nothing: outside lies what cannot be right, whatever the maker says."""
    exact: bool = False
    """Held without a guard band: dates, and what is set by hand to the very value."""
    superseded: bool = False
    """Of an edition that no longer holds: it advises like common practice and never says beyond."""
    step: str = ""
    """Which step of a graded row this is (``near``, ``worn``, ``gone``); empty for any other."""
    layer: Layer = Layer.REGULATION
    section: str = ""
    scope: str = ""
    """Whom the source binds, where that is not obvious."""
    seen: str = ""
    """``text`` when the source itself was read, ``secondary`` when a public copy quotes it."""
    where: str = ""
    """Address of the public copy that was read."""
    text: str = ""
    """The sentence that was read, as printed."""
    cut: str = ""
    """Where the copy broke off inside that sentence."""
    asks: str = ""
    """The qualifier under which alone the rule rejects ("so as to affect the safe operation"). Until
    somebody has looked whether it holds, a finding outside the row is undecided."""
    severity_from: SeverityFrom = SeverityFrom.OWN
