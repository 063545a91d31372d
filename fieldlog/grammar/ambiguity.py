"""Phrases with two meanings: two derivations of the same words that fill slots differently (pure).

The word automaton, not made deterministic, is run against itself: a pair of places is reached by
the same words on two ways, and the two differ once a word went into different slots. A pair of end
places that differ gives an ambiguous phrase, the shortest for that pair. Places carry the stack of
open rules, so a grammar that nests one rule in many others has many pairs; the search looks at the
shortest phrases first and stops after ``most_pairs``, and says so.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import TypeAlias

from fieldlog.grammar import expression as ex
from fieldlog.grammar.automaton import BOTTOM, Network, Place, Stacks
from fieldlog.grammar.expression import Fault, Position
from fieldlog.grammar.grammar import Grammar

_Pair: TypeAlias = tuple[Place, Place, bool]
_Labels: TypeAlias = frozenset[str]
_Moves: TypeAlias = dict[str, list[tuple[Place, _Labels]]]


@dataclass(frozen=True, slots=True)
class Ambiguity:
    """A phrase and the different slot fillings it can have (at least two)."""

    phrase: str
    readings: tuple[dict[str, str], ...]
    at: Position
    """Where one of the slots in question is written."""

    def fault(self) -> Fault:
        """The ambiguity as a fault of the grammar."""
        shown = " or as ".join(_shown(reading) for reading in self.readings[:3])
        return Fault(self.at, f"'{self.phrase}' can be understood as {shown}")


@dataclass(frozen=True, slots=True)
class AmbiguityReport:
    """What the search found; ``complete`` is False when it stopped before it had seen all pairs."""

    found: tuple[Ambiguity, ...]
    complete: bool
    pairs: int


def find_ambiguities(
    grammar: Grammar, *, most: int = 10, most_pairs: int = 300_000
) -> AmbiguityReport:
    """Search ``grammar`` for phrases with two slot fillings; ``most`` examples, shortest first."""
    if not grammar.has_tags:
        return AmbiguityReport((), True, 0)
    return _Search(grammar).run(most, most_pairs)


class _Search:
    def __init__(self, grammar: Grammar) -> None:
        self.grammar = grammar
        self.network = Network(grammar.rules)
        self.stacks = Stacks()
        self.open: list[_Labels] = [frozenset()]
        """Slots open in each stack, by its number."""
        self.reached: dict[Place, tuple[_Moves, bool]] = {}

    def run(self, most: int, most_pairs: int) -> AmbiguityReport:
        came_from: dict[_Pair, tuple[_Pair, str] | None] = {}
        waiting: deque[_Pair] = deque()
        entries = [(self.network.entry[name], BOTTOM) for name in self.grammar.public]
        for number, left in enumerate(entries):
            for right in entries[number:]:
                waiting.append((left, right, False))
                came_from[left, right, False] = None
        found: list[Ambiguity] = []
        seen_phrases: set[str] = set()
        while waiting and len(found) < most and len(came_from) <= most_pairs:
            pair = waiting.popleft()
            if self.both_end(pair):
                phrase = _words(pair, came_from)
                ambiguity = None if phrase in seen_phrases else self.judge(phrase)
                seen_phrases.add(phrase)
                if ambiguity:
                    found.append(ambiguity)
                    continue  # what follows would only repeat it in longer phrases
            for word, after in self.next_pairs(pair):
                if after not in came_from:
                    came_from[after] = (pair, word)
                    waiting.append(after)
        complete = not waiting and len(found) < most
        return AmbiguityReport(tuple(found), complete, len(came_from))

    def both_end(self, pair: _Pair) -> bool:
        left, right, differ = pair
        return differ and self.moves(left)[1] and self.moves(right)[1]

    def next_pairs(self, pair: _Pair) -> list[tuple[str, _Pair]]:
        left, right, differ = pair
        left_moves = self.moves(left)[0]
        right_moves = left_moves if left == right else self.moves(right)[0]
        pairs: list[tuple[str, _Pair]] = []
        for word, lefts in left_moves.items():
            rights = right_moves.get(word)
            if rights is None:
                continue
            for place, labels in lefts:
                for place2, labels2 in rights:
                    apart = differ or labels != labels2
                    ordered = (place, place2) if place <= place2 else (place2, place)
                    pairs.append((word, (*ordered, apart)))
        return pairs

    def moves(self, place: Place) -> tuple[_Moves, bool]:
        """Words that may follow ``place`` -> (place behind, slots the word goes into); the end?"""
        known = self.reached.get(place)
        if known is None:
            known = self.reached[place] = self.work_out(place)
        return known

    def work_out(self, start: Place) -> tuple[_Moves, bool]:
        network = self.network
        seen = {start}
        waiting = [start]
        moves: _Moves = {}
        last = False
        while waiting:
            node, stack = waiting.pop()
            last = last or (network.last[node] and stack == BOTTOM)
            labels = network.tags[node] | self.open[stack]
            for word, end in network.words[node]:
                move = ((end, stack), labels)
                listed = moves.setdefault(word, [])
                if move not in listed:
                    listed.append(move)
            following = [(end, stack) for end, _ in network.empty[node]]
            following += [
                (network.entry[name], self.push(back, stack)) for name, back in network.calls[node]
            ]
            if network.last[node] and stack != BOTTOM:
                following.append(self.stacks.pop(stack))
            for place in following:
                if place not in seen:
                    seen.add(place)
                    waiting.append(place)
        return moves, last

    def push(self, back: int, stack: int) -> int:
        opened = self.network.tags[back]
        if self.network.ends_only[back] and opened <= self.open[stack]:
            return stack
        number = self.stacks.push(back, stack)
        if number == len(self.open):
            self.open.append(opened | self.open[stack])
        return number

    def judge(self, phrase: str) -> Ambiguity | None:
        """The readings of ``phrase`` by the parser; None when the values come out equal."""
        readings: dict[tuple[tuple[str, str], ...], dict[str, str]] = {}
        for parse in self.grammar.parse(phrase.split()):
            readings.setdefault(tuple(sorted(parse.slots.items())), parse.slots)
        if len(readings) < 2:
            return None
        first, second, *_ = readings.values()
        slots = {slot for slot in {*first, *second} if first.get(slot) != second.get(slot)}
        return Ambiguity(phrase, tuple(readings.values()), self.place_of(slots))

    def place_of(self, slots: set[str]) -> Position:
        places = [
            at
            for rule in self.grammar.rules.values()
            for tag, at in _tags(rule.expression)
            if tag in slots
        ]
        return min(places)


def _tags(expression: ex.Expression) -> list[tuple[str, Position]]:
    own = [(expression.tag, expression.at)] if isinstance(expression, ex.Tagged) else []
    return own + [tag for child in ex.children(expression) for tag in _tags(child)]


def _words(pair: _Pair, came_from: dict[_Pair, tuple[_Pair, str] | None]) -> str:
    words: list[str] = []
    step = came_from[pair]
    while step is not None:
        words.append(step[1])
        step = came_from[step[0]]
    return " ".join(reversed(words))


def _shown(reading: dict[str, str]) -> str:
    return "{" + ", ".join(f"{slot}: {words}" for slot, words in sorted(reading.items())) + "}"
