"""The seam between sound and words: what every listener (recogniser) owes the rest.

A listener proposes hypotheses; it decides nothing. Every text it returns is parsed again by
``Language.understand`` before anything is believed.
"""

from __future__ import annotations

from typing import Protocol, runtime_checkable

from fieldlog.audio.clip import Clip
from fieldlog.model import Hearing, Understanding


class WordGraph(Protocol):
    """A deterministic automaton over words: what may be said next from each state."""

    start: int

    def arcs(self, state: int) -> dict[str, tuple[int, float]]:
        """``word -> (next state, natural-log weight)`` for every word that may follow."""
        ...

    def is_final(self, state: int) -> bool:
        """Whether an utterance may end here."""
        ...

    def final_weight(self, state: int) -> float | None:
        """Natural-log weight of ending here, on top of the arcs'; None where none may end."""
        ...


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


@runtime_checkable
class Listener(Protocol):
    """A recogniser built for one language."""

    name: str

    def load(self, language: Language) -> None:
        """Make ready for ``language``; raises ``ModelError`` or ``GrammarError`` with all causes."""
        ...

    def hear(self, clip: Clip) -> Hearing:
        """Hypotheses for ``clip``, best first. Never raises for odd audio: returns none instead."""
        ...

    def close(self) -> None:
        """Free what the listener holds; calling it twice is harmless."""
        ...
