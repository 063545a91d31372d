"""Rows of ``tests/data/utterances/breaths.toml``: what one breath holds."""

from __future__ import annotations

import tomllib
from typing import Any

from fieldlog.language.breath import Breath
from fieldlog.model import Finding, Quantity
from tests.utterances import FOLDER

KEYS = {"w", "d", "parts", "left", "f", "t", "q"}


def rows() -> list[dict[str, Any]]:
    """The rows, in order."""
    return list(tomllib.loads((FOLDER / "breaths.toml").read_text("utf-8"))["breaths"])


def faults(row: dict[str, Any], found: Breath) -> list[str]:
    """What ``found`` gets wrong of ``row``; empty when all is right."""
    assert set(row) <= KEYS, f"unknown keys in {row}"
    got = {
        "d": found.whole.decision.value,
        "parts": [written(one) for part in found.parts for one in part.offered],
        "left": " ".join(found.left_over),
        "t": found.whole.dialogue,
    }
    wanted = {"d": "accept", "parts": [], "left": "", "t": None} | row
    wrong = [
        f"{key}: wanted {wanted[key]!r}, got {got[key]!r}" for key in got if wanted[key] != got[key]
    ]
    flags = found.whole.flags
    if row.get("f") == [] and flags:
        wrong.append(f"flags: {flags}")
    if "q" in row and row["q"] != found.whole.asks:
        wrong.append(f"question: wanted {row['q']!r}, got {found.whole.asks!r}")
    return wrong + [f"flag {flag!r} is missing" for flag in row.get("f", ()) if flag not in flags]


def written(one: Finding) -> str:
    """A finding as rows write it: "tyre, rear, tread depth: 1/8 in"."""
    values = [one.quantity] if one.quantity is not None else one.readings
    told = one.condition or one.code or ", ".join(_value(value) for value in values)
    given = "".join(f" ({name} {value})" for name, value in one.given)
    return f"{', '.join(n for n in (one.component, one.position, one.characteristic) if n)}: {told}{given}"


def _value(value: Quantity) -> str:
    high = "" if value.high is None else f"..{value.high}"
    return f"{value.value}{high} {value.unit}"
