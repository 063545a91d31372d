"""Closed grammar -> a list of phrases for listeners that learn word pairs from it (Vosk) (pure).

Vosk builds a bigram model from the list (``recognizer.cc``, ``UpdateGrammarFst``: n-gram order 2),
so the list need not hold every phrase: it must hold every word and every pair of neighbours.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping

from fieldlog.grammar import expression as ex
from fieldlog.grammar.check import nullable, nullable_rules
from fieldlog.grammar.grammar import Grammar
from fieldlog.grammar.sample import Sampler

UNKNOWN = "[unk]"
"""Vosk's word for speech that is none of the grammar's."""


def phrase_list(grammar: Grammar, *, most: int = 3_000, unknown: bool = True) -> list[str]:
    """Phrases that between them hold every word and every pair of neighbouring words.

    Whole phrases are drawn first (at most ``most``). Pairs they missed follow as chains (``a b``,
    ``b c`` and ``c d`` are one, "a b c d"), which mean nothing as a whole but keep the list short
    and add few wrong beginnings and ends.
    """
    phrases = Sampler(grammar.rules, grammar.public, seed=1).covering(most)
    held = {pair for phrase in phrases for pair in itertools.pairwise(phrase.split())}
    chains = [" ".join(chain) for chain in _chains(word_pairs(grammar) - held)]
    spoken = {word for phrase in phrases for word in phrase.split()}
    single = sorted(grammar.words - spoken - {word for chain in chains for word in chain.split()})
    listed = dict.fromkeys([*phrases, *chains, *single])
    return [*listed, UNKNOWN] if unknown else list(listed)


def _chains(pairs: set[tuple[str, str]], longest: int = 30) -> Iterator[list[str]]:
    """``pairs`` strung together, each once, in chains of at most ``longest`` words."""
    following: dict[str, list[str]] = {}
    for left, right in sorted(pairs, reverse=True):
        following.setdefault(left, []).append(right)
    for first in sorted(following):
        while following[first]:
            chain = [first]
            while len(chain) < longest and following.get(chain[-1]):
                chain.append(following[chain[-1]].pop())
            yield chain


def word_pairs(grammar: Grammar) -> set[tuple[str, str]]:
    """Every pair of words that can stand side by side in a phrase of the grammar."""
    ends = _Ends(grammar.rules)
    return {pair for rule in grammar.rules.values() for pair in ends.pairs_inside(rule.expression)}


class _Ends:
    """First and last words of rules and expressions."""

    def __init__(self, rules: Mapping[str, ex.Rule]) -> None:
        self.empty = nullable_rules(rules)
        self.firsts: dict[str, frozenset[str]] = dict.fromkeys(rules, frozenset())
        self.lasts: dict[str, frozenset[str]] = dict.fromkeys(rules, frozenset())
        changed = True
        while changed:
            changed = False
            for name, rule in rules.items():
                first = self.first(rule.expression)
                last = self.last(rule.expression)
                if len(first) > len(self.firsts[name]) or len(last) > len(self.lasts[name]):
                    self.firsts[name], self.lasts[name] = first, last
                    changed = True

    def first(self, expression: ex.Expression) -> frozenset[str]:
        return self._edge(expression, self.firsts, 1)

    def last(self, expression: ex.Expression) -> frozenset[str]:
        return self._edge(expression, self.lasts, -1)

    def _edge(
        self, expression: ex.Expression, known: Mapping[str, frozenset[str]], step: int
    ) -> frozenset[str]:
        match expression:
            case ex.Word(text=text):
                return frozenset((text,))
            case ex.Reference(name=name):
                return known[name]
            case ex.Sequence(items=items):
                words: frozenset[str] = frozenset()
                for item in items[::step]:
                    words |= self._edge(item, known, step)
                    if not nullable(item, self.empty):
                        break
                return words
            case _:
                return frozenset().union(
                    *(self._edge(child, known, step) for child in ex.children(expression))
                )

    def pairs_inside(self, expression: ex.Expression) -> Iterator[tuple[str, str]]:
        match expression:
            case ex.Sequence(items=items):
                before: frozenset[str] = frozenset()
                for item in items:
                    first, last = self.first(item), self.last(item)
                    yield from ((left, right) for left in before for right in first)
                    before = before | last if nullable(item, self.empty) else last
            case ex.Repeat(item=item):
                last, first = self.last(item), self.first(item)
                yield from ((left, right) for left in last for right in first)
            case _:
                pass
        for child in ex.children(expression):
            yield from self.pairs_inside(child)
