"""The language while a question is open: everything, and short answers to that question (pure)."""

from __future__ import annotations

from collections.abc import Callable

from fieldlog.grammar.forms import WrittenForms
from fieldlog.grammar.grammar import Grammar
from fieldlog.grammar.offered import OfferedGrammar
from fieldlog.language.decide import meaning_key
from fieldlog.language.hint import HINT
from fieldlog.model.understanding import Understanding


def with_answers(grammar: Grammar, answers: Grammar) -> Grammar:
    """One grammar whose utterances are those of both."""
    rules = {**answers.rules, **grammar.rules}
    public = (*grammar.public, *answers.public)
    return Grammar(grammar.name, rules, public, further=grammar.further)


class AnsweringLanguage(OfferedGrammar):
    """Implements ``Language``; ``understand`` takes a text as the answer to what was asked."""

    name = "inspection, answering"
    hint = HINT
    in_shop_words = True
    speech = "en"
    cue = ""
    forms: WrittenForms | None = None
    """How its words may be written; None: as those of the reference."""

    def __init__(self, grammar: Grammar, answer: Callable[[str], Understanding]) -> None:
        """``answer`` gives what a text means as an answer."""
        super().__init__(grammar)
        self._answer = answer

    def understand(self, text: str) -> Understanding:
        """What ``text`` means as an answer."""
        return self._answer(text)

    def meaning(self, text: str) -> str:
        """A key equal for answers that mean the same; "" when the answer is refused."""
        return meaning_key(self._answer(text))
