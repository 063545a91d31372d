"""What conditions and places are called, from the rules of the grammars (pure)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from fieldlog.catalogue.component import Catalogue
from fieldlog.grammar.check import references
from fieldlog.grammar.expression import Rule
from fieldlog.language.lexicon import Words, phrases, placing, spoken_name
from fieldlog.language.rule_names import GRAMMAR
from fieldlog.language.subjects import SubjectReader


@dataclass(frozen=True)
class Vocabulary:
    """The finite phrases of the grammars that may stand behind a subject."""

    copulas: tuple[Words, ...]
    conditions: Mapping[str, tuple[Words, ...]]
    """Canonical condition -> its phrases."""
    faults: Mapping[str, tuple[Words, ...]]
    """Canonical condition -> the nouns for it ("nail"), said before what it was found in."""
    readings: tuple[Words, ...]
    """Words that announce a series."""
    last: Mapping[str, Mapping[Words, str]]
    """Axis -> phrases that may follow a value -> the axis' value."""
    typed: Mapping[str, tuple[Words, ...]] = field(default_factory=dict)
    """Canonical condition -> phrases for it that are only typed."""
    works: Mapping[str, tuple[Words, ...]] = field(default_factory=dict)
    """Canonical name of work that was done -> its phrases, only typed."""
    done_for: frozenset[Words] = frozenset()
    """What tells that a part is worn out or dead: "shot", "gone"."""


def vocabulary(
    rules: Mapping[str, Rule],
    typed: Mapping[str, Rule],
    trade: Mapping[str, Rule],
    subjects: SubjectReader,
    catalogue: Catalogue,
) -> Vocabulary:
    """What conditions, faults, readings and places are called; ``typed`` and ``trade`` only typed."""
    conditions = {
        spoken_name(name): phrases(rules, name) for name in rules if name.startswith("conditions.")
    }
    faults = {spoken_name(n): phrases(rules, n) for n in rules if n.startswith("faults.")}
    last: dict[str, dict[Words, str]] = {}
    axes = [
        a for c in catalogue for a in (*c.axes, *(a for k in c.characteristics for a in k.axes))
    ]
    for axis in {a.name for a in axes}:
        rule = f"positions.{axis.replace(' ', '_')}_last"
        if rule in rules:
            last[axis] = placing(rules, rule, subjects.values(axis))
        else:  # typed only: offered to listeners it would add half as many states again
            last[axis] = _behind(rules, axis, subjects.values(axis))
    return Vocabulary(
        copulas=(*phrases(rules, f"{GRAMMAR}.is"), *phrases(typed, "dialogue.typed_is")),
        conditions=conditions,
        faults=faults,
        readings=phrases(rules, f"{GRAMMAR}.readings"),
        last=last,
        typed=_named_rules(trade, "trade.is_"),
        works=_named_rules(trade, "trade.did_"),
        done_for=frozenset(phrases(trade, "trade.worn_out")),
    )


def _named_rules(rules: Mapping[str, Rule], start: str) -> Mapping[str, tuple[Words, ...]]:
    """Canonical name -> the phrases of the rule that is called ``start`` and it."""
    return {
        spoken_name(name.removeprefix(start)): phrases(rules, name)
        for name in rules
        if name.startswith(start)
    }


def _behind(rules: Mapping[str, Rule], axis: str, values: Iterable[str]) -> dict[Words, str]:
    """Words of a place that can follow what was found: "leaking on the right", "loose at the rear".

    Only with their preposition: "two millimetres left" is what is left of a pad.
    """
    after = f"positions.{axis.replace(' ', '_')}_after"
    said = phrases(rules, after) if after in rules else ()
    return {
        phrase: value
        for value in values
        for words in phrases(rules, f"positions.{value.replace(' ', '_')}")
        for phrase in said
        if phrase[:1] in (("at",), ("on",)) and phrase[2:] == words
    }


def place_words(rules: Mapping[str, Rule]) -> Mapping[Words, frozenset[str]]:
    """Words of a place -> the canonical values they can mean."""
    found: dict[Words, set[str]] = {}
    for name, rule in rules.items():
        if name.startswith("positions.") and not any(references(rule.expression)):
            for phrase in phrases(rules, name):
                found.setdefault(phrase, set()).add(spoken_name(name))
                if spoken_name(name)[-1:].isdigit():
                    found.setdefault(("cell", *phrase), set()).add(spoken_name(name))
    return {phrase: frozenset(values) for phrase, values in found.items()}
