"""A closed grammar as listeners take it: the half of ``Language`` that is the same for every one."""

from __future__ import annotations

from functools import cached_property

from fieldlog.grammar.automaton import Automaton
from fieldlog.grammar.grammar import Grammar
from fieldlog.grammar.jsgf import to_jsgf
from fieldlog.grammar.phrases import phrase_list


class OfferedGrammar:
    """What may be said, in each form that a listener can follow; what it means is added by others."""

    def __init__(self, grammar: Grammar) -> None:
        """``grammar``: closed, all its imports resolved."""
        self.grammar = grammar

    def word_graph(self) -> Automaton:
        """The automaton for listeners that follow the grammar word by word."""
        return self.grammar.word_graph()

    def jsgf(self) -> str:
        """The grammar as one closed JSGF text, without its tags."""
        return self._jsgf

    @cached_property
    def _jsgf(self) -> str:
        return to_jsgf(self.grammar, tags=False)

    def phrases(self) -> list[str]:
        """Phrases that hold every word and word pair of the grammar, and ``[unk]``."""
        return phrase_list(self.grammar)

    def words(self) -> frozenset[str]:
        """Every word that can be said."""
        return self.grammar.words
