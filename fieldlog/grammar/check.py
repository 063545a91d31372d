"""Closing a grammar: every fault found at load, all reported together with positions (pure).

Closed means: every rule used is defined, nothing is left-recursive, nothing that an utterance may
be matches without a word, and at least one public rule can be spoken. Whether two derivations of
the same words fill slots differently is looked for in ``ambiguity`` (separate, because it takes
longer than a start may).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from typing import TypeAlias

from fieldlog.errors import GrammarError
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
    children,
)
from fieldlog.grammar.reader import read_document

Loader: TypeAlias = Callable[[str], tuple[str, str] | None]
"""Name of a grammar -> (file it came from, its text), or None when there is none."""


def read_documents(
    text: str, file: str, loader: Loader, faults: list[Fault]
) -> dict[str, Document]:
    """The document in ``text`` and all it imports, by grammar name; the first one is the root."""
    root = read_document(text, file, faults)
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
        document = read_document(found[1], found[0], faults)
        if document.name != wanted.grammar:
            faults.append(
                Fault(
                    document.at, f"declares grammar {document.name}, imported as {wanted.grammar}"
                )
            )
        documents[wanted.grammar] = document
        waiting.extend(document.imports)
    return documents


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
            case Reference(name=name, at=at):
                full = self.lookup(name, at)
                return Void(at) if full is None else Reference(full, at)
            case Sequence(items=items):
                return replace(expression, items=tuple(map(self.resolve, items)))
            case Alternative(choices=choices):
                return replace(expression, choices=tuple(map(self.resolve, choices)))
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


def check_rules(rules: Mapping[str, Rule], root: str, faults: list[Fault]) -> None:
    """Left recursion, empty matches, no public rule, rules that are unreachable or unspeakable."""
    public = [name for name, rule in rules.items() if rule.public and _owner(name) == root]
    if not public:
        at = next((r.at for n, r in rules.items() if _owner(n) == root), Position(root, 1, 1))
        faults.append(Fault(at, "no public rule: mark what may be said with 'public'"))
    nullable = nullable_rules(rules)
    speakable = _least(rules, lambda rule, known: _speakable(rule.expression, known))
    for name, rule in rules.items():
        faults.extend(_empty_repeats(rule.expression, nullable))
        if name in public and name in nullable:
            faults.append(Fault(rule.at, f"public rule <{_simple(name)}> matches without any word"))
        if name in public and name not in speakable:
            faults.append(Fault(rule.at, f"public rule <{_simple(name)}> can never be spoken"))
    for cycle in _left_recursion(rules, nullable):
        path = " -> ".join(f"<{_simple(name)}>" for name in (*cycle, cycle[0]))
        faults.append(Fault(rules[cycle[0]].at, f"left recursion: {path}"))
    reached = reachable(rules, public)
    for name, rule in rules.items():
        if _owner(name) != root:
            continue
        if name not in reached and public:
            faults.append(Fault(rule.at, f"<{_simple(name)}> is never used", warning=True))
        elif name in reached and name not in speakable and name not in public:
            faults.append(Fault(rule.at, f"<{_simple(name)}> can never be spoken", warning=True))


def nullable_rules(rules: Mapping[str, Rule]) -> frozenset[str]:
    """Names of the rules that match the empty string."""
    return _least(rules, lambda rule, known: nullable(rule.expression, known))


def nullable(expression: Expression, rules: frozenset[str]) -> bool:
    """Whether ``expression`` matches no words, given the rules that do."""
    match expression:
        case Null() | Option() | Repeat(minimum=0):
            return True
        case Reference(name=name):
            return name in rules
        case Sequence(items=items):
            return all(nullable(item, rules) for item in items)
        case Alternative(choices=choices):
            return any(nullable(choice, rules) for choice in choices)
        case Tagged(item=item) | Repeat(item=item):
            return nullable(item, rules)
        case _:
            return False


def reachable(rules: Mapping[str, Rule], start: Iterable[str]) -> frozenset[str]:
    """Names of the rules that derivations from ``start`` may enter, ``start`` included."""
    seen: set[str] = set()
    waiting = list(start)
    while waiting:
        name = waiting.pop()
        if name not in seen:
            seen.add(name)
            waiting.extend(reference.name for reference in references(rules[name].expression))
    return frozenset(seen)


def references(expression: Expression) -> Iterator[Reference]:
    """Every rule reference inside ``expression``."""
    if isinstance(expression, Reference):
        yield expression
    for child in children(expression):
        yield from references(child)


def words_of(expression: Expression) -> Iterator[Word]:
    """Every word written inside ``expression`` itself (not in the rules it refers to)."""
    if isinstance(expression, Word):
        yield expression
    for child in children(expression):
        yield from words_of(child)


def has_tag(expression: Expression) -> bool:
    """Whether a tag stands anywhere inside ``expression`` itself."""
    return isinstance(expression, Tagged) or any(map(has_tag, children(expression)))


def unsayable(
    rules: Mapping[str, Rule], reached: frozenset[str], can_say: Callable[[str], bool]
) -> list[Fault]:
    """A fault for each word that ``can_say`` does not know, at its first place, with the others."""
    places: dict[str, list[tuple[Position, str]]] = {}
    for name in rules:
        if name in reached:
            for word in words_of(rules[name].expression):
                places.setdefault(word.text, []).append((word.at, _simple(name)))
    faults = []
    for text, found in places.items():
        if not can_say(text):
            at, rule = min(found)
            more = f" and {len(found) - 1} more places" if len(found) > 1 else ""
            faults.append(Fault(at, f"the listener cannot say '{text}' (in <{rule}>{more})"))
    return faults


def raise_faults(faults: Iterable[Fault], name: str) -> None:
    """Raise one ``GrammarError`` that lists every fault that is not a warning, if there is any."""
    errors = sorted({fault for fault in faults if not fault.warning})
    if errors:
        count = "1 fault" if len(errors) == 1 else f"{len(errors)} faults"
        raise GrammarError(
            "\n  ".join([f"{count} in the grammar", *map(str, errors)]),
            where=name,
            todo="correct the places named and try again",
        )


def _owner(name: str) -> str:
    return name.rpartition(".")[0]


def _simple(name: str) -> str:
    return name.rpartition(".")[2]


def _least(
    rules: Mapping[str, Rule], holds: Callable[[Rule, frozenset[str]], bool]
) -> frozenset[str]:
    """The least set of rules closed under ``holds`` (rules known so far -> does it hold?)."""
    known: frozenset[str] = frozenset()
    while True:
        more = known | {
            name for name, rule in rules.items() if name not in known and holds(rule, known)
        }
        if more == known:
            return known
        known = more


def _speakable(expression: Expression, known: frozenset[str]) -> bool:
    match expression:
        case Void():
            return False
        case Reference(name=name):
            return name in known
        case Sequence(items=items):
            return all(_speakable(item, known) for item in items)
        case Alternative(choices=choices, weights=weights):
            live = weights or (1.0,) * len(choices)
            return any(
                weight > 0 and _speakable(choice, known)
                for choice, weight in zip(choices, live, strict=True)
            )
        case Tagged(item=item) | Repeat(item=item, minimum=1):
            return _speakable(item, known)
        case _:
            return True


def _empty_repeats(expression: Expression, known: frozenset[str]) -> Iterator[Fault]:
    if isinstance(expression, Repeat) and nullable(expression.item, known):
        yield Fault(expression.at, "what is repeated can match without any word")
    if isinstance(expression, Tagged) and nullable(expression.item, known):
        yield Fault(
            expression.at, f"slot {{{expression.tag}}} can match without any word", warning=True
        )
    for child in children(expression):
        yield from _empty_repeats(child, known)


def _leftmost(expression: Expression, known: frozenset[str]) -> Iterator[str]:
    """Rules that may be entered before the first word of ``expression``."""
    match expression:
        case Reference(name=name):
            yield name
        case Sequence(items=items):
            for item in items:
                yield from _leftmost(item, known)
                if not nullable(item, known):
                    return
        case _:
            for child in children(expression):
                yield from _leftmost(child, known)


def _left_recursion(rules: Mapping[str, Rule], known: frozenset[str]) -> Iterator[tuple[str, ...]]:
    """One cycle per group of rules that may enter each other before any word."""
    edges = {name: set(_leftmost(rule.expression, known)) for name, rule in rules.items()}
    reported: set[str] = set()
    for start in rules:
        if start in reported:
            continue
        paths: dict[str, tuple[str, ...]] = {start: (start,)}
        waiting = [start]
        while waiting:
            name = waiting.pop(0)
            for following in sorted(edges.get(name, ())):
                if following == start:
                    reported.update(paths[name])
                    yield paths[name]
                    waiting = []
                    break
                if following not in paths:
                    paths[following] = (*paths[name], following)
                    waiting.append(following)
