"""A finding held against every limit, its own and those of what is derived from it (pure)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from fieldlog.catalogue.component import WORK, Catalogue
from fieldlog.limits.cautions import cautioned
from fieldlog.limits.check import check, merge_readings, worse_severity
from fieldlog.limits.from_finding import Derived, Lacking, derive
from fieldlog.limits.judge import SEVERENESS
from fieldlog.model.context import Context
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.limit import Aggregation, Limit
from fieldlog.model.state import State
from fieldlog.model.verdict import Verdict

_OVER_SEVERAL = (Aggregation.SPREAD, Aggregation.PAIR_DIFFERENCE)
"""Aggregations that say nothing of one reading."""
_OF_SEVERAL = ("gravity spread",)
"""Derived characteristics that need several readings."""


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
    beside: Sequence[Finding] = (),
) -> Assessment:
    """Check ``finding`` and everything derived from it; the worst decided verdict is its verdict.

    ``today`` is the day of the inspection; ``beside`` holds the other findings that stand in it:
    cells that were said one by one are held against the limits on their spread together. Raises
    ``UsageError`` where the context contradicts the reading (an uncertainty in another unit).
    """
    context = context_for(finding, context, today)
    own = checked(finding, limits, context, catalogue)
    together = in_a_row(finding, beside)
    derived: list[tuple[Derived, Verdict]] = []
    lacking: list[Lacking] = []
    for result in derive(finding, context, today):
        if isinstance(result, Lacking):
            lacking.append(result)
        else:
            there = context_for(result.finding, context, today)
            derived.append((result, checked(result.finding, limits, there, catalogue)))
    if together is not None:
        for each in derive(together, context, today):
            if isinstance(each, Derived) and each.finding.characteristic in _OF_SEVERAL:
                derived.append((each, checked(each.finding, limits, context, catalogue)))
    verdict = own
    if together is not None:
        over = [limit for limit in limits if limit.aggregation in _OVER_SEVERAL]
        told = f"with {len(together.readings)} cells of this inspection"
        verdict = _worse(verdict, checked(together, over, context, catalogue), told)
    for result, other in derived:
        verdict = _worse(verdict, other, result.arithmetic)
    if verdict.gate is None and lacking:
        hints = "; ".join(each.what for each in lacking)
        verdict = replace(verdict, reason=f"{verdict.reason}; {hints}" if verdict.reason else hints)
    return Assessment(
        cautioned(verdict, finding.component, catalogue),
        tuple(
            (each, cautioned(of_it, each.finding.component, catalogue)) for each, of_it in derived
        ),
        tuple(lacking),
    )


def context_for(finding: Finding, context: Context, today: date) -> Context:
    """``context`` with the day of the inspection and what was said together with the value."""
    settings = {"date": today.isoformat(), **context.settings, **dict(finding.given)}
    return replace(context, settings=settings)


def in_a_row(finding: Finding, beside: Sequence[Finding]) -> Finding | None:
    """``finding`` as one with those ``beside`` it that read the other cells; None where none do.

    Of a cell read twice the newest reading counts.
    """
    if not _is_cell(finding):
        return None
    cells = {each.position: each for each in beside if _same_row(each, finding)}
    cells[finding.position] = finding
    return merge_readings(list(cells.values())) if len(cells) > 1 else None


def again(
    changed: Finding, standing: Sequence[tuple[str, Finding]]
) -> tuple[tuple[str, Finding], ...]:
    """Findings (id, finding) whose verdict leans on ``changed``, which no longer stands as it was."""
    return tuple(each for each in standing if _is_cell(changed) and _same_row(each[1], changed))


def _is_cell(finding: Finding) -> bool:
    return finding.quantity is not None and (finding.position or "").startswith("cell ")


def _same_row(one: Finding, other: Finding) -> bool:
    alike = (one.component, one.characteristic) == (other.component, other.characteristic)
    return alike and _is_cell(one)


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

    The catalogue never says *beyond*: what is not as it should be is *faulty* then, with its
    severity, and what is as it should be is *within*. Beside a row the worse severity counts.
    """
    component = catalogue.get(finding.component)
    if component is None or finding.condition is None:
        return verdict
    if finding.characteristic == WORK:
        return replace(verdict, reason="work that was done: nothing is judged by it")
    try:
        severity = component.severity(finding.condition, finding.characteristic)
    except KeyError:
        return verdict
    if verdict.gate is not None or verdict.state is not State.UNDECIDED:
        if verdict.state is State.WITHIN:
            return verdict
        return replace(verdict, severity=worse_severity(verdict.severity, severity))
    if severity is None:
        return replace(verdict, state=State.WITHIN, reason="found as it should be; no limit cited")
    reason = f"{finding.condition}: common practice, {severity.value}; no limit cited"
    return replace(verdict, state=State.FAULTY, severity=severity, reason=reason)


def _worse(one: Verdict, other: Verdict, arithmetic: str) -> Verdict:
    """Whichever decides more against the finding; a verdict without a gate never outranks one.

    The worse severity of either stays with it.
    """
    if other.gate is None:
        return one
    severity = worse_severity(one.severity, other.severity)
    told = replace(other, reason=f"{arithmetic}: {other.reason}" if other.reason else arithmetic)
    judged = one.state is State.FAULTY  # by the catalogue
    if one.gate is None and judged and _weight(told) < _weight(one):
        return replace(one, others=(*one.others, other.gate, *other.others))
    if one.gate is None:
        return replace(
            told,
            others=(*told.others, *one.others),
            severity=None if told.state is State.WITHIN else severity,
        )
    keep, drop = (told, one) if _weight(told) > _weight(one) else (one, told)
    dropped = (drop.gate,) if drop.gate is not None else ()
    return replace(
        keep,
        others=(*keep.others, *dropped, *drop.others),
        severity=severity,
    )


def _weight(verdict: Verdict) -> tuple[bool, int]:
    """Order of what counts: that one verdict is open hides no other that asks for work."""
    return verdict.severity is not None, SEVERENESS.index(verdict.state)
