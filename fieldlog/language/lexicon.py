"""Every phrase of the finite rules of a grammar: words -> what they stand for (pure)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import product

from fieldlog.grammar import expression as ex

Words = tuple[str, ...]


def phrases(rules: Mapping[str, ex.Rule], name: str) -> tuple[Words, ...]:
    """Every phrase of the rule ``name`` (qualified), each once.

    Raises ``ValueError`` when the rule repeats or recurses, so that its phrases have no end.
    """
    return tuple(dict.fromkeys(_expand(rules[name].expression, rules, (name,))))


def _expand(
    expression: ex.Expression, rules: Mapping[str, ex.Rule], inside: tuple[str, ...]
) -> list[Words]:
    match expression:
        case ex.Word(text=text):
            return [(text,)]
        case ex.Reference(name=name):
            if name in inside:
                raise ValueError(f"<{name}> recurses")
            return _expand(rules[name].expression, rules, (*inside, name))
        case ex.Sequence(items=items):
            parts = [_expand(item, rules, inside) for item in items]
            return [tuple(word for part in parts_ for word in part) for parts_ in product(*parts)]
        case ex.Alternative(choices=choices):
            return [words for choice in choices for words in _expand(choice, rules, inside)]
        case ex.Option(item=item):
            return [*_expand(item, rules, inside), ()]
        case ex.Tagged(item=item):
            return _expand(item, rules, inside)
        case ex.Null():
            return [()]
        case ex.Void():
            return []
        case _:
            raise ValueError("a repeated expansion has no end")


def spoken_name(rule: str) -> str:
    """The canonical name that a rule stands for: ``conditions.not_working`` -> "not working"."""
    return rule.rpartition(".")[2].replace("_", " ")


def placing(rules: Mapping[str, ex.Rule], rule: str, values: Iterable[str]) -> dict[Words, str]:
    """Phrase of ``rule`` -> the one of ``values`` of an axis in whose words it ends."""
    own = {
        phrase: value
        for value in values
        for phrase in phrases(rules, f"positions.{value.replace(' ', '_')}")
    }
    return {
        phrase: value
        for phrase in phrases(rules, rule)
        for words, value in own.items()
        if phrase[-len(words) :] == words
    }
