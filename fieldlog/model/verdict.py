"""What the limits say of a finding."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from fieldlog.model.limit import Limit, Relation
from fieldlog.model.state import Severity, State


class InDoubt(StrEnum):
    """Why an undecided finding still counts like one beyond its limit."""

    BY_LESS_THAN_MEASURED = "by less than measured"
    """Outside, by less than the measuring uncertainty."""
    MAY_BE_BEYOND = "may be beyond"


@dataclass(frozen=True, slots=True)
class Judgement:
    """One limit held against one finding. ``margin`` is signed, in the limit's unit, > 0 inside."""

    limit: Limit
    state: State
    margin: Fraction | None
    probability: float | None = None
    """Conformance probability after JCGM 106, 0..1."""
    guard_band: Fraction | None = None
    reading: Fraction | None = None
    """The value judged, converted exactly to the limit's unit."""
    reason: str = ""

    @property
    def judged(self) -> bool:
        """Whether the limit could be held against it at all; ``reason`` says what was lacking."""
        return self.reading is not None or self.limit.relation is Relation.IS


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the limits say of a finding: the gating judgement and every other one that applies."""

    state: State
    gate: Judgement | None
    others: tuple[Judgement, ...] = ()
    severity: Severity | None = None
    """Of an undecided finding only where it may well be beyond: then it counts like one that is."""
    reason: str = ""
    cautions: tuple[str, ...] = ()

    @property
    def in_doubt(self) -> InDoubt | None:
        """Why it counts like one beyond its limit though it is undecided; None where it does not."""
        if self.state is not State.UNDECIDED or self.severity is None:
            return None
        gate = self.gate
        if gate is None or gate.margin is None or gate.guard_band is None:
            return InDoubt.MAY_BE_BEYOND
        near = gate.state is State.UNDECIDED and 0 <= -gate.margin <= gate.guard_band
        return InDoubt.BY_LESS_THAN_MEASURED if near else InDoubt.MAY_BE_BEYOND
