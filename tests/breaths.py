"""Rows of ``tests/data/utterances/breaths.toml``: what one breath holds; and pairs of other rows.

``python -m tests.breaths 1200`` prints what becomes of so many pairs.
"""

from __future__ import annotations

import random
import sys
import time
import tomllib
from collections import Counter
from collections.abc import Iterator
from typing import Any

from fieldlog.language.breath import Breath
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.understanding import Decision
from tests import utterances
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


JOINED = (", ", " and ", " then ", " but ", " ")


def pairs(count: int, seed: int = 12) -> Iterator[tuple[str, str, str]]:
    """Two accepted rows with what joins them, drawn at random."""
    single = [
        row["w"]
        for row in utterances.rows(
            "tyres_brakes.toml", "battery_drive_fluids.toml", "rest_of_the_walk.toml"
        )
        if row.get("d", "accept") == "accept" and "c" in row
    ]
    draw = random.Random(seed)
    for _ in range(count):
        yield draw.choice(single), draw.choice(JOINED), draw.choice(single)


def outcome(language: InspectionLanguage, first: str, joined: str, second: str) -> str:
    """What becomes of two findings in one breath."""
    said = [language.understand(words).finding for words in (first, second)]
    meant = [one.meaning for one in said if one is not None]
    found = language.breath(f"{first}{joined}{second}")
    if found.whole.decision is Decision.REFUSE:
        return "refused"
    offered = [one.meaning for part in found.parts for one in part.offered]
    if found.whole.decision is Decision.ASK:
        return "asked, both offered" if {*meant} <= {*offered} else "asked, not both offered"
    return "both right" if offered == meant else "WRONG"


def main() -> None:
    """Print the counts, and the CPU time of one breath."""
    language = load_language()
    counts: Counter[str] = Counter()
    took = []
    for pair in pairs(int(sys.argv[1]), seed=1):
        began = time.process_time()
        language.breath("".join(pair))
        took.append((time.process_time() - began) * 1000)
        counts[outcome(language, *pair)] += 1
    took.sort()
    print(dict(counts))
    print(f"median {took[len(took) // 2]:.0f} ms, p95 {took[len(took) * 95 // 100]:.0f} ms of CPU")


if __name__ == "__main__":
    main()
