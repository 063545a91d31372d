"""A language made of any JSGF grammar: what was said fills the slots that its tags name."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from pathlib import Path

from fieldlog.grammar.automaton import Automaton
from fieldlog.grammar.files import load_grammar
from fieldlog.grammar.grammar import Grammar
from fieldlog.grammar.offered import OfferedGrammar
from fieldlog.model.question import Asks, Question
from fieldlog.model.understanding import Decision, Kind, Understanding

_SHOWN = 6
"""Readings shown in a question."""

_FEW_WORDS = 30


class TaggedLanguage(OfferedGrammar):
    """Implements ``listeners.base.Language`` for one closed grammar."""

    def __init__(self, grammar: Grammar) -> None:
        """Wrap ``grammar``."""
        super().__init__(grammar)
        self.name = grammar.name

    @classmethod
    def from_file(cls, path: Path, texts: Mapping[str, str] | None = None) -> TaggedLanguage:
        """The language of a JSGF file; raises ``GrammarError`` listing every fault."""
        return cls(load_grammar(path, texts))

    @classmethod
    def from_text(cls, text: str, file: str = "<grammar>") -> TaggedLanguage:
        """The language of a JSGF text without imports."""
        return cls(Grammar.from_text(text, file))

    @cached_property
    def hint(self) -> str:
        """For listeners that can use a text of the language's kind: the words of a small grammar.

        Single words said alone need it most (100 spoken digits with kitchen noise at 12 dB: 98 right
        with it, 95 without); a larger grammar's phrases carry themselves.
        """
        words = sorted(self.words())
        if len(words) > _FEW_WORDS:
            return ""
        return f"The speaker says one of these words: {', '.join(words)}."

    def understand(self, text: str) -> Understanding:
        """Accept with slots; ask when the slots can be filled in two ways; refuse what is not said.

        The reason of a refusal names the first word that does not fit and what could have come.
        """
        words = self._words(text)
        fillings: dict[tuple[tuple[str, str], ...], dict[str, str]] = {}
        parses = self.grammar.parse(words)
        for parse in parses:
            fillings.setdefault(tuple(sorted(parse.slots.items())), parse.slots)
        spoken = " ".join(words)
        if not fillings:
            reason = refusal(self.word_graph(), words)
            return Understanding(Decision.REFUSE, Kind.NOTHING, reason, spoken)
        first, *others = fillings.values()
        if others or not parses[0].complete:
            readings = [_shown(filling) for filling in [first, *others][:_SHOWN]]
            return Understanding(
                Decision.ASK,
                Kind.ORDER,
                f"{len(fillings)} or more ways to understand it",
                spoken,
                question=Question(Asks.WHICH, f"which one: {'; or '.join(readings)}?"),
            )
        return Understanding(
            Decision.ACCEPT, Kind.ORDER, "a phrase of the grammar", spoken, slots=first
        )

    def meaning(self, text: str) -> str:
        """A key equal for texts with the same slots; the words themselves without tags."""
        words = self._words(text)
        parses = self.grammar.parse(words)
        if not parses:
            return ""
        if not self._has_slots:
            return " ".join(words)
        return " | ".join(sorted({_shown(parse.slots) for parse in parses}))

    @cached_property
    def _has_slots(self) -> bool:
        return self.grammar.has_tags

    @cached_property
    def _lower(self) -> bool:
        return all(word == word.lower() for word in self.grammar.words)

    def _words(self, text: str) -> list[str]:
        return (text.lower() if self._lower else text).split()


def refusal(graph: Automaton, words: list[str], shown: int = 8) -> str:
    """Why ``words`` are no phrase: the first that does not fit, and what could have come."""
    if not words:
        return "nothing was said"
    state, fitting = graph.follow(words)
    could = sorted(graph.arcs(state))
    listed = ", ".join(could[:shown]) + (f" and {len(could) - shown} more" * (len(could) > shown))
    behind = f" after '{' '.join(words[:fitting])}'" if fitting else " at the beginning"
    if fitting == len(words):
        return f"'{' '.join(words)}' is not finished: could go on with {listed}"
    if not could:
        return f"'{words[fitting]}' does not fit{behind}: nothing may follow"
    known = "" if not graph.is_final(state) else ", or nothing"
    return f"'{words[fitting]}' does not fit{behind}: there could be {listed}{known}"


def _shown(slots: Mapping[str, str]) -> str:
    return ", ".join(f"{name} = {words}" for name, words in sorted(slots.items()))
