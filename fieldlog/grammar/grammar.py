"""``Grammar``: a closed grammar and what can be asked of it (pure).

``Grammar.from_text`` takes the text and a loader for imports; opening files is left to
``fieldlog.grammar.files``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

from fieldlog.grammar.automaton import Automaton
from fieldlog.grammar.check import (
    check_rules,
    has_tag,
    raise_faults,
    reachable,
    speakable_rules,
    unsayable,
    words_of,
)
from fieldlog.grammar.expression import Fault, Rule
from fieldlog.grammar.parse import Parse, Parser

if TYPE_CHECKING:
    from fieldlog.grammar.closing import Loader


MOST_STATES = 12_000
"""Of the word automaton: a session that has heard more begins it anew (memory stays flat)."""


def no_imports(name: str) -> tuple[str, str] | None:
    """The loader of a grammar that stands alone."""
    return None


@dataclass(frozen=True)
class Grammar:
    """Rules by qualified name (``grammar.rule``); ``public`` are those an utterance may be.

    Only rules that an utterance can reach are kept, and in them only what can be spoken: the
    compilers meet no ``<VOID>``, no choice of weight 0 and no reference without a rule.
    """

    name: str
    rules: Mapping[str, Rule]
    public: tuple[str, ...]
    warnings: tuple[Fault, ...] = ()
    further: str = ""
    """The rule of what may follow an utterance in the same breath, again and again; empty: nothing."""

    @classmethod
    def from_text(cls, text: str, file: str = "<grammar>", loader: Loader = no_imports) -> Grammar:
        """Read, resolve and close ``text``; raises ``GrammarError`` listing every fault."""
        # what was kept of a grammar is not read again (fieldlog/kept.py)
        from fieldlog.grammar.closing import close, prune, read_documents

        faults: list[Fault] = []
        documents = read_documents(text, file, loader, faults)
        root = next(iter(documents))
        rules = close(documents, faults)
        check_rules(rules, root, faults)
        raise_faults(faults, file)
        public = tuple(
            name for name, rule in rules.items() if rule.public and name.rpartition(".")[0] == root
        )
        rules = prune(rules, speakable_rules(rules))
        used = reachable(rules, public)
        warnings = tuple(sorted({fault for fault in faults if fault.warning}))
        kept = {name: rule for name, rule in rules.items() if name in used}
        return cls(root, kept, public, warnings)

    def __reduce__(self) -> tuple[object, ...]:
        """Sent to another process as rules only; parser and automaton are made again there."""
        return Grammar, (self.name, dict(self.rules), self.public, self.warnings, self.further)

    def of(self, public: str, further: str) -> Grammar:
        """The same with other utterances and what follows them: qualified names of its rules."""
        return replace(self, name=public.rpartition(".")[0], public=(public,), further=further)

    def parse(self, words: Sequence[str], rule: str | None = None) -> tuple[Parse, ...]:
        """Every derivation of ``words`` from the public rules (or from ``rule`` alone).

        Derivations that enter the same named rules over the same words and fill the same slots
        count once. Empty when the words are not in the language.
        """
        start = self.public if rule is None else (self.qualified(rule),)
        return self.parser.parse(words, start)

    @cached_property
    def parser(self) -> Parser:
        """The parser over all rules, built once."""
        return Parser(self.rules)

    def word_graph(self, rule: str | None = None) -> Automaton:
        """The word automaton of the public rules (or of ``rule`` alone), grown on demand.

        One that has grown to more than ``MOST_STATES`` is left to whoever still follows it: the next who asks gets
        a new one, whose states have other numbers.
        """
        if rule is not None:
            return Automaton(self.rules, (self.qualified(rule),))
        if len(self._automaton) > MOST_STATES:
            self.__dict__["_automaton"] = self._automaton.anew()
        return self._automaton

    @cached_property
    def _automaton(self) -> Automaton:
        return Automaton(self.rules, self.public, self.further)

    @cached_property
    def words(self) -> frozenset[str]:
        """Every word written in a rule that can be reached."""
        return frozenset(
            word.text for rule in self.rules.values() for word in words_of(rule.expression)
        )

    @cached_property
    def has_tags(self) -> bool:
        """Whether any rule that can be reached has a slot."""
        return any(has_tag(rule.expression) for rule in self.rules.values())

    def unsayable(self, can_say: Callable[[str], bool]) -> dict[str, Fault]:
        """Word that a listener's dictionary does not know -> the fault, with its first place."""
        return unsayable(self.rules, frozenset(self.rules), can_say)

    def qualified(self, rule: str) -> str:
        """The qualified name of ``rule``; raises ``KeyError`` when there is none or several."""
        if rule in self.rules:
            return rule
        own = f"{self.name}.{rule}"
        if own in self.rules:
            return own
        found = [name for name in self.rules if name.rpartition(".")[2] == rule]
        if len(found) != 1:
            raise KeyError(rule)
        return found[0]
