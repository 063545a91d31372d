"""One limit held against one finding: a judgement with its arithmetic (pure)."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import assert_never

from fieldlog.limits.aggregate import Reduced, reduce
from fieldlog.limits.decision import (
    DEFAULT_RULE,
    Tolerance,
    conformance_probability,
    conformity,
    guard_band,
)
from fieldlog.limits.uncertainty import Uncertainty
from fieldlog.model.finding import Finding, Qualifier, Quantity
from fieldlog.model.limit import Aggregation, Limit, Relation
from fieldlog.model.state import State
from fieldlog.model.verdict import Judgement
from fieldlog.quantities.units import UNITS, convert

SEVERENESS = (State.WITHIN, State.MARGINAL, State.UNDECIDED, State.FAULTY, State.BEYOND)
"""States from best to worst."""

_NEAR = {
    State.MARGINAL: "inside by less than the guard band",
    State.UNDECIDED: "outside by no more than the guard band",
}


def tolerance(limit: Limit) -> Tolerance:
    """The interval a limit allows, in its own unit; ``ValueError`` for a row without a value."""
    if limit.value is None:
        raise ValueError(f"limit {limit.id} has no value")
    match limit.relation:
        case Relation.AT_LEAST | Relation.MORE_THAN:
            return Tolerance(low=limit.value, open_low=limit.relation.is_open)
        case Relation.AT_MOST | Relation.LESS_THAN:
            return Tolerance(high=limit.value, open_high=limit.relation.is_open)
        case Relation.BETWEEN | Relation.IS:
            return Tolerance(low=limit.value, high=limit.high)
    assert_never(limit.relation)


def comparable(limit: Limit, quantity: Quantity) -> bool:
    """Whether the reading's unit measures the same kind of thing as the limit's."""
    if limit.value is None or limit.unit not in UNITS or quantity.unit not in UNITS:
        return False
    return UNITS[limit.unit].dimension == UNITS[quantity.unit].dimension


def judge(
    limit: Limit,
    finding: Finding,
    uncertainty: Uncertainty | None = None,
    rule: str = DEFAULT_RULE,
) -> Judgement:
    """Hold ``finding`` against ``limit``.

    The reading is converted exactly to the limit's unit; the limit is never converted. A range is
    judged by its worse end. Raises ``ValueError`` when the row cannot speak about the finding.
    """
    if limit.relation is Relation.IS:
        return _word(limit, finding)
    readings = finding.readings or ((finding.quantity,) if finding.quantity else ())
    if not readings or not all(comparable(limit, reading) for reading in readings):
        raise ValueError(f"limit {limit.id} does not speak about this finding")
    allowed = tolerance(limit)
    u = uncertainty.in_unit(limit.unit) if uncertainty else Fraction(0)
    # no uncertainty of a gauge makes a pad out of none, and a rule obeyed exactly is obeyed
    w = Fraction(0) if limit.outright or held_exactly(limit) else guard_band(u, rule)
    one_sided = [r for r in readings if r.qualifier in (Qualifier.LESS, Qualifier.MORE)]
    if one_sided:
        return _one_sided(limit, allowed, readings)
    ends = [convert(end, r.unit, limit.unit) for r in readings for end in _ends(r, limit, allowed)]
    if limit.relation is Relation.BETWEEN and any(r.high is not None for r in readings):
        reduced = Reduced(tuple(ends), "both ends of the range")
    else:
        reduced = reduce(
            ends,
            limit.aggregation,
            low=allowed.low is not None,
            high=allowed.high is not None,
        )
    if reduced.lacking:
        return Judgement(limit, State.UNDECIDED, None, reason=f"not judged: {reduced.lacking}")
    value = min(reduced.values, key=allowed.margin)
    state, reason = _state(value, allowed, w, reduced)
    ranged = any(r.high is not None for r in readings)
    how = [part for part in (reduced.how, "worse end of the range" if ranged else "") if part]
    return Judgement(
        limit=limit,
        state=state,
        margin=allowed.margin(value),
        probability=conformance_probability(float(value), float(u) / 2, allowed)
        if u
        else float(allowed.conforms(value)),
        guard_band=w,
        reading=value,
        reason="; ".join([*how, *([reason] if reason else [])]),
    )


TIME = "time"


def held_exactly(limit: Limit) -> bool:
    """Whether no guard band belongs to it: ages run by dates, and what is set by hand is marked so."""
    return limit.exact or UNITS[limit.unit].dimension == TIME


def outside(judgement: Judgement) -> bool:
    """Whether the reading itself lies outside the limit, decided or not.

    Not so for one that was said by its side only ("less than 3 mm") and may lie on either.
    """
    if judgement.state is State.BEYOND:
        return True
    margin = judgement.margin
    if margin is None or judgement.guard_band is None:
        return False
    return margin < 0 or (margin == 0 and judgement.limit.relation.is_open)


def _state(value: Fraction, allowed: Tolerance, w: Fraction, reduced: Reduced) -> tuple[State, str]:
    state = conformity(value, allowed, w)
    passes = state in (State.WITHIN, State.MARGINAL)
    if not reduced.open_points or (passes and reduced.sure):
        return state, _NEAR.get(state, "")
    if reduced.hope is not None and conformity(reduced.hope, allowed, w) is State.BEYOND:
        return State.BEYOND, "the points not read cannot change it"
    return State.UNDECIDED, reduced.open_points


def _ends(reading: Quantity, limit: Limit, allowed: Tolerance) -> tuple[Fraction, ...]:
    if reading.high is None:
        return (reading.value,)
    if limit.relation is Relation.BETWEEN:
        return (reading.value, reading.high)
    if limit.aggregation is Aggregation.MAGNITUDE:
        return (max(reading.value, reading.high, key=abs),)
    return (reading.value,) if allowed.low is not None else (reading.high,)


def _one_sided(limit: Limit, allowed: Tolerance, readings: Sequence[Quantity]) -> Judgement:
    """ "Less than" and "more than": decided when every value they leave open agrees."""
    worst: tuple[State, Fraction] | None = None
    for reading in readings:
        edge = convert(reading.value, reading.unit, limit.unit)
        if reading.qualifier is Qualifier.LESS:
            state = _below(edge, allowed)
        elif reading.qualifier is Qualifier.MORE:
            state = _above(edge, allowed)
        else:
            state = conformity(edge, allowed, Fraction(0))
        if worst is None or SEVERENESS.index(state) > SEVERENESS.index(worst[0]):
            worst = state, edge
    assert worst is not None  # the caller passes one reading or more
    state, edge = worst
    said = next(r.qualifier for r in readings if r.qualifier in (Qualifier.LESS, Qualifier.MORE))
    return Judgement(
        limit,
        state,
        allowed.margin(edge),
        reading=edge,
        reason=f"judged as {said.value} the value said"
        if said and state is not State.UNDECIDED
        else f"{said.value if said else ''} that value can lie on either side of the limit",
    )


def _below(edge: Fraction, allowed: Tolerance) -> State:
    if allowed.low is not None and edge <= allowed.low:
        return State.BEYOND
    if allowed.low is None and allowed.high is not None and edge <= allowed.high:
        return State.WITHIN
    return State.UNDECIDED


def _above(edge: Fraction, allowed: Tolerance) -> State:
    if allowed.high is not None and edge >= allowed.high:
        return State.BEYOND
    if allowed.high is None and allowed.low is not None and edge >= allowed.low:
        return State.WITHIN
    return State.UNDECIDED


def _word(limit: Limit, finding: Finding) -> Judgement:
    said = finding.condition or finding.code
    if said is None or said not in limit.words:
        raise ValueError(f"limit {limit.id} does not speak about this finding")
    return Judgement(limit, limit.outcome, None, reason=f"found {said}")
