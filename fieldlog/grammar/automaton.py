"""The word automaton of a grammar: what may be said next, made deterministic on demand (pure).

A grammar is a recursive transition network: each rule is a small graph of word arcs, empty arcs
and calls of other rules. A *place* is a node of such a graph with the stack of nodes to go on
from when rules end; stacks are interned, and a call with nothing left behind it pushes nothing, so
rules that recurse to the right stay finite. A *state* is the set of places some words can lead to.
States are worked out when asked for and kept: a grammar of millions of phrases costs nothing until
somebody speaks.

Weights are natural logarithms: within an alternative with JSGF weights, choice i weighs
``log(w_i / sum w)``; without weights every choice weighs 0. A word's weight in ``arcs`` is that of
the best way to it; the rest is carried inside the state and paid in ``final_weight``, so the sum
along a phrase is the weight of its best derivation (up to 1e-6 a word).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from copy import copy
from typing import TypeAlias, TypeVar

from fieldlog.grammar import expression as ex

Place: TypeAlias = tuple[int, int]
"""(node, stack)."""

BOTTOM = 0
"""The empty stack."""

_SLACK_FLOOR = -20.0
"""Natural log below which a way is treated as equally unlikely; keeps weighted loops finite."""


_T = TypeVar("_T")


class _Asked(dict[int, _T]):
    """What is known of a node, found out when it is first asked for: most are never come to."""

    def __init__(self, find_out: Callable[[int], _T]) -> None:
        super().__init__()
        self._find_out = find_out

    def __missing__(self, node: int) -> _T:
        found = self[node] = self._find_out(node)
        return found


class Network:
    """The graphs of all rules. ``words``, ``empty`` and ``calls`` hold the arcs of each node."""

    def __init__(self, rules: Mapping[str, ex.Rule]) -> None:
        """Build the graph of every rule."""
        self.words: list[list[tuple[str, int]]] = []
        self.empty: list[list[tuple[int, float]]] = []
        self.calls: list[list[tuple[str, int]]] = []
        self.last: list[bool] = []
        self.entry: dict[str, int] = {}
        self.tags: list[frozenset[str]] = []
        """Slots open at each node (inside its own rule): words leaving it go into these."""
        self._open: frozenset[str] = frozenset()
        for name, rule in rules.items():
            self.entry[name] = self._node()
            end = self._build(rule.expression, self.entry[name])
            self.last[end] = True
        self.ends_only = _Asked(self._ends_only)
        self.settled = _Asked(self._settled)

    def _node(self) -> int:
        self.words.append([])
        self.empty.append([])
        self.calls.append([])
        self.last.append(False)
        self.tags.append(self._open)
        return len(self.words) - 1

    def _join(self, start: int, end: int, weight: float = 0.0) -> None:
        self.empty[start].append((end, weight))

    def _build(self, expression: ex.Expression, start: int) -> int:
        """Add ``expression`` after node ``start``; returns the node behind it."""
        match expression:
            case ex.Word(text=text):
                end = self._node()
                self.words[start].append((text, end))
                return end
            case ex.Reference(name=name):
                end = self._node()
                self.calls[start].append((name, end))
                return end
            case ex.Sequence(items=items):
                for item in items:
                    start = self._build(item, start)
                return start
            case ex.Alternative(choices=choices, weights=weights):
                return self._choices(choices, weights, start)
            case ex.Option(item=item):
                end = self._node()
                inside = self._node()
                self._join(start, inside)
                self._join(self._build(item, inside), end)
                self._join(start, end)
                return end
            case ex.Repeat(item=item, minimum=minimum):
                inside = self._node()
                self._join(start, inside)
                behind = self._build(item, inside)
                self._join(behind, inside)
                end = self._node()
                self._join(behind, end)
                if minimum == 0:
                    self._join(start, end)
                return end
            case ex.Tagged(item=item, tag=tag):
                outside = self._open
                self._open = outside | {tag}
                inside = self._node()
                self._join(start, inside)
                behind = self._build(item, inside)
                self._open = outside
                end = self._node()
                self._join(behind, end)
                return end
            case ex.Void():
                return self._node()
            case _:
                return start

    def _choices(
        self, choices: tuple[ex.Expression, ...], weights: tuple[float, ...] | None, start: int
    ) -> int:
        end = self._node()
        total = sum(weights) if weights else 0.0
        for number, choice in enumerate(choices):
            inside = self._node()
            self._join(start, inside, math.log(weights[number] / total) if weights else 0.0)
            self._join(self._build(choice, inside), end)
        return end

    def _settled(self, node: int) -> int:
        """The node that ``node`` leads to without any choice; itself where there is one."""
        while (
            len(self.empty[node]) == 1
            and self.empty[node][0][1] == 0.0
            and not (self.words[node] or self.calls[node] or self.last[node])
        ):
            node = self.empty[node][0][0]
        return node

    def _ends_only(self, node: int) -> bool:
        """Whether nothing but the end of the rule can follow, at no cost."""
        seen: set[int] = set()
        waiting = [node]
        last = False
        while waiting:
            here = waiting.pop()
            if here in seen:
                continue
            seen.add(here)
            last = last or self.last[here]
            if self.words[here] or self.calls[here]:
                return False
            for end, weight in self.empty[here]:
                if weight:
                    return False
                waiting.append(end)
        return last


class Stacks:
    """Interned stacks of nodes to return to: number <-> (node on top, number of the rest)."""

    def __init__(self) -> None:
        """Hold the empty stack only."""
        self._frames: list[tuple[int, int]] = [(-1, -1)]
        self._numbers: dict[tuple[int, int], int] = {}

    def push(self, node: int, rest: int) -> int:
        """The stack with ``node`` on top of ``rest``."""
        frame = (node, rest)
        number = self._numbers.get(frame)
        if number is None:
            number = self._numbers[frame] = len(self._frames)
            self._frames.append(frame)
        return number

    def pop(self, stack: int) -> tuple[int, int]:
        """(node on top, the rest); the stack must not be ``BOTTOM``."""
        return self._frames[stack]


Places: TypeAlias = tuple[tuple[Place, float], ...]
"""Places that words leave, with the best weight to each, in an order that follows from the grammar alone: of two
words that are written alike the first one counts."""


class Automaton:
    """A ``WordGraph`` over the rules ``start``; states are numbers, 0 is the start."""

    start = 0

    further: int | None
    """The state from which a breath goes on behind a whole utterance; None: it never does."""

    def __init__(
        self, rules: Mapping[str, ex.Rule], start: Sequence[str], further: str = ""
    ) -> None:
        """Begin at any of the rules ``start`` (qualified names), and again with ``further``."""
        self.network = Network(rules)
        self._relative = Stacks()
        """Stacks on top of whatever a rule was called with."""
        self._known: dict[str, Places] = {}
        self._ends: dict[int, float | None] = {}
        self._begins = tuple(self.network.entry[name] for name in start)
        self._again = self.network.entry[further] if further else None
        self._forget()

    def _forget(self) -> None:
        self.stacks = Stacks()
        self._states: list[tuple[tuple[Place, float], ...]] = []
        self._numbers: dict[frozenset[tuple[Place, float]], int] = {}
        self._arcs: dict[int, dict[str, tuple[int, float]]] = {}
        self._final: dict[int, float | None] = {}
        self._settled: dict[Place, Place] = {}
        self._state({(node, BOTTOM): 0.0 for node in self._begins}, 0.0)
        again = None if self._again is None else {(self._again, BOTTOM): 0.0}
        self.further = None if again is None else self._state(again, 0.0)

    def anew(self) -> Automaton:
        """The same with none of its states made but the first: their numbers mean nothing in the other.

        What was asked of the rules themselves is kept, and shared by the two.
        """
        fresh = copy(self)
        fresh._forget()
        return fresh

    def __len__(self) -> int:
        """States made so far."""
        return len(self._states)

    def arcs(self, state: int) -> dict[str, tuple[int, float]]:
        """``word -> (next state, natural-log weight)`` for every word that may follow."""
        known = self._arcs.get(state)
        if known is None:
            self._expand(state)
            known = self._arcs[state]
        return known

    def is_final(self, state: int) -> bool:
        """Whether an utterance may end here."""
        return self.final_weight(state) is not None

    def final_weight(self, state: int) -> float | None:
        """Natural-log weight of ending here, on top of the arcs'; None where none may end."""
        if state not in self._final:
            self._reached(state)
        return self._final[state]

    def accepts(self, words: Sequence[str]) -> bool:
        """Whether ``words`` are a whole utterance of the grammar."""
        state, fitting = self.follow(words)
        return fitting == len(words) and self.is_final(state)

    def follow(self, words: Sequence[str]) -> tuple[int, int]:
        """Follow ``words`` while they fit: the state reached and the number of words that fit."""
        state = self.start
        for number, word in enumerate(words):
            arc = self.arcs(state).get(word)
            if arc is None:
                return state, number
            state = arc[0]
        return state, len(words)

    def longest(self, words: Sequence[str]) -> int:
        """How many of the first words are a whole utterance, at most; 0: none."""
        state, found = self.start, 0
        for number, word in enumerate(words, start=1):
            arc = self.arcs(state).get(word)
            if arc is None:
                break
            state = arc[0]
            if self.is_final(state):
                found = number
        return found

    def weight(self, words: Sequence[str]) -> float | None:
        """Natural-log weight of the best derivation of ``words``; None when not accepted."""
        state, total = self.start, 0.0
        for word in words:
            arc = self.arcs(state).get(word)
            if arc is None:
                return None
            state, total = arc[0], total + arc[1]
        ending = self.final_weight(state)
        return None if ending is None else total + ending

    def _reached(self, state: int) -> dict[Place, float]:
        """The places of a state, with those behind rules that may end at once; whether it is final is known then.

        That alone is asked of most states: what may follow a word that is hardly the one is never asked.
        """
        stacks = self.stacks
        best = dict(self._states[state])
        waiting = list(best)
        ending: float | None = None
        while waiting:
            place = waiting.pop()
            through = self._through(place[0])
            if through is None:
                continue
            total = best[place] + through
            if place[1] == BOTTOM:
                ending = total if ending is None else max(ending, total)
                continue
            there = stacks.pop(place[1])
            before = best.get(there)
            if before is None or total > before + 1e-12:
                best[there] = total
                waiting.append(there)
        self._final[state] = ending
        return best

    def _expand(self, state: int) -> None:
        network, settled = self.network, self._settled
        by_word: dict[str, dict[Place, float]] = {}
        for (node, stack), weight in self._explored(self.stacks, self._states[state]):
            for word, end in network.words[node]:
                places = by_word.setdefault(word, {})
                there = settled.get((end, stack))
                if there is None:
                    there = settled[end, stack] = self._settle(end, stack)
                if there not in places or weight > places[there]:
                    places[there] = weight
        arcs: dict[str, tuple[int, float]] = {}
        for word, places in by_word.items():
            top = max(places.values())
            arcs[word] = (self._state(places, top), round(top, 6))
        self._arcs[state] = arcs

    def _through(self, node: int) -> float | None:
        """Best weight from ``node`` to the end of its rule; None: there is a word before it."""
        if node in self._ends:
            return self._ends[node]
        network = self.network
        best = {node: 0.0}
        waiting = [node]
        ending: float | None = None
        while waiting:
            here = waiting.pop()
            weight = best[here]
            if network.last[here]:
                ending = weight if ending is None else max(ending, weight)
            following = [(behind, weight + more) for behind, more in network.empty[here]]
            for name, back in network.calls[here]:
                inner = self._through(network.entry[name])
                if inner is not None:
                    following.append((back, weight + inner))
            for there, total in following:
                before = best.get(there)
                if before is None or total > before + 1e-12:
                    best[there] = total
                    waiting.append(there)
        self._ends[node] = ending
        return ending

    def _inside(self, name: str) -> Places:
        """What the rule ``name`` begins with, on stacks on top of whatever it was called with.

        Worked out once, wherever it is called from.
        """
        known = self._known.get(name)
        if known is None:
            begin = (((self.network.entry[name], BOTTOM), 0.0),)
            known = self._known[name] = self._explored(self._relative, begin)
        return known

    def _explored(self, stacks: Stacks, begin: Sequence[tuple[Place, float]]) -> Places:
        """All places reached from those of ``begin`` without a word, whose stacks are of ``stacks``."""
        network = self.network
        best: dict[Place, float] = {}
        places: dict[Place, float] = {}
        waiting: list[tuple[Place, str]] = []

        def found(place: Place, weight: float, called: str = "") -> None:
            before = best.get(place)
            if before is None or weight > before + 1e-12:
                best[place] = weight
                if network.words[place[0]]:
                    places[place] = weight
                waiting.append((place, called))

        for place, weight in begin:
            found(place, weight)
        while waiting:
            place, called = waiting.pop()
            (here, stack), weight = place, best[place]
            end = weight if network.last[here] else None
            if called:
                upon = {BOTTOM: stack}
                for (inner, relative), more in self._inside(called):
                    whole = upon.get(relative)
                    if whole is None:
                        whole = upon[relative] = self._upon(stacks, stack, relative)
                    there, total = (inner, whole), weight + more
                    if there not in places or total > places[there]:
                        places[there] = total
                through = self._through(here)
                end = None if through is None else weight + through
            else:
                for behind, more in network.empty[here]:
                    found((behind, stack), weight + more)
                for name, back in network.calls[here]:
                    rest = stack if network.ends_only[back] else stacks.push(back, stack)
                    # No rule calls itself before its first word: the check of a grammar refuses it.
                    found((network.entry[name], rest), weight, name)
            if end is not None and stack != BOTTOM:
                found(stacks.pop(stack), end)
        return tuple(places.items())

    def _upon(self, stacks: Stacks, stack: int, relative: int) -> int:
        """The stack (of ``stacks``) with the frames of the relative stack ``relative`` on top of ``stack``."""
        if relative == BOTTOM:
            return stack
        node, rest = self._relative.pop(relative)
        return stacks.push(node, self._upon(stacks, stack, rest))

    def _settle(self, node: int, stack: int) -> Place:
        """The place that (node, stack) leads to without any choice, so that like states meet."""
        network = self.network
        node = network.settled[node]
        while network.ends_only[node] and stack != BOTTOM:
            node, stack = self.stacks.pop(stack)
            node = network.settled[node]
        return node, stack

    def _state(self, places: dict[Place, float], top: float) -> int:
        """The state of ``places``, whose weights are told against ``top``, the best of them."""
        key = frozenset(
            [
                (place, 0.0 if weight == top else _rounded(weight - top))
                for place, weight in places.items()
            ]
        )
        number = self._numbers.get(key)
        if number is None:
            number = self._numbers[key] = len(self._states)
            self._states.append(tuple(key))
        return number


def _rounded(slack: float) -> float:
    return round(max(slack, _SLACK_FLOOR), 6) or 0.0
