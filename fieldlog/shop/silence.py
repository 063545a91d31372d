"""How long a silence ends an utterance, from what was heard before it (pure).

Short behind a whole finding, longer where the grammar says that its last words may go on to another
meaning ("tight ... in spots", not "four millimetres ... remaining"), longest
behind half a phrase: "four point", a value without its unit, a lone "rear". ``python -m fieldlog.lab
endpointing`` shows early cuts against delay for each.
"""

from __future__ import annotations

from dataclasses import dataclass

from fieldlog.grammar.language import Language, endings, expected
from fieldlog.hearing import Heard
from fieldlog.model.command import Command
from fieldlog.model.question import Asks
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.quantities.number_words import DIGITS, POINTS, TEENS, TENS


@dataclass(frozen=True, slots=True)
class Silences:
    """Seconds of silence behind the last voiced frame that end an utterance."""

    settled: float = 0.42
    """Nothing can follow but another finding, which may as well be the next utterance, or words that
    change nothing of what it means."""
    goes_on: float = 0.55
    """Its words may go on in the same finding to another meaning ("tight ... in spots")."""
    usual: float = 0.77
    """The value may go on, or nothing is known of what was said."""
    unfinished: float = 1.0
    """It is half a phrase. Where its rest comes later the two are heard as one all the same."""
    free: float = 1.2
    """Free speech, which pauses to think: what is said within so much of it may be its rest, and counts for nothing
    unasked (``shop.going_on``), though the silence ends it after ``usual``."""


def silence_s(heard: Heard, language: Language, silences: Silences | None = None) -> float:
    """Seconds that the silence behind ``heard``, a draft, must last; ``language`` is what it was heard by."""
    silences = silences or Silences()
    said = heard.understanding
    if said.kind is Kind.REMARK:
        return silences.usual if said.slots.get("remark") else silences.free
    if _is_unfinished(heard):
        return silences.unfinished
    if said.decision is not Decision.ACCEPT:
        return silences.usual
    if heard.answers is not None:
        said = by_itself(heard, language)
        if said.dialogue in (Command.AFFIRM, Command.NEGATIVE):
            return silences.settled
        if said.decision is not Decision.ACCEPT or said.finding is None:
            return silences.usual  # a short answer: the value may go on
    words = said.text.split()
    may_follow = expected(language.word_graph(), words)
    if may_follow is None:
        return silences.usual
    if may_follow & _MORE_OF_A_NUMBER:
        return silences.usual
    settled = not may_follow or (not heard.parts and _means_the_same(said.text, language))
    return silences.settled if settled else silences.goes_on


def by_itself(heard: Heard, language: Language) -> Understanding:
    """What the words of an answer mean without the question: what it comes to is what was asked about."""
    best = heard.hearing.hypotheses[:1]
    return language.understand(best[0].text if best else "")


def _means_the_same(text: str, language: Language) -> bool:
    """Whether ``text`` means the same however it may go on."""
    further = endings(language.word_graph(), text.split())
    if not further:
        return False
    meaning = language.meaning(text)
    return all(language.meaning(" ".join((text, *more))) == meaning for more in further)


_MORE_OF_A_NUMBER = frozenset({*DIGITS, *TEENS, *TENS, *POINTS, "hundred", "thousand"})
_LACKS = frozenset({Asks.UNIT, Asks.PLACE_AND_UNIT, Asks.ASSUMED_UNIT, Asks.PLACE})


def _is_unfinished(heard: Heard) -> bool:
    """Whether something lacks that may still be said, or a phrase that stops half-way fits as well."""
    if heard.accepted:
        return False
    best = heard.hearing.hypotheses[:1]
    if not best or best[0].evidence.get("margin", 1.0) <= 0.0:
        return True
    return heard.understanding.asks in _LACKS
