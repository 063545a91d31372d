"""Every phrase of a word graph in order: what compiled grammars are compared by."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator

from fieldlog.grammar.automaton import Automaton


def enumerate_phrases(graph: Automaton, limit: int, max_words: int = 20) -> Iterator[str]:
    """Distinct phrases of up to ``max_words`` words, shortest first, at most ``limit`` of them."""
    waiting: deque[tuple[int, tuple[str, ...]]] = deque([(graph.start, ())])
    while waiting and limit > 0:
        state, words = waiting.popleft()
        if words and graph.is_final(state):
            yield " ".join(words)
            limit -= 1
        if len(words) < max_words:
            waiting.extend(
                (end, (*words, word)) for word, (end, _) in sorted(graph.arcs(state).items())
            )
