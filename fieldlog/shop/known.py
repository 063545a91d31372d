"""What the record knows of a vehicle, and what an utterance comes to beside it (pure).

A distance is held against those that were read before; a pressure that was said without its unit is
in the unit of the vehicle's own pressures where it is near them.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime
from fractions import Fraction

from fieldlog.derived.odometer import COMPONENT, READING, Unlike, unlike
from fieldlog.errors import UsageError
from fieldlog.language.breath import Breath
from fieldlog.limits.context import amount
from fieldlog.model.command import Command
from fieldlog.model.context import Context
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.question import Asks, Question
from fieldlog.model.understanding import Decision, Flag, Understanding
from fieldlog.quantities.values import DOUBTFUL
from fieldlog.store.records import Odometer
from fieldlog.words import questions, tell

_PRESSURE = {"front": "pressure_front", "rear": "pressure_rear"}
"""End -> the setting that holds the vehicle's own pressure there."""
NEAR = (Fraction(1, 2), Fraction(3, 2))
"""Share of the vehicle's own pressure within which a number is surely one in its unit: 36 of 42 psi,
never 2.4. Common practice; the pressure itself is judged by the limits."""
_DOUBTS = frozenset({*DOUBTFUL, Flag.UNCLEAR, Flag.MORE_SAID, Flag.UNSURE, Flag.TWIN, Flag.ODD})
"""Flags of what is asked about all the same."""


@dataclass(frozen=True, slots=True)
class VehicleKnown:
    """What is known of a vehicle as one of its inspections meets it."""

    inspection: str
    """Its id."""
    begun: datetime
    distances: tuple[Odometer, ...] = ()
    """What the vehicle has done, as it was read."""
    context: Context = field(default_factory=Context)

    def met(self, said: Understanding, asked: Understanding | None) -> Understanding:
        """``said``, or what it comes to beside what is known.

        ``asked``: the question that it answers.
        """
        return self._as_read(self._in_own_unit(said), asked)

    # -- distances ------------------------------------------------------------------------------

    def _as_read(self, said: Understanding, asked: Understanding | None) -> Understanding:
        """``said``, or the question whether a distance that does not follow was meant.

        What was asked about for this once, and is said again or agreed to, counts. In a breath nothing
        counts then, and it is said again by itself.
        """
        if said.decision is not Decision.ACCEPT:
            return said
        of_this = asked is not None and asked.asks is Asks.NOT_AS_KNOWN
        agreed = {one.meaning for one in asked.offered} if asked and of_this else set()
        corrects = said.dialogue is Command.CORRECTION
        for one in (part.finding for part in said.parts or (said,)):
            of_distance = one is not None and (one.component, one.characteristic) == (
                COMPONENT,
                READING,
            )
            if one is None or not of_distance or one.quantity is None or one.meaning in agreed:
                continue
            if one.quantity.high is not None or one.quantity.qualifier is not None:
                return _asked_in_full(said, one)
            here = [each for each in self.distances if each.inspection_id == self.inspection]
            others = [each for each in self.distances if each.inspection_id != self.inspection]
            at = max([self.begun, *(each.read_at for each in here)])
            known = others if corrects else [*others, *here]
            found = unlike(one.quantity, at, ((each.read_at, each.distance) for each in known))
            if found is not None:
                return _asked_again(said, one, *found)
        return said

    # -- units ------------------------------------------------------------------------------------

    def _in_own_unit(self, said: Understanding) -> Understanding:
        """A pressure or distance without its unit in the vehicle's own, where that can be meant."""
        if said.decision is not Decision.ASK or Flag.UNIT_ASSUMED not in said.flags:
            return said
        if said.asks not in (Asks.UNIT, Asks.PLACE_AND_UNIT, Asks.ASSUMED_UNIT):
            return said
        own = tuple(one for one in said.offered if self._is_own(one))
        if not own or {one.position for one in own} != {one.position for one in said.offered}:
            return self._naming_its_own(said)
        if len(own) > 1:
            if len(own) == len(said.offered):
                return said
            question = Question(Asks.PLACE_AND_UNIT, questions.still_open(own))
            return replace(said, candidates=own, finding=None, question=question)
        one = own[0]
        assert one.quantity is not None
        sure = _DOUBTS.isdisjoint(said.flags) and one.component != COMPONENT
        if sure:
            reason = f"no unit was said; taken as {one.quantity.unit}, the vehicle's own"
            return replace(
                said, decision=Decision.ACCEPT, finding=one, candidates=(), question=None,
                reason=reason,
            )  # fmt: skip
        question = Question(Asks.ASSUMED_UNIT, questions.this_quantity(one.quantity))
        return replace(said, candidates=own, finding=one, question=question)

    def _naming_its_own(self, said: Understanding) -> Understanding:
        """The question about a pressure's unit with the vehicle's own pressure in it, where there is one."""
        known = {self._pressure(one) for one in said.offered}
        if said.question is None or len(known) != 1 or not (own := known.pop()):
            return said
        told = questions.with_its_own(said.question.text, own)
        return replace(said, question=replace(said.question, text=told))

    def _pressure(self, one: Finding) -> str:
        """The vehicle's own pressure where ``one`` is one, as it was entered; else empty."""
        if (one.component, one.characteristic) != ("tyre", "pressure"):
            return ""
        return self.context.settings.get(_PRESSURE.get(one.position or "", ""), "")

    def _is_own(self, one: Finding) -> bool:
        """Whether ``one`` is in the vehicle's own unit, and near what is known."""
        value = one.quantity
        if value is None:
            return False
        if (one.component, one.characteristic) == (COMPONENT, READING):
            return bool(self.distances) and value.unit == self.distances[-1].distance.unit
        setting = self._pressure(one)
        try:
            own, unit = amount(setting) if setting else (Fraction(0), "")
        except UsageError:  # it cannot be meant, and says so where it is judged by
            return False
        ends = (value.value, value.value if value.high is None else value.high)
        return value.unit == unit and all(NEAR[0] * own <= end <= NEAR[1] * own for end in ends)


def _asked_in_full(said: Understanding, one: Finding) -> Understanding:
    """ "Nearly twenty thousand miles" is none of the vehicle's: its clock shows one figure."""
    if said.parts:
        return Breath(said.text, said.parts).asked(questions.ONE_FIGURE).whole
    asked = questions.in_full(questions.this_finding(one))
    return replace(
        said, decision=Decision.ASK, reason=questions.ONE_FIGURE, finding=None, candidates=(one,),
        question=Question(Asks.IN_FULL, asked),
    )  # fmt: skip


def _asked_again(said: Understanding, one: Finding, why: Unlike, known: Quantity) -> Understanding:
    assert one.quantity is not None
    reason = questions.not_as_known(why, tell.quantity(known))
    if said.parts:
        return Breath(said.text, said.parts).asked(reason).whole
    told = questions.distance_again(tell.quantity(one.quantity), tell.quantity(known))
    return replace(
        said,
        decision=Decision.ASK,
        reason=reason,
        candidates=(one,),
        question=Question(Asks.NOT_AS_KNOWN, told),
    )
