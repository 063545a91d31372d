"""Word graph -> the smallest finite network that says the same, for listeners that want it whole.

pocketsphinx writes every rule out at each place where it is used: the inspection grammar becomes
4.8 million transitions in 15 s that way (docs/grammar.md has the command). The automaton, written
out and with equal states merged, is a small fraction of that.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fieldlog.errors import GrammarError
from fieldlog.grammar.language import WordGraph


@dataclass(frozen=True, slots=True)
class FiniteNetwork:
    """States 0..``states`` - 1; ``arcs`` are (from, to, natural-log weight, word)."""

    states: int
    start: int
    finals: Mapping[int, float]
    """State where an utterance may end -> natural-log weight of ending there."""
    arcs: tuple[tuple[int, int, float, str], ...]


def finite_network(graph: WordGraph, *, most_arcs: int = 1_000_000) -> FiniteNetwork:
    """Write ``graph`` out and merge states with the same future.

    Raises ``GrammarError`` when it has more than ``most_arcs`` arcs, as a grammar has that calls a
    rule in the middle of itself.
    """
    reached, finals = _written_out(graph, most_arcs)
    block = _blocks(reached, finals)
    number: dict[int, int] = {}
    arcs: dict[tuple[int, int, str], float] = {}
    for state, following in reached.items():
        start = number.setdefault(block[state], len(number))
        for word, (end, weight) in following.items():
            to = number.setdefault(block[end], len(number))
            arcs[start, to, word] = weight
    return FiniteNetwork(
        len(number),
        number[block[graph.start]],
        {number[block[state]]: weight for state, weight in finals.items()},
        tuple((start, to, weight, word) for (start, to, word), weight in arcs.items()),
    )


_Arcs = dict[str, tuple[int, float]]


def _written_out(graph: WordGraph, most_arcs: int) -> tuple[dict[int, _Arcs], dict[int, float]]:
    reached: dict[int, _Arcs] = {}
    waiting = [graph.start]
    count = 0
    while waiting:
        state = waiting.pop()
        if state in reached:
            continue
        reached[state] = graph.arcs(state)
        count += len(reached[state])
        if count > most_arcs:
            raise GrammarError(
                f"the grammar has more than {most_arcs:,} word transitions",
                todo="avoid rules that contain themselves in their middle, or use whisper",
            )
        waiting.extend(end for end, _ in reached[state].values() if end not in reached)
    endings = {state: graph.final_weight(state) for state in reached}
    return reached, {state: weight for state, weight in endings.items() if weight is not None}


def _blocks(reached: dict[int, _Arcs], finals: Mapping[int, float]) -> dict[int, int]:
    """State -> number of its class: states of one class have the same future.

    Without loops one pass from the ends backwards is enough; with loops classes are refined until
    nothing changes (Moore, 1956).
    """
    order = _ends_first(reached)
    if order is not None:
        classes: dict[object, int] = {}
        block: dict[int, int] = {}
        for state in order:
            future = (finals.get(state), _future(reached[state], block))
            block[state] = classes.setdefault(future, len(classes))
        return block
    endings: dict[object, int] = {}
    block = {state: endings.setdefault(finals.get(state), len(endings)) for state in reached}
    count = len(endings)
    while True:
        signatures: dict[object, int] = {}
        finer = {
            state: signatures.setdefault((block[state], _future(following, block)), len(signatures))
            for state, following in reached.items()
        }
        if len(signatures) == count:
            return finer
        block, count = finer, len(signatures)


def _future(following: _Arcs, block: dict[int, int]) -> frozenset[tuple[str, int, float]]:
    return frozenset((word, block[end], weight) for word, (end, weight) in following.items())


def _ends_first(reached: dict[int, _Arcs]) -> list[int] | None:
    """The states, each behind all that follow it; None when there is a loop."""
    leads: dict[int, int] = {}
    before: dict[int, list[int]] = {state: [] for state in reached}
    for state, following in reached.items():
        ends = {end for end, _ in following.values()}
        leads[state] = len(ends)
        for end in ends:
            before[end].append(state)
    order = [state for state, count in leads.items() if count == 0]
    for state in order:  # grows while it is gone through
        for earlier in before[state]:
            leads[earlier] -= 1
            if leads[earlier] == 0:
                order.append(earlier)
    return order if len(order) == len(reached) else None
