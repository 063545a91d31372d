"""Rows of ``tests/data/utterances``: words and what they must be understood as."""

from __future__ import annotations

import tomllib
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

from fieldlog.model.finding import Finding, Qualifier, Quantity
from fieldlog.model.understanding import Understanding

FOLDER = Path(__file__).parent / "data" / "utterances"
_SIGNS = {"<": Qualifier.LESS, ">": Qualifier.MORE, "~": Qualifier.ABOUT}
KEYS = {"w", "d", "c", "p", "k", "v", "s", "g", "r", "f", "n", "why", "t", "x", "remark"}


def rows(*names: str) -> list[dict[str, Any]]:
    """The rows of the named files, or of all files below the folder."""
    files = [FOLDER / name for name in names] if names else sorted(FOLDER.rglob("*.toml"))
    return [row for file in files for row in _of(file)]


@cache  # some tests go through all rows for each of a hundred limits
def _of(file: Path) -> list[dict[str, Any]]:
    return list(tomllib.loads(file.read_text("utf-8")).get("rows", []))


def faults(row: dict[str, Any], found: Understanding) -> list[str]:
    """What ``found`` gets wrong of ``row``; empty when all is right."""
    assert set(row) <= KEYS, f"unknown keys in {row}"
    wrong = []

    def expect(name: str, wanted: object, got: object) -> None:
        if wanted != got:
            wrong.append(f"{name}: wanted {wanted!r}, got {got!r}")

    expect("decision", row.get("d", "accept"), found.decision.value)
    if "why" in row and row["why"] not in found.reason:
        wrong.append(f"reason: wanted {row['why']!r} in {found.reason!r}")
    if "n" in row:
        expect("candidates", row["n"], len(found.candidates))
    if "f" in row:
        if row["f"]:
            expect("flags", [], [flag for flag in row["f"] if flag not in found.flags])
        else:
            expect("flags", (), found.flags)
    expect("dialogue", row.get("t"), found.dialogue)
    if "remark" in row:
        expect("kind", "remark", found.kind.value)
        expect("remark", row["remark"], found.slots.get("remark"))
    for slot, value in row.get("x", {}).items():
        expect(f"slot {slot}", value, found.slots.get(slot))
    if "c" in row:
        if found.finding is None:
            wrong.append("no finding")
        else:
            _finding(row, found.finding, expect)
    elif row.get("d", "accept") == "accept":
        expect("finding", None, found.finding)
    return wrong


def _finding(row: dict[str, Any], finding: Finding, expect: Any) -> None:
    expect("component", row["c"], finding.component)
    expect("position", row.get("p"), finding.position)
    expect("characteristic", row.get("k"), finding.characteristic)
    expect("condition", row.get("s"), finding.condition)
    if "g" in row:
        expect("code", row["g"], finding.code)
    if "v" in row:
        expect("quantity", row["v"], finding.quantity and _written(finding.quantity, row["v"]))
    if "r" in row:
        expect("readings", row["r"], [_written(value, "") for value in finding.readings])


def _written(quantity: Quantity, like: str) -> str:
    """A quantity as rows write it: "1/8 in", "2..3 mm", "< 2 mm"."""
    text = str(Fraction(quantity.value))
    if quantity.high is not None:
        text += f"..{Fraction(quantity.high)}"
    sign = next((sign for sign, q in _SIGNS.items() if q == quantity.qualifier), "")
    return f"{sign} {text} {quantity.unit}".strip()
