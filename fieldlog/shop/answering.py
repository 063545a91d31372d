"""What may be said while a question waits: all of the language, and short answers to the question."""

from __future__ import annotations

from dataclasses import replace

from fieldlog.grammar.language import WordGraph
from fieldlog.language.decide import meaning_key
from fieldlog.language.in_words import value_said
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.command import Command
from fieldlog.model.understanding import Decision, Understanding


class Answering:
    """The inspection language while one question is open; implements ``Language``."""

    name = "inspection, answering"

    def __init__(
        self, language: InspectionLanguage, asked: Understanding, *, again: bool = False
    ) -> None:
        """Offers all of ``language``, and short answers to ``asked``.

        ``again``: something else was said after its utterance; a bare correction is not of that.
        """
        self._again = again
        self.hint = language.hint
        self.in_shop_words = language.in_shop_words
        self.speech = language.speech
        self.forms = language.forms
        self.told = language.told
        self._language = language
        self._asked = asked
        self._offered = language.answering(asked)
        self._known: dict[str, Understanding] = {}

    def word_graph(self) -> WordGraph:
        """The automaton for listeners that follow the grammar word by word."""
        return self._offered.word_graph()

    def jsgf(self) -> str:
        """The same language as one closed JSGF text."""
        return self._offered.jsgf()

    def phrases(self) -> list[str]:
        """A phrase list covering the language's words and word pairs."""
        return self._offered.phrases()

    def words(self) -> frozenset[str]:
        """Every word that can be said."""
        return self._offered.words()

    def understand(self, text: str) -> Understanding:
        """What ``text`` means while the question is open."""
        if text not in self._known:
            self._known[text] = self._understand(text)
        return self._known[text]

    def meaning(self, text: str) -> str:
        """A key equal for texts that mean the same; "" when the text is refused."""
        return meaning_key(self.understand(text))

    def is_yes_or_no(self, text: str) -> bool:
        """Whether ``text`` is a yes or a no as a whole, whatever that comes to here."""
        return self._language.understand(text).dialogue in (Command.AFFIRM, Command.NEGATIVE)

    def _understand(self, text: str) -> Understanding:
        whole = self._language.understand(text)
        if whole.parts:
            return whole
        said = self._offered.understand(text)
        if said.dialogue is Command.NEGATIVE:
            return self._language.understand(text)  # weighed like any other word before it counts
        bare = said.dialogue is Command.CORRECTION and said.finding is None
        if bare and not self._again and "value" in said.slots:
            # A bare correction is of what was said last, and that is the question's utterance.
            anew = self._offered.understand(value_said(said))
            return replace(said, slots={}) if anew.decision is Decision.REFUSE else anew
        return said
