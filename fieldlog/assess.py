"""A finding held against every limit, its own and those of what is derived from it (pure)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from fieldlog.catalogue.component import Catalogue
from fieldlog.derived.from_finding import Derived, Lacking, derive
from fieldlog.limits.cautions import cautions
from fieldlog.limits.check import check
from fieldlog.model import Context, Finding, Limit, Quantity, Severity, State, Verdict

_ORDER = (State.WITHIN, State.MARGINAL, State.UNDECIDED, State.BEYOND)


@dataclass(frozen=True, slots=True)
class Assessment:
    """The verdict of a finding, with what was computed on the way to it."""

    verdict: Verdict
    derived: tuple[tuple[Derived, Verdict], ...] = ()
    lacking: tuple[Lacking, ...] = ()
    """What could have been computed if one more thing were known."""


def assess(
    finding: Finding,
    limits: Sequence[Limit],
    context: Context,
    catalogue: Catalogue,
    today: date,
) -> Assessment:
    """Check ``finding`` and everything derived from it; the worst decided verdict is its verdict.

    ``today`` is the day of the inspection. Raises ``UsageError`` where the context contradicts the
    reading (an uncertainty in another kind of unit).
    """
    if "date" not in context.settings:
        context = replace(context, settings={**context.settings, "date": today.isoformat()})
    own = checked(finding, limits, context, catalogue)
    derived: list[tuple[Derived, Verdict]] = []
    lacking: list[Lacking] = []
    for result in derive(finding, context, today):
        if isinstance(result, Lacking):
            lacking.append(result)
        else:
            derived.append((result, checked(result.finding, limits, context, catalogue)))
    verdict = own
    for result, other in derived:
        verdict = _worse(verdict, other, result.arithmetic)
    if verdict.gate is None and lacking:
        hints = "; ".join(each.what for each in lacking)
        verdict = replace(verdict, reason=f"{verdict.reason}; {hints}" if verdict.reason else hints)
    return Assessment(verdict, tuple(derived), tuple(lacking))


def checked(
    finding: Finding, limits: Sequence[Limit], context: Context, catalogue: Catalogue
) -> Verdict:
    """The verdict on ``finding`` alone, with the catalogue's uncertainty and severities."""
    verdict = check(
        finding, limits, context, default_uncertainty=usual_uncertainty(finding, catalogue)
    )
    if finding.condition is None:
        return verdict
    return _with_severity(verdict, finding, catalogue)


def usual_uncertainty(finding: Finding, catalogue: Catalogue) -> Quantity | None:
    """The catalogue's U (k = 2) for this reading, in the reading's unit; None where it has none."""
    component = catalogue.get(finding.component)
    quantity = finding.quantity or (finding.readings[0] if finding.readings else None)
    characteristic = component.characteristic(finding.characteristic) if component else None
    if quantity is None or characteristic is None:
        return None
    known = characteristic.uncertainty(quantity.unit)
    if known is None:
        return None
    return Quantity(known.of(quantity.value, quantity.unit), quantity.unit, words=known.instrument)


def _with_severity(verdict: Verdict, finding: Finding, catalogue: Catalogue) -> Verdict:
    """A condition without a limit of its own is judged by the catalogue: common practice.

    Common practice alone never says *beyond*: what is not as it should be is *marginal* then, with
    its severity, and what is as it should be is *within*.
    """
    component = catalogue.get(finding.component)
    if component is None or finding.condition is None:
        return verdict
    try:
        severity = component.severity(finding.condition, finding.characteristic)
    except KeyError:
        return verdict
    if verdict.gate is not None or verdict.state is not State.UNDECIDED:
        return replace(verdict, severity=verdict.severity or _unless_within(verdict, severity))
    if severity is None:
        return replace(verdict, state=State.WITHIN, reason="found as it should be; no limit cited")
    reason = f"{finding.condition}: common practice, {severity.value}; no limit cited"
    told = cautions(finding, State.MARGINAL)
    return replace(verdict, state=State.MARGINAL, severity=severity, reason=reason, cautions=told)


def _unless_within(verdict: Verdict, severity: Severity | None) -> Severity | None:
    return None if verdict.state is State.WITHIN else severity


def _worse(one: Verdict, other: Verdict, arithmetic: str) -> Verdict:
    """Whichever decides more against the finding; a verdict without a gate never outranks one."""
    if other.gate is None:
        return one
    told = replace(other, reason=f"{arithmetic}: {other.reason}" if other.reason else arithmetic)
    if one.gate is None:
        return replace(told, others=(*told.others, *one.others), cautions=one.cautions)
    keep, drop = (told, one) if _ORDER.index(told.state) > _ORDER.index(one.state) else (one, told)
    dropped = (drop.gate,) if drop.gate is not None else ()
    return replace(keep, others=(*keep.others, *dropped, *drop.others))
