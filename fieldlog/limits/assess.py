"""Limits met with the catalogue: conditions classed, usual uncertainty, cautions (pure).

A condition ("cracked", "leaking") is not a value on a scale: it stands or it does not. The catalogue
classes every condition a component can be found in as *minor*, *major* or *dangerous*, the classes
of directive 2014/45/EU; the class is fieldlog's own assessment and is shown as such. A vehicle with
minor deficiencies only passes an inspection under that directive, one with a major or dangerous one
does not: so minor is *marginal*, major and dangerous are *beyond*. A cited row about the same
condition goes first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from fieldlog.catalogue.component import Catalogue, Component
from fieldlog.limits.check import check
from fieldlog.model import (
    Context,
    Finding,
    Limit,
    LimitStatus,
    Quantity,
    Severity,
    State,
    Verdict,
)

SOURCE = "fieldlog's assessment in the classes of directive 2014/45/EU"


def assess(
    finding: Finding, catalogue: Catalogue, limits: Sequence[Limit], context: Context
) -> Verdict:
    """The verdict on a finding by ``limits`` and by what the catalogue says of its component.

    Raises ``UsageError`` when the context's uncertainty has a unit of another kind.
    """
    component = catalogue.get(finding.component)
    rows = assessments(component) if component else ()
    verdict = check(
        finding,
        [*limits, *rows],
        context,
        default_uncertainty=usual_uncertainty(catalogue, finding),
    )
    if component and verdict.cautions:
        own = tuple(text for text in component.cautions if text not in verdict.cautions)
        verdict = replace(verdict, cautions=(*own, *verdict.cautions))
    return verdict


def assessments(component: Component) -> tuple[Limit, ...]:
    """One row for every condition the component or one of its characteristics can be found in."""
    return tuple(
        Limit(
            id=f"assessment.{component.name}.{characteristic}.{condition}",
            pack="assessment",
            component=component.name,
            characteristic=characteristic,
            relation="is",
            value=None,
            unit="",
            aggregation="single",
            applies={},
            source=SOURCE,
            edition="",
            read_on="",
            status=LimitStatus.COMMON,
            severity=severity or Severity.MINOR,
            advice=component.beyond.do if severity else "",
            words=(condition,),
            outcome=outcome(severity),
            layer="assessment",
        )
        for characteristic, condition, severity in component.judged()
    )


def outcome(severity: Severity | None) -> State:
    """The verdict that follows from a condition's class."""
    if severity is None:
        return State.WITHIN
    return State.MARGINAL if severity is Severity.MINOR else State.BEYOND


def usual_uncertainty(catalogue: Catalogue, finding: Finding) -> Quantity | None:
    """U (k = 2) of the instrument usual for the characteristic, or None where none is known."""
    component = catalogue.get(finding.component)
    characteristic = component.characteristic(finding.characteristic) if component else None
    readings = finding.readings or ((finding.quantity,) if finding.quantity else ())
    if characteristic is None or not readings:
        return None
    unit = readings[0].unit
    known = characteristic.uncertainty(unit)
    if known is None:
        return None
    largest = max((abs(each.value) for each in readings if each.unit == unit), default=Fraction(0))
    return Quantity(known.of(largest, unit), unit)
