"""What the rules of the made grammar are called, and how values and conditions are said in it (pure)."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from fieldlog.catalogue.component import Characteristic, Component
from fieldlog.quantities.code_reading import CodeKind
from fieldlog.quantities.rules import RULES, SAID, bare_rule, rules_for

GRAMMAR = "catalogue"
"""Name of the grammar that is made."""


def names_rule(component: Component) -> str:
    """The rule of the made grammar that says the component's names."""
    return f"{GRAMMAR}.{part_of_name(component.name)}"


def words_rule(component: Component, one: Characteristic) -> str:
    """The rule of what is said behind its name for ``one``."""
    return f"{names_rule(component)}__{part_of_name(one.name)}__words"


def value_rules(one: Characteristic) -> tuple[str, ...]:
    """The rules of quantities.jsgf that say a value of ``one``, its unit included."""
    extra = [rule for way in one.said for rule in SAID[way]]
    only = [*extra] if one.units == ("1",) and extra else [*rules_for(one.units), *extra]
    return tuple(dict.fromkeys(only))


def bare_rules(value: tuple[str, ...]) -> tuple[str, ...]:
    """The rules of the same numbers without a unit."""
    return tuple(dict.fromkeys(_BARE.get(rule, "bare_number") for rule in value))


_BARE = {rule: bare_rule(symbol) for symbol, rules in RULES.items() for rule in rules}


def conditions_said(
    conditions: Mapping[str, object], say: Mapping[str, tuple[str, ...]]
) -> tuple[str, ...]:
    """How the conditions of an entry are said: rules of conditions.jsgf and its own phrases."""
    found = [f"<conditions.{part_of_name(condition)}>" for condition in conditions]
    found += [f"({phrase})" for phrases in say.values() for phrase in phrases]
    return tuple(sorted(found))


def code_rule(kind: CodeKind) -> str:
    """The rule that says codes of that kind."""
    grammar = "quantities" if kind is CodeKind.DATE_CODE else "codes"
    return f"<{grammar}.{part_of_name(kind)}>"


def series_rules(one: Characteristic) -> tuple[str, tuple[str, ...]]:
    """How one number of a series is said, and the units that may end it."""
    if "gravity" in one.said:
        return "<quantities.gravity>", ()
    units = [f"<units.{rule.removeprefix('of_')}>" for rule in rules_for(one.units)]
    parts = ["<inch_parts>", "<units.thou>"] if "in" in one.units else []
    return "<short>", (*units, *parts)


def quantity_rule(rules: Iterable[str]) -> str:
    """Any of those rules of quantities.jsgf."""
    return "(" + " | ".join(f"<quantities.{rule}>" for rule in rules) + ")"


def either(names: Iterable[str]) -> str:
    """Any of those rules."""
    return " | ".join(f"<{name}>" for name in names)


def part_of_name(name: str) -> str:
    """A name as a part of a rule's name."""
    return re.sub(r"[^a-z0-9]", "_", name)
