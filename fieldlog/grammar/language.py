"""A language as listeners and the pipeline see it: what a grammar owes the rest (pure)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol, runtime_checkable

from fieldlog.model.understanding import Understanding


@runtime_checkable
class OpenQuestion(Protocol):
    """A language while a question is open."""

    def is_yes_or_no(self, text: str) -> bool:
        """Whether ``text`` is a yes or a no as a whole."""
        ...


class WordGraph(Protocol):
    """A deterministic automaton over words: what may be said next from each state."""

    start: int
    further: int | None
    """The state from which a breath goes on behind a whole utterance; None: it never does."""

    def arcs(self, state: int) -> dict[str, tuple[int, float]]:
        """``word -> (next state, natural-log weight)`` for every word that may follow."""
        ...

    def is_final(self, state: int) -> bool:
        """Whether an utterance may end here."""
        ...

    def final_weight(self, state: int) -> float | None:
        """Natural-log weight of ending here, on top of the arcs'; None where none may end."""
        ...


def is_said(graph: WordGraph, words: Sequence[str]) -> bool:
    """Whether ``words`` are whole utterances of ``graph`` to the last word, in one breath."""
    return any(map(graph.is_final, _reached(graph, words)))


def expected(graph: WordGraph, words: Sequence[str]) -> frozenset[str] | None:
    """Words with which the last utterance in ``words`` may still go on; None: it is not whole yet.

    That another one may follow in the same breath is not said by it.
    """
    reached = _reached(graph, words)
    if not any(map(graph.is_final, reached)):
        return None
    return frozenset(word for state in reached for word in graph.arcs(state))


def endings(
    graph: WordGraph, words: Sequence[str], *, most: int = 24
) -> tuple[tuple[str, ...], ...] | None:
    """All with which the last utterance in ``words`` may go on to its end, shortest first.

    None: there are more than ``most``, or they have no end.
    """
    found: list[tuple[str, ...]] = []
    level: list[tuple[tuple[str, ...], int]] = [((), at) for at in _reached(graph, words)]
    while level:
        deeper = list[tuple[tuple[str, ...], int]]()
        for more, state in level:
            for word, (behind, _) in graph.arcs(state).items():
                deeper.append(((*more, word), behind))
                if graph.is_final(behind):
                    found.append((*more, word))
                if len(deeper) > most or len(found) > most:
                    return None
        level = deeper
    return tuple(dict.fromkeys(found))


def _reached(graph: WordGraph, words: Sequence[str]) -> set[int]:
    """The states in which ``words`` may end, each utterance but the last of them whole."""
    states = {graph.start} if words else set()
    for number, word in enumerate(words):
        states = {arc[0] for state in states if (arc := graph.arcs(state).get(word)) is not None}
        last = number == len(words) - 1
        if not last and graph.further is not None and any(map(graph.is_final, states)):
            states.add(graph.further)
    return states


class Language(Protocol):
    """A grammar as listeners and the pipeline see it: ours, or any JSGF file with tags."""

    name: str

    def word_graph(self) -> WordGraph:
        """The automaton for listeners that follow the grammar word by word."""
        ...

    def jsgf(self) -> str:
        """The same language as one closed JSGF text (pocketsphinx)."""
        ...

    def phrases(self) -> list[str]:
        """A phrase list covering the language's words and word pairs (Vosk)."""
        ...

    def words(self) -> frozenset[str]:
        """Every word that can be said."""
        ...

    def understand(self, text: str) -> Understanding:
        """Parse ``text``: what it means, or why it means nothing."""
        ...

    def meaning(self, text: str) -> str:
        """A key equal for texts that mean the same ("" when the text does not parse)."""
        ...
