"""From documents to one closed set of rules: imports read, names resolved, dead ends cut (pure)."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import replace
from functools import lru_cache
from operator import is_
from typing import TypeAlias

from fieldlog.grammar.expression import (
    Alternative,
    Document,
    Expression,
    Fault,
    Null,
    Option,
    Position,
    Reference,
    Repeat,
    Rule,
    Sequence,
    Tagged,
    Void,
    Word,
)
from fieldlog.grammar.reader import read_document

Loader: TypeAlias = Callable[[str], tuple[str, str] | None]
"""Name of a grammar -> (file it came from, its text), or None when there is none."""


def read_documents(
    text: str, file: str, loader: Loader, faults: list[Fault]
) -> dict[str, Document]:
    """The document in ``text`` and all it imports, by grammar name; the first one is the root."""
    root = _read(text, file, faults)
    documents = {root.name: root}
    waiting = list(root.imports)
    while waiting:
        wanted = waiting.pop(0)
        if wanted.grammar in documents:
            continue
        found = loader(wanted.grammar)
        if found is None:
            faults.append(Fault(wanted.at, f"there is no grammar '{wanted.grammar}' to import"))
            documents[wanted.grammar] = Document(wanted.grammar, (), (), wanted.at)
            continue
        document = _read(found[1], found[0], faults)
        if document.name != wanted.grammar:
            faults.append(
                Fault(
                    document.at, f"declares grammar {document.name}, imported as {wanted.grammar}"
                )
            )
        documents[wanted.grammar] = document
        waiting.extend(document.imports)
    return documents


def _read(text: str, file: str, faults: list[Fault]) -> Document:
    document, found = _known(text, file)
    faults += found
    return document


@lru_cache(
    maxsize=32
)  # a language is closed from several roots that share most of what they import
def _known(text: str, file: str) -> tuple[Document, tuple[Fault, ...]]:
    faults: list[Fault] = []
    return read_document(text, file, faults), tuple(faults)


def close(documents: Mapping[str, Document], faults: list[Fault]) -> dict[str, Rule]:
    """Rules by qualified name (``grammar.rule``) with every reference qualified.

    Faults are appended. A reference that cannot be resolved becomes ``<VOID>``, so that the other
    checks can still be made.
    """
    rules: dict[str, Rule] = {}
    for name, document in documents.items():
        for rule in document.rules:
            full = f"{name}.{rule.name}"
            if full in rules:
                faults.append(
                    Fault(rule.at, f"<{rule.name}> is already defined at {rules[full].at}")
                )
                continue
            rules[full] = rule
    closed: dict[str, Rule] = {}
    for name, document in documents.items():
        scope = _Scope(name, document, documents, rules, faults)
        for full, rule in rules.items():
            if full.rpartition(".")[0] == name:
                closed[full] = Rule(full, scope.resolve(rule.expression), rule.public, rule.at)
    return closed


class _Scope:
    """What rule names mean inside one document."""

    def __init__(
        self,
        name: str,
        document: Document,
        documents: Mapping[str, Document],
        rules: Mapping[str, Rule],
        faults: list[Fault],
    ) -> None:
        self.name, self.rules, self.faults = name, rules, faults
        self.imported: dict[str, list[str]] = {}
        for wanted in document.imports:
            source = documents[wanted.grammar]
            names = [rule.name for rule in source.rules if rule.public]
            if wanted.rule != "*":
                if wanted.rule not in names and source.rules:
                    private = any(rule.name == wanted.rule for rule in source.rules)
                    why = "is not public there" if private else "is not defined there"
                    faults.append(Fault(wanted.at, f"<{wanted.grammar}.{wanted.rule}> {why}"))
                names = [wanted.rule]
            for rule_name in names:
                full = f"{wanted.grammar}.{rule_name}"
                simple = wanted.grammar.rpartition(".")[2]
                for written in {rule_name, full, f"{simple}.{rule_name}"}:
                    if full not in self.imported.setdefault(written, []):
                        self.imported[written].append(full)

    def resolve(self, expression: Expression) -> Expression:
        match expression:
            case Word():  # most of them
                return expression
            case Reference(name=name, at=at):
                full = self.lookup(name, at)
                return Void(at) if full is None else Reference(full, at)
            case Sequence(items=items, at=at):
                return Sequence(tuple(map(self.resolve, items)), at)
            case Alternative(choices=choices, weights=weights, at=at):
                return Alternative(tuple(map(self.resolve, choices)), weights, at)
            case Option(item=item) | Repeat(item=item) | Tagged(item=item):
                return replace(expression, item=self.resolve(item))
            case _:
                return expression

    def lookup(self, name: str, at: Position) -> str | None:
        for own in (f"{self.name}.{name}", name):
            if own in self.rules and own.rpartition(".")[0] == self.name:
                return own
        found = self.imported.get(name, [])
        if len(found) > 1:
            self.faults.append(Fault(at, f"<{name}> is imported from more than one grammar"))
        if found and found[0] in self.rules:
            return found[0]
        if not found:
            self.faults.append(Fault(at, f"<{name}> is not defined{_close_to(name, self)}"))
        return None


def _close_to(name: str, scope: _Scope) -> str:
    """A hint for a slip of the pen: a known name that differs in case only."""
    known = [full.rpartition(".")[2] for full in scope.rules] + list(scope.imported)
    near = sorted({other for other in known if other.lower() == name.lower()})
    return f" (did you mean <{near[0]}>?)" if near else ""


def prune(rules: Mapping[str, Rule], speakable: frozenset[str]) -> dict[str, Rule]:
    """The same language without what can never be spoken: no ``<VOID>``, no choice of weight 0.

    What has nothing of the kind inside it is kept as it is.
    """
    kept: dict[str, Rule] = {}
    for name, rule in rules.items():
        expression = _pruned(rule.expression, speakable)
        if expression is rule.expression:
            kept[name] = rule
        elif expression is not None:
            kept[name] = replace(rule, expression=expression)
    return kept


def _pruned(expression: Expression, speakable: frozenset[str]) -> Expression | None:
    match expression:
        case Word():  # most of them
            return expression
        case Void():
            return None
        case Reference(name=name):
            return expression if name in speakable else None
        case Sequence(items=items):
            kept = [_pruned(item, speakable) for item in items]
            whole = tuple(item for item in kept if item is not None)
            if len(whole) < len(items):
                return None
            return expression if _same(whole, items) else replace(expression, items=whole)
        case Alternative(choices=choices, weights=weights):
            live = [
                (choice, weight)
                for item, weight in zip(choices, weights or (1.0,) * len(choices), strict=True)
                if weight > 0 and (choice := _pruned(item, speakable)) is not None
            ]
            if not live:
                return None
            if _same([choice for choice, _ in live], choices):
                return expression
            return replace(
                expression,
                choices=tuple(choice for choice, _ in live),
                weights=tuple(weight for _, weight in live) if weights else None,
            )
        case Option(item=item, at=at) | Repeat(item=item, minimum=0, at=at):
            inside = _pruned(item, speakable)
            if inside is item:
                return expression
            return Null(at) if inside is None else replace(expression, item=inside)
        case Tagged(item=item) | Repeat(item=item):
            inside = _pruned(item, speakable)
            if inside is item:
                return expression
            return None if inside is None else replace(expression, item=inside)
        case _:
            return expression


def _same(kept: Collection[Expression], before: Collection[Expression]) -> bool:
    """Whether nothing was taken away and nothing changed: much cheaper than to make it again."""
    return len(kept) == len(before) and all(map(is_, kept, before))
