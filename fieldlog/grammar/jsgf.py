"""Closed grammar -> one JSGF text that stands alone (for pocketsphinx, or to read) (pure).

Imports are written out, rule names are made of ASCII letters, digits and ``_`` only, and several
public rules become choices of one.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from fieldlog.grammar import expression as ex
from fieldlog.grammar.check import raise_faults, reachable, recursive_rules, references
from fieldlog.grammar.expression import Fault
from fieldlog.grammar.grammar import Grammar

_TOP = "utterance_of_all"
"""Name of the public rule made when the grammar has several."""

_PLAIN = re.compile(r"[^\s;=|*+<>()\[\]{}/\"\\]+")


def to_jsgf(grammar: Grammar, *, tags: bool = True) -> str:
    """The same language as one JSGF text; without ``tags`` the slots are left out.

    The text has exactly one public rule, since pocketsphinx takes the first one only. Raises
    ``GrammarError`` when a rule contains itself in its middle, which no finite network can follow.
    """
    raise_faults(_middle_recursion(grammar), grammar.name)
    names = _safe_names(grammar)
    lines = ["#JSGF V1.0 UTF-8;", f"grammar {_safe(grammar.name)};"]
    if len(grammar.public) > 1:
        choices = " | ".join(f"<{names[name]}>" for name in grammar.public)
        lines.append(f"public <{_TOP}> = {choices};")
    for name, rule in grammar.rules.items():
        public = "public " if grammar.public == (name,) else ""
        text = _write(rule.expression, names, tags, 0)
        lines.append(f"{public}<{names[name]}> = {text};")
    return "\n".join(lines) + "\n"


def _middle_recursion(grammar: Grammar) -> Iterator[Fault]:
    """A fault for each rule that is entered again before its last item."""
    for name in sorted(recursive_rules(grammar.rules)):
        for reference in _not_last(grammar.rules[name].expression):
            if name in reachable(grammar.rules, (reference.name,)):
                yield Fault(
                    reference.at,
                    f"<{reference.name.rpartition('.')[2]}> leads back to its own rule, "
                    "which pocketsphinx can follow only at the end of a rule",
                )


def _not_last(expression: ex.Expression) -> Iterator[ex.Reference]:
    """References in ``expression`` after which something may have to follow."""
    match expression:
        case ex.Sequence(items=items):
            for item in items[:-1]:
                yield from references(item)
            yield from _not_last(items[-1])
        case ex.Repeat(item=item):
            yield from references(item)
        case _:
            for child in ex.children(expression):
                yield from _not_last(child)


def _safe(name: str) -> str:
    return re.sub(r"\W", "_", name, flags=re.ASCII) or "g"


def _safe_names(grammar: Grammar) -> dict[str, str]:
    names: dict[str, str] = {}
    taken: set[str] = set()
    for full in grammar.rules:
        owner, _, simple = full.rpartition(".")
        base = _safe(simple if owner == grammar.name else full)
        name, number = base, 1
        while name in taken or name in ("NULL", "VOID", _TOP):
            number += 1
            name = f"{base}_{number}"
        taken.add(name)
        names[full] = name
    return names


def _write(expression: ex.Expression, names: Mapping[str, str], tags: bool, binding: int) -> str:
    """``binding``: 0 alternatives may stand bare, 1 sequences may, 2 single items only."""
    match expression:
        case ex.Word(text=text):
            return text if _PLAIN.fullmatch(text) else _quoted(text)
        case ex.Reference(name=name):
            return f"<{names[name]}>"
        case ex.Null():
            return "<NULL>"
        case ex.Void():
            return "<VOID>"
        case ex.Sequence(items=items):
            text = " ".join(_write(item, names, tags, 2) for item in items)
            return f"({text})" if binding > 1 else text
        case ex.Alternative(choices=choices, weights=weights):
            parts = [_write(choice, names, tags, 1) for choice in choices]
            if weights:
                parts = [f"/{w:.6f}/ {p}" for w, p in zip(weights, parts, strict=True)]
            text = " | ".join(parts)
            return f"({text})" if binding > 0 else text
        case ex.Option(item=item):
            return f"[{_write(item, names, tags, 0)}]"
        case ex.Repeat(item=item, minimum=minimum):
            inside = _write(item, names, tags, 2)
            if isinstance(item, ex.Tagged) and tags:
                inside = f"({inside})"  # pocketsphinx 5.1 reads 'a {t}+' as a word that never fits
            return f"{inside}{'*' if minimum == 0 else '+'}"
        case ex.Tagged(item=item, tag=tag):
            inside = _write(item, names, tags, 2)
            return f"{inside} {{{_tag(tag)}}}" if tags else inside


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _tag(tag: str) -> str:
    return re.sub(r"([{}\\])", r"\\\1", tag)
