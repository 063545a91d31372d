"""The bare answer to what the walk asked for: "two point five millimetres", "fine", "not fitted" (pure).

It is read as the whole phrase that names what was asked for, by the same language, so it is judged, kept and
put right like any other; its flag says that nobody named the part. What may be of several things that were
asked for, or of something else, is none.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from fieldlog.grammar.forms import WrittenForms
from fieldlog.grammar.grammar import Grammar
from fieldlog.grammar.offered import OfferedGrammar
from fieldlog.language.decide import meaning_key
from fieldlog.language.hint import HINT
from fieldlog.model.finding import Finding
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding
from fieldlog.words.told import TellsIn

BARE = (
    *("sound", "missing", "worn", "loose", "cracked", "full", "between_marks"),
    *("low", "leaking", "dirty", "rusted", "tight", "not_working"),
)
"""Conditions that are heard without their part; any other is said with it."""


@dataclass(frozen=True)
class Led:
    """What the walk asked for last."""

    names: tuple[str, ...]
    """The words that name it, the narrowest first: "front brake pads thickness", "front brake pads"."""
    shows: Callable[[Finding], bool]
    """Whether a finding is of what was asked for."""

    def named(self, understand: Callable[[str], Understanding], text: str) -> Understanding | None:
        """``text`` with the name of what was asked for; None where it is no answer to that, or to two things."""
        found: dict[object, Understanding] = {}
        for name in self.names if text else ():
            said = understand(f"{name} {text}")
            one = said.finding
            if said.parts or said.kind is not Kind.FINDING or said.decision is Decision.REFUSE:
                continue
            if all(self.shows(each) for each in said.offered) and said.offered:
                key = (
                    one.meaning if one is not None else tuple(each.meaning for each in said.offered)
                )
                found.setdefault(key, said)
        accepted = [each for each in found.values() if each.decision is Decision.ACCEPT]
        sure = accepted or list(found.values())
        if len(sure) != 1:
            return None
        (said,) = sure
        return replace(said, flags=tuple(dict.fromkeys((*said.flags, Flag.LED))))


def with_bare(grammar: Grammar, answers: Grammar) -> Grammar:
    """``grammar`` and, as utterances of their own, the values of ``answers`` and some conditions."""
    rules = {**answers.rules, **grammar.rules}
    bare = ("answer.value", *(f"conditions.{each}" for each in BARE))
    return Grammar(grammar.name, rules, (*grammar.public, *bare), further=grammar.further)


class LedLanguage(OfferedGrammar):
    """Implements ``Language``: all of the inspection's, and bare answers to what the walk asked for."""

    name = "inspection, led"
    hint = HINT
    in_shop_words = True
    speech = "en"
    cue = ""
    forms: WrittenForms | None = None
    told: TellsIn | None = None

    def __init__(
        self, grammar: Grammar, led: Led, understand: Callable[[str], Understanding]
    ) -> None:
        """``grammar``: ``with_bare``; ``understand``: what a text means by itself."""
        super().__init__(grammar)
        self.led, self._whole = led, understand
        self.by = led
        """The same by the names of the language that is spoken."""
        self._known: dict[str, Understanding] = {}

    def understand(self, text: str) -> Understanding:
        """What ``text`` means: by itself where it means anything, else of what was asked for."""
        if text not in self._known:
            whole = self._whole(text)
            said = None
            if whole.decision is Decision.REFUSE:
                said = self.by.named(self._whole, text)
            self._known[text] = said or whole
        return self._known[text]

    def meaning(self, text: str) -> str:
        """A key equal for texts that mean the same; "" when the text is refused."""
        return meaning_key(self.understand(text))


def names_of(
    place: str | None, components: Sequence[str], measures: Sequence[str]
) -> tuple[str, ...]:
    """How what is asked for may be named: each component at its place, with each measure and without."""
    bare = [" ".join(part for part in (place, one) if part) for one in components]
    return (*(f"{one} {measure}" for one in bare for measure in measures), *bare)
