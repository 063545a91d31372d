"""Findings, limits and verdicts as the values that programs read (pure).

Exact values are two integers, ``num`` and ``den``; instants are ISO 8601 in UTC; ``margin`` is a float in the
limit's unit, > 0 inside.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from datetime import date, datetime
from enum import Enum
from fractions import Fraction
from typing import Any

from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.limit import Limit
from fieldlog.model.verdict import Judgement, Verdict
from fieldlog.quantities.instants import instant_text

Json = dict[str, Any]


def told(of: Any, *apart: str) -> Json:
    """Each field of the dataclass ``of`` under its name, save those told ``apart``."""
    return picked(of, *(each.name for each in fields(of) if each.name not in apart))


def picked(of: object, *names: str) -> Json:
    """These attributes of ``of`` under their names."""
    return {name: _value(getattr(of, name)) for name in names}


def _value(value: Any) -> Any:
    match value:
        case datetime():
            return instant_text(value)
        case date():
            return value.isoformat()
        case Enum():
            return value.value
        case Mapping():
            return dict(value)
        case tuple():
            return [_value(each) for each in value]
        case _:
            return value


def exact(value: Fraction | None, before: str = "") -> Json:
    """``num`` and ``den``, null where there is no value; ``before`` their names (``high_``)."""
    top, bottom = (None, None) if value is None else (value.numerator, value.denominator)
    return {f"{before}num": top, f"{before}den": bottom}


def exact_json(quantity: Quantity | None) -> Json | None:
    """``{num, den, unit, words}`` with the high end, qualifier and uncertainty where present."""
    if quantity is None:
        return None
    found = {**exact(quantity.value), **picked(quantity, "unit", "words")}
    if quantity.high is not None:
        found |= exact(quantity.high, "high_")
    if quantity.qualifier is not None:
        found |= picked(quantity, "qualifier")
    if quantity.uncertainty is not None:
        found |= exact(quantity.uncertainty, "uncertainty_")
    return found


def finding_json(finding: Finding, verdict: Verdict | None) -> Json:
    """One finding with its verdict."""
    return {
        **told(finding, "quantity", "readings", "given"),
        "quantity": exact_json(finding.quantity),
        "readings": [exact_json(reading) for reading in finding.readings],
        "given": dict(finding.given),
        "verdict": verdict_json(verdict),
    }


def limit_json(limit: Limit) -> Json:
    """A limit as printed, with its source."""
    names = ("id", "relation", "unit", "printed", "source", "edition", "status")
    return {**exact(limit.value), **picked(limit, *names)}


def judgement_json(judgement: Judgement | None) -> Json | None:
    """One limit with its value as printed, source and status, and what it says."""
    if judgement is None:
        return None
    return {
        **picked(judgement, "state", "probability", "reason"),
        "limit": limit_json(judgement.limit),
        "margin": None if judgement.margin is None else float(judgement.margin),
        "guard_band": None if judgement.guard_band is None else float(judgement.guard_band),
    }


def verdict_json(verdict: Verdict | None) -> Json | None:
    """State, severity, reason, cautions, and every limit that was held against the finding."""
    if verdict is None:
        return None
    return {
        **picked(verdict, "state", "severity", "reason", "cautions"),
        "gate": judgement_json(verdict.gate),
        "others": [judgement_json(other) for other in verdict.others],
    }
