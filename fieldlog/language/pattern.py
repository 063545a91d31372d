"""finding.jsgf: the pattern rules of a finding, with holes that the catalogue fills (pure)."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from fieldlog.errors import GrammarError

_HEADER = re.compile(r"#JSGF[^;]*;|grammar\s+\w+\s*;")
_COMMENT = re.compile(r"//[^\n]*|/\*.*?\*/", re.DOTALL)
_IMPORT = re.compile(r"import\s+<[^>]+>\s*;")
_RULE = re.compile(r"(public\s+)?<(\w+)>\s*=\s*(.*?);", re.DOTALL)
_HOLE = re.compile(r"<hole\.(\w+)>")
_PATTERNS: Mapping[str, frozenset[str]] = {
    "named": frozenset({"placed", "placed_last", "characteristic"}),
    "plain": frozenset({"placed"}),
    "about": frozenset({"complete", "unplaced"}),
    "measured": frozenset({"subject", "value", "number"}),
    "measured_last": frozenset({"subject", "value", "last"}),
    "measured_behind": frozenset({"subject", "value", "behind"}),
    "series": frozenset({"subject", "reading", "more", "unit"}),
    "more": frozenset({"reading"}),
    "judged": frozenset({"subject", "condition"}),
    "judged_last": frozenset({"subject", "condition", "last"}),
    "amounted": frozenset({"subject", "amount", "condition"}),
    "counted": frozenset({"subject", "condition"}),
    "measured_given": frozenset({"subject", "value", "given"}),
    "found_in": frozenset({"fault", "subject"}),
    "coded": frozenset({"subject", "code"}),
    "carried": frozenset({"place", "words", "condition", "value"}),
    "paired": frozenset({"names", "two", "pair", "condition"}),
    "paired_last": frozenset({"names", "two", "both", "condition"}),
    "paired_measured": frozenset({"names", "two", "pair", "value"}),
}
"""The pattern rules that finding.jsgf has to have, with the holes each may use."""


@dataclass(frozen=True)
class FindingPattern:
    """What finding.jsgf holds: its imports, the rules with holes by name, the others as text."""

    imports: list[str]
    patterns: Mapping[str, str]
    shared: list[str]


def read_pattern(text: str, where: str) -> FindingPattern:
    """The text of finding.jsgf, called ``where``; ``GrammarError`` for a rule or hole that it may not have."""
    plain = _COMMENT.sub("", text)
    patterns: dict[str, str] = {}
    shared: list[str] = []
    for public, name, body in _RULE.findall(_IMPORT.sub("", _HEADER.sub("", plain))):
        if _HOLE.search(body):
            patterns[name] = body
        else:
            shared.append(f"{public}<{name}> = {body};")
    _check(patterns, where)
    return FindingPattern(_IMPORT.findall(plain), patterns, shared)


def filled(pattern: str, **holes: str) -> str:
    """``pattern`` with its holes filled."""
    return _HOLE.sub(lambda match: holes[match[1]], pattern)


def _check(patterns: Mapping[str, str], where: str) -> None:
    faults = [f"<{name}> is missing" for name in sorted(_PATTERNS.keys() - patterns.keys())]
    for name, body in patterns.items():
        if name not in _PATTERNS:
            faults.append(f"<{name}> has holes but is none of the patterns")
            continue
        for hole in _HOLE.findall(body):
            if hole not in _PATTERNS[name]:
                faults.append(f"<{name}>: there is no <hole.{hole}> here")
    if faults:
        raise GrammarError(
            "\n  ".join([f"{len(faults)} faults in the pattern of findings", *faults]),
            where=where,
            todo="see the head of finding.jsgf for its holes",
        )
