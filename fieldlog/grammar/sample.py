"""Phrases of a grammar: at random with a seed, or covering every part of it (pure)."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence

from fieldlog.grammar import expression as ex

_FAR = 10**9

_LONG = 30
"""Words after which a phrase takes no option and the flattest choice, to come to an end."""

_PATIENCE = 200
"""Draws without anything new after which ``covering`` gives up on what is left."""


class Sampler:
    """Draws phrases by walking the rules; the same seed gives the same phrases.

    ``random_phrase`` takes every choice with equal chance. ``next_phrase`` takes the choice used
    least so far, so that some hundred phrases reach every word of a large grammar.
    """

    def __init__(self, rules: Mapping[str, ex.Rule], start: Sequence[str], seed: int = 0) -> None:
        """Draw from the rules ``start`` of a closed grammar."""
        self._rules = rules
        self._start = tuple(start)
        self._random = random.Random(seed)
        self._used: dict[int, list[int]] = {}
        self._depth = _depths(rules)
        self._deep = 4 + max(self._depth.values(), default=0)

    def random_phrase(self) -> str:
        """One phrase, every choice on the way taken with equal chance."""
        return self._phrase(cover=False)

    def next_phrase(self) -> str:
        """One phrase, taking on the way whatever was used least; ties at random."""
        return self._phrase(cover=True)

    def covering(self, most: int = 10_000) -> list[str]:
        """Distinct phrases that between them take every choice of every rule reached.

        Stops when nothing is left to take, or after ``most`` draws.
        """
        phrases: dict[str, None] = {}
        left, idle = (-1, -1), 0
        for _ in range(most):
            phrases[self.next_phrase()] = None
            before, left = left, self._untaken()
            idle = idle + 1 if left == before else 0
            if idle > (_PATIENCE if left[0] else 0):
                break
        return list(phrases)

    def _untaken(self) -> tuple[int, int]:
        """Choices met but not taken yet, and how many places to choose have been met."""
        return sum(counts.count(0) for counts in self._used.values()), len(self._used)

    def _phrase(self, cover: bool) -> str:
        words: list[str] = []
        name = self._start[self._pick(-1, len(self._start), cover)]
        self._walk(self._rules[name].expression, 0, words, cover)
        return " ".join(words)

    def _pick(self, key: int, count: int, cover: bool) -> int:
        used = self._used.setdefault(key, [0] * count)
        least = min(used)
        possible = [n for n in range(count) if not cover or used[n] == least]
        chosen = self._random.choice(possible)
        used[chosen] += 1
        return chosen

    def _walk(self, expression: ex.Expression, depth: int, words: list[str], cover: bool) -> None:
        match expression:
            case ex.Word(text=text):
                words.append(text)
            case ex.Reference(name=name):
                self._walk(self._rules[name].expression, depth + 1, words, cover)
            case ex.Sequence(items=items):
                for item in items:
                    self._walk(item, depth, words, cover)
            case ex.Tagged(item=item):
                self._walk(item, depth, words, cover)
            case ex.Alternative(choices=choices):
                if (
                    depth > self._deep or len(words) > _LONG
                ):  # the way out of a recursion is the flattest choice
                    flattest = min(choices, key=lambda choice: _depth(choice, self._depth))
                    self._walk(flattest, depth, words, cover)
                else:
                    chosen = self._pick(id(expression), len(choices), cover)
                    self._walk(choices[chosen], depth, words, cover)
            case ex.Option(item=item) | ex.Repeat(item=item):
                if isinstance(expression, ex.Repeat) and expression.minimum:
                    self._walk(item, depth, words, cover)
                for _ in range(1 if isinstance(expression, ex.Option) else 2):
                    if depth > self._deep or len(words) > _LONG:
                        break
                    if not self._pick(id(expression), 2, cover):
                        break
                    self._walk(item, depth, words, cover)
            case ex.Null() | ex.Void():
                pass


def _depths(rules: Mapping[str, ex.Rule]) -> dict[str, int]:
    """For each rule the least nesting of rules that a phrase of it needs."""
    depths = dict.fromkeys(rules, _FAR)
    changed = True
    while changed:
        changed = False
        for name, rule in rules.items():
            depth = _depth(rule.expression, depths)
            if depth < depths[name]:
                depths[name] = depth
                changed = True
    return depths


def _depth(expression: ex.Expression, depths: Mapping[str, int]) -> int:
    match expression:
        case ex.Reference(name=name):
            return min(_FAR, depths[name] + 1)
        case ex.Sequence(items=items):
            return max(_depth(item, depths) for item in items)
        case ex.Alternative(choices=choices):
            return min(_depth(choice, depths) for choice in choices)
        case ex.Tagged(item=item) | ex.Repeat(item=item, minimum=1):
            return _depth(item, depths)
        case _:
            return 0
