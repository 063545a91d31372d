"""The language while a question is open: everything, and short answers to that question (pure)."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property

from fieldlog.grammar.automaton import Automaton
from fieldlog.grammar.grammar import Grammar
from fieldlog.grammar.jsgf import to_jsgf
from fieldlog.grammar.phrases import phrase_list
from fieldlog.language.decide import meaning_key
from fieldlog.model import Understanding


def with_answers(grammar: Grammar, answers: Grammar) -> Grammar:
    """One grammar whose utterances are those of both."""
    rules = {**answers.rules, **grammar.rules}
    return Grammar(grammar.name, rules, (*grammar.public, *answers.public))


class AnsweringLanguage:
    """Implements ``Language``; ``understand`` takes a text as the answer to what was asked."""

    name = "inspection, answering"

    def __init__(self, grammar: Grammar, answer: Callable[[str], Understanding]) -> None:
        """``answer`` gives what a text means as an answer."""
        self.grammar = grammar
        self._answer = answer

    def word_graph(self) -> Automaton:
        """The automaton for listeners that follow the grammar word by word."""
        return self.grammar.word_graph()

    def jsgf(self) -> str:
        """The same language as one closed JSGF text."""
        return self._jsgf

    @cached_property
    def _jsgf(self) -> str:
        return to_jsgf(self.grammar, tags=False)

    def phrases(self) -> list[str]:
        """A phrase list covering the language's words and word pairs."""
        return phrase_list(self.grammar)

    def words(self) -> frozenset[str]:
        """Every word that can be said."""
        return self.grammar.words

    def understand(self, text: str) -> Understanding:
        """What ``text`` means as an answer."""
        return self._answer(text)

    def meaning(self, text: str) -> str:
        """A key equal for answers that mean the same; "" when the answer is refused."""
        return meaning_key(self._answer(text))
