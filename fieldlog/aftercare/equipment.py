"""What a vehicle has and has not: drive, brakes, wheels, cooling (pure).

Facts are given with ``fieldlog vehicle set VEHICLE drive=shaft wheels=cast``. A fact nobody set is
taken as its assumed value; where none is assumed, whatever needs the fact counts as there, since
asking too much is better than forgetting something.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fieldlog.aftercare.data import Faults


@dataclass(frozen=True, slots=True)
class Fact:
    """One fact about a vehicle's equipment: what it may be, and what is taken when it is not set."""

    key: str
    about: str
    choices: tuple[str, ...]
    assumed: str = ""


def read_facts(document: Mapping[str, Any], faults: Faults) -> dict[str, Fact]:
    """The ``[facts.*]`` tables."""
    found = {}
    for key, row in document.get("facts", {}).items():
        choices = tuple(map(str, row.get("choices", ())))
        fact = Fact(key, str(row.get("about", "")), choices, str(row.get("assumed", "")))
        if len(choices) < 2 or not fact.about:
            faults.add(f"facts.{key}", "two choices or more and what it is about are needed")
        if fact.assumed and fact.assumed not in choices:
            faults.add(f"facts.{key}", f"assumed {fact.assumed!r} is none of its choices")
        found[key] = fact
    return found


def check_needs(
    needs: Mapping[str, str], facts: Mapping[str, Fact], called: str, faults: Faults
) -> None:
    """A need that no fact can meet is a fault."""
    for key, value in needs.items():
        if key not in facts:
            faults.add(called, f"needs {key}, which is no fact; use {', '.join(facts)}")
        elif value not in facts[key].choices:
            faults.add(called, f"needs {key} = {value!r}, none of {', '.join(facts[key].choices)}")


def has(needs: Mapping[str, str], given: Mapping[str, str], facts: Mapping[str, Fact]) -> bool:
    """Whether a vehicle with the facts ``given`` has what ``needs`` asks for."""
    for key, wanted in needs.items():
        fact = facts.get(key)
        value = given.get(key, "").strip().lower() or (fact.assumed if fact else "")
        if value and value != wanted:
            return False
    return True


def unknown(given: Mapping[str, str], facts: Mapping[str, Fact]) -> tuple[str, ...]:
    """What of ``given`` is no value of its fact, in words."""
    return tuple(
        f"{key}={given[key]} is none of {', '.join(fact.choices)}"
        for key, fact in facts.items()
        if given.get(key, "").strip() and given[key].strip().lower() not in fact.choices
    )
