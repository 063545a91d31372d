"""Why a verdict is what it is: the arithmetic, the limit as printed, its source (pure)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from fieldlog.catalogue.component import CONDITION
from fieldlog.limits.applies import (
    assumptions,
    holds,
    in_reach,
    missing_keys,
    qualifier_holds,
)
from fieldlog.limits.check import GATING, speaks_of
from fieldlog.limits.context import SETTINGS
from fieldlog.limits.decision import DEFAULT_RULE, RULES
from fieldlog.limits.judge import held_exactly
from fieldlog.limits.page import source
from fieldlog.limits.uncertainty import uncertainty_of
from fieldlog.model.context import Context
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.limit import Limit, LimitStatus
from fieldlog.model.state import State
from fieldlog.model.verdict import Judgement, Verdict
from fieldlog.quantities.units import convert
from fieldlog.words import tell


@dataclass(frozen=True, slots=True)
class Considered:
    """A row about the same component and characteristic that was not applied, and why."""

    limit: Limit
    why_not: str


def considered(finding: Finding, limits: Sequence[Limit], context: Context) -> list[Considered]:
    """Rows that speak about the finding but do not apply in the context, each with its reason."""
    settings = {**assumptions(context), **context.settings}
    found = []
    for limit in limits:
        if not speaks_of(limit, finding):
            continue
        if not in_reach(limit, context):
            here = context.jurisdiction or "no jurisdiction"
            found.append(Considered(limit, f"holds in {limit.applies['jurisdiction']}, not {here}"))
        elif missing_keys(limit, finding, settings) is None:
            found.append(Considered(limit, _mismatch(limit, finding, context)))
    return found


def explain(
    finding: Finding,
    verdict: Verdict,
    context: Context,
    limits: Sequence[Limit] = (),
    default_uncertainty: Quantity | None = None,
) -> list[str]:
    """The verdict taken apart, line by line; ``limits`` adds the rows that do not apply here.

    Margin and guard band are in the limit's unit as printed; the reading is converted to it
    exactly. Raises ``UsageError`` when the context's uncertainty has a unit of another kind.
    """
    lines = [f"finding       {_finding(finding)}"]
    severity = tell.severity(verdict)
    lines.append(f"verdict       {tell.state(verdict, loud=True)}{severity and f', {severity}'}")
    if verdict.reason:
        lines.append(f"because       {verdict.reason}")
    if doubt := tell.doubt(verdict):
        lines.append(f"in doubt      {doubt}: it counts until it is settled")
    lines.append(f"where         {_context(context)}")
    if verdict.gate is not None:
        gate = verdict.gate
        lines += ["", f"gated by      {tell.limit_in_full(gate.limit)}   [{gate.limit.id}]"]
        if _about(gate, finding):
            lines += _details(gate, finding, context, default_uncertainty)
        else:
            lines.append(f"  through     {gate.limit.characteristic}, derived below")
    for judgement in verdict.others:
        if not _about(judgement, finding):
            continue
        lines += [
            "",
            f"also applies  {tell.limit_in_full(judgement.limit)}   [{judgement.limit.id}]",
        ]
        lines.append(f"  verdict     {tell.state(judgement)}")
        lines.append(f"  no gate     {_why_no_gate(judgement, verdict)}")
        lines += _details(judgement, finding, context, default_uncertainty, brief=True)
    others = considered(finding, limits, context)
    if others:
        lines.append("")
        lines.append("does not apply here:")
        lines += [
            f"  {each.limit.id}: {tell.limit_in_full(each.limit)}; {each.why_not}"
            for each in others
        ]
    lines += [f"caution       {text}" for text in verdict.cautions]
    return lines


def _about(judgement: Judgement, finding: Finding) -> bool:
    """Whether the judgement is of the finding itself, not of something derived from it."""
    return judgement.limit.characteristic == (finding.characteristic or CONDITION)


def _details(
    judgement: Judgement,
    finding: Finding,
    context: Context,
    default: Quantity | None,
    *,
    brief: bool = False,
) -> Iterator[str]:
    limit = judgement.limit
    yield f"  source      {source(limit)}"
    if limit.text:
        yield f"  read        {limit.text!r}"
    yield f"  status      {limit.status.value}, layer {limit.layer}"
    yield f"  severity    {tell.severity_from(limit)}"
    if limit.scope and not brief:
        yield f"  scope       {limit.scope}"
    if judgement.reading is None or judgement.margin is None:
        return
    yield f"  reading     {_conversion(judgement, finding)}"
    margin = judgement.margin
    side = "inside" if margin > 0 else "outside" if margin < 0 else "on the limit"
    yield f"  margin      {_difference(judgement, finding)} = {_rounded(margin, limit.unit, signed=True)}, {side}"
    if not brief:
        yield from _uncertainty(judgement, finding, context, default)


def _conversion(judgement: Judgement, finding: Finding) -> str:
    limit, value = judgement.limit, judgement.reading
    assert value is not None  # the caller checks
    readings = finding.readings or ((finding.quantity,) if finding.quantity else ())
    exact = tell.exactly(value, limit.unit)
    if len(readings) == 1:
        reading = readings[0]
        ends = [reading.value] + ([reading.high] if reading.high is not None else [])
        used = next((e for e in ends if convert(e, reading.unit, limit.unit) == value), None)
        if used is not None and reading.unit == limit.unit:
            return exact
        if used is not None:
            return f"{tell.exactly(used, reading.unit)} = {exact}, exactly"
    how = f" ({judgement.reason})" if judgement.reason else ""
    return f"{exact} from {', '.join(tell.exactly(r.value, r.unit) for r in readings)}{how}"


def _difference(judgement: Judgement, finding: Finding) -> str:
    """``reading - limit`` or ``limit - reading``, both exact, the limit as it is printed, the reading as said:
    ``3/32 (0.09375) - 2/32``."""
    limit, value = judgement.limit, judgement.reading
    assert value is not None
    assert limit.value is not None
    upper = limit.relation.is_upper or (
        limit.high is not None and limit.high - value == judgement.margin
    )
    if limit.high is not None:
        end = tell.figure(limit.high if upper else limit.value)
    else:
        end = limit.printed.partition(" ")[0]
    figure = _said_figure(value, limit.unit, finding)
    return f"{end} - {figure}" if upper else f"{figure} - {end}"


def _said_figure(value: Fraction, unit: str, finding: Finding) -> str:
    """A figure as it was said, with the decimal that is reckoned with where it was said as a fraction."""
    readings = finding.readings or ((finding.quantity,) if finding.quantity else ())
    same = (r.words for r in readings if r.unit == unit and r.value == value and r.high is None)
    said, reckoned = tell.number(value, unit, next(same, "")), tell.figure(value)
    return f"{said} ({reckoned})" if "/" in said and "/" not in reckoned else reckoned


def _uncertainty(
    judgement: Judgement, finding: Finding, context: Context, default: Quantity | None
) -> Iterator[str]:
    unit = judgement.limit.unit
    readings = finding.readings or ((finding.quantity,) if finding.quantity else ())
    if judgement.limit.outright:
        yield "  guard band  none: no uncertainty brings back what is gone"
        return
    if judgement.guard_band is None or not readings:
        yield "  guard band  none: judged by the side of the value that was said"
        return
    if held_exactly(judgement.limit):
        yield "  guard band  none: what is set by hand, or runs by dates, is held to the value itself"
        return
    found = uncertainty_of(readings[0], context, default)
    rule = context.settings.get("decision_rule", DEFAULT_RULE)
    yield (
        f"  uncertainty U = {_rounded(found.value, found.unit)} (k = 2), {found.origin}"
        + ("" if found.unit == unit else f" = {_rounded(found.in_unit(unit), unit)}")
    )
    yield (
        f"  guard band  w = {tell.figure(RULES[rule])} x U = {_rounded(judgement.guard_band, unit)}, "
        f"rule {rule}: within needs a margin of w, beyond lies w outside"
    )
    if judgement.probability is not None:
        yield f"  probability {tell.probability(judgement.probability)} that the true value conforms"


def _why_no_gate(judgement: Judgement, verdict: Verdict) -> str:
    limit = judgement.limit
    if not judgement.judged:
        return judgement.reason
    if limit.status is LimitStatus.MEMORY:
        return "from memory: nobody here has read the original"
    if verdict.gate is None:
        return "more must be known first"
    if limit.status is LimitStatus.COMMON and verdict.gate.limit.status in GATING:
        return "common practice stands behind a cited or entered limit"
    if limit.status in GATING and verdict.gate.limit.status not in GATING:
        return "an equipment standard does not clear what common practice advises against"
    if verdict.state is State.UNDECIDED:
        return "it depends on what is not set yet"
    return f"{verdict.gate.limit.id} is at least as strict"


def _mismatch(limit: Limit, finding: Finding, context: Context) -> str:
    taken = assumptions(context)
    if qualifier_holds(limit, context.settings) is False:
        return f'it asks for "{limit.asks}", which does not hold'
    for key, wanted in limit.applies.items():
        if key == "jurisdiction":
            continue
        if key == "position":
            if missing_keys(_only(limit, key), finding, {}) is None:
                return f"for position {wanted}, not {finding.position or 'unknown'}"
            continue
        given = context.settings.get(key, taken.get(key))
        if given is not None and not holds(wanted, given):
            assumed = "" if key in context.settings else ", assumed"
            return f"for {key} {wanted}, not {given}{assumed}"
    return "its conditions are not met"


def _only(limit: Limit, key: str) -> Limit:
    return replace(limit, applies={key: limit.applies[key]})


def _finding(finding: Finding) -> str:
    text = tell.finding(finding)
    return f'{text}   ("{finding.words}")' if finding.words else text


def _rounded(value: Fraction, unit: str, *, signed: bool = False) -> str:
    return tell.rounded(value, unit, signed=signed, digits=4, marked=False)


def _context(context: Context) -> str:
    parts = [context.jurisdiction or "no jurisdiction: equipment standards and common practice"]
    parts += [f"{key}={value}" for key, value in context.settings.items() if key in SETTINGS]
    return ", ".join(parts)
