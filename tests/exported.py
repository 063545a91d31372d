"""Reading back what an export wrote, as somebody else's program would."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from fractions import Fraction
from typing import Any

from fieldlog.model.finding import Finding, Qualifier, Quantity


def exact_from_json(value: dict[str, Any] | None) -> Quantity | None:
    """The quantity that ``exact_json`` wrote."""
    if value is None:
        return None

    def part(name: str) -> Fraction | None:
        return Fraction(value[f"{name}num"], value[f"{name}den"]) if f"{name}num" in value else None

    return Quantity(
        value=Fraction(value["num"], value["den"]),
        unit=value["unit"],
        words=value["words"],
        high=part("high_"),
        qualifier=Qualifier(value["qualifier"]) if "qualifier" in value else None,
        uncertainty=part("uncertainty_"),
    )


def finding_from_json(value: dict[str, Any]) -> Finding:
    """The finding that ``finding_json`` wrote; its verdict belongs to the limits of its time."""
    readings = (exact_from_json(reading) for reading in value["readings"])
    return Finding(
        component=value["component"],
        position=value["position"],
        characteristic=value["characteristic"],
        quantity=exact_from_json(value["quantity"]),
        condition=value["condition"],
        code=value["code"],
        readings=tuple(reading for reading in readings if reading is not None),
        words=value["words"],
        given=tuple(value["given"].items()),
    )


def read_csv(text: str) -> Iterable[dict[str, str]]:
    """The lines of ``findings_csv`` back, by column, without the guard in front of formulas."""
    for row in csv.DictReader(io.StringIO(text)):
        yield {
            key: value[1:] if value[:2] in {"'=", "'+", "'-", "'@", "'\t", "'\r"} else value
            for key, value in row.items()
        }
