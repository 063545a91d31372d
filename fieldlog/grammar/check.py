"""What can be wrong with a closed grammar, found at load and reported together (pure).

Every rule used is defined (``closing``), nothing is left-recursive, nothing that an utterance may
be matches without a word, and at least one public rule can be spoken. Whether two derivations of
the same words fill slots differently is looked for in ``ambiguity`` (separate, because it may take
longer than a start should).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Set

from fieldlog.errors import GrammarError
from fieldlog.grammar.expression import (
    Alternative,
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
    inside,
)


def check_rules(rules: Mapping[str, Rule], root: str, faults: list[Fault]) -> None:
    """Left recursion, empty matches, no public rule, rules that are unreachable or unspeakable."""
    public = [name for name, rule in rules.items() if rule.public and _owner(name) == root]
    if not public:
        at = next((r.at for n, r in rules.items() if _owner(n) == root), Position(root, 1, 1))
        faults.append(Fault(at, "no public rule: mark what may be said with 'public'"))
    nullable = nullable_rules(rules)
    # An undefined rule was replaced by <VOID>: what cannot be spoken only for that is no news.
    speakable = frozenset(rules) if faults else speakable_rules(rules)
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


def speakable_rules(rules: Mapping[str, Rule]) -> frozenset[str]:
    """Names of the rules that some words match."""
    return _least(rules, lambda rule, known: _speakable(rule.expression, known))


def nullable(expression: Expression, rules: Set[str]) -> bool:
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


def recursive_rules(rules: Mapping[str, Rule]) -> frozenset[str]:
    """Names of the rules that derivations may enter again inside themselves."""
    return in_order(rules)[1]


def in_order(rules: Mapping[str, Rule]) -> tuple[tuple[str, ...], frozenset[str]]:
    """The names, each behind those it refers to; and which of them refer back to themselves.

    Those that come to a recursive rule stand last, in any order.
    """
    edges = {
        name: {reference.name for reference in references(rule.expression)}
        for name, rule in rules.items()
    }
    ended, endless = _followed(edges)
    recursive = frozenset(name for name in endless if name in reachable(rules, edges[name]))
    return (*ended, *endless), recursive


def references(expression: Expression) -> Iterator[Reference]:
    """Every rule reference inside ``expression``, in the order written."""
    waiting = [expression]
    while waiting:
        one = waiting.pop()
        if isinstance(one, Reference):
            yield one
        elif not isinstance(one, Word):
            waiting += [each for each in reversed(children(one)) if not isinstance(each, Word)]


def words_of(expression: Expression) -> Iterator[Word]:
    """Every word written inside ``expression`` itself (not in the rules it refers to)."""
    return (one for one in inside(expression) if isinstance(one, Word))


def has_tag(expression: Expression) -> bool:
    """Whether a tag stands anywhere inside ``expression`` itself."""
    return any(isinstance(one, Tagged) for one in inside(expression))


def unsayable(
    rules: Mapping[str, Rule], reached: frozenset[str], can_say: Callable[[str], bool]
) -> dict[str, Fault]:
    """Word that ``can_say`` does not know -> a fault at the first place where it is written."""
    places: dict[str, list[tuple[Position, str]]] = {}
    for name in rules:
        if name in reached:
            for word in words_of(rules[name].expression):
                places.setdefault(word.text, []).append((word.at, _simple(name)))
    faults = {}
    for text, found in places.items():
        if not can_say(text):
            at, rule = min(found)
            more = f"; written in {len(found)} places" if len(found) > 1 else ""
            faults[text] = Fault(at, f"the listener cannot say '{text}' (in <{rule}>{more})")
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


def _least(rules: Mapping[str, Rule], holds: Callable[[Rule, Set[str]], bool]) -> frozenset[str]:
    """The least set of rules closed under ``holds`` (rules known so far -> does it hold?)."""
    known: set[str] = set()
    waiting = list(rules)[::-1]  # what is referred to mostly stands behind
    while True:
        rest = []
        for name in waiting:
            if holds(rules[name], known):
                known.add(name)
            else:
                rest.append(name)
        if len(rest) == len(waiting):
            return frozenset(known)
        waiting = rest


def _followed(edges: Mapping[str, Collection[str]]) -> tuple[list[str], list[str]]:
    """Names that come to an end along ``edges``, each behind those it leads to; and all others.

    The others lead to a cycle: few do, and only these need be searched for one.
    """
    open_ends = {
        name: {each for each in following if each in edges} for name, following in edges.items()
    }
    leading: dict[str, list[str]] = {name: [] for name in edges}
    for name, following in open_ends.items():
        for each in following:
            leading[each].append(name)
    ended = [name for name, following in open_ends.items() if not following]
    for name in ended:  # grows while it is gone through
        for before in leading[name]:
            open_ends[before].discard(name)
            if not open_ends[before]:
                ended.append(before)
    done = set(ended)
    return ended, [name for name in edges if name not in done]


def _speakable(expression: Expression, known: Set[str]) -> bool:
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
    for one in inside(expression):
        if isinstance(one, Repeat) and nullable(one.item, known):
            yield Fault(one.at, "what is repeated can match without any word")
        if isinstance(one, Tagged) and nullable(one.item, known):
            yield Fault(one.at, f"slot {{{one.tag}}} can match without any word", warning=True)


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
    endless = frozenset(_followed(edges)[1])
    for start in rules:
        if start in reported or start not in endless:
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
