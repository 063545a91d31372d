"""How long a silence ends an utterance, from what was heard before it (pure).

Short behind a whole finding, longer where the grammar says that its last words may go on, longest
behind half a phrase: "four point", a value without its unit, a lone "rear". ``python -m fieldlog.lab
endpointing`` shows early cuts against delay for each.
"""

from __future__ import annotations

from dataclasses import dataclass

from fieldlog.grammar.language import WordGraph, expected
from fieldlog.hearing import Heard
from fieldlog.model.command import Command
from fieldlog.model.question import Asks
from fieldlog.model.understanding import Decision, Kind
from fieldlog.quantities.number_words import DIGITS, POINTS, TEENS, TENS


@dataclass(frozen=True, slots=True)
class Silences:
    """Seconds of silence behind the last voiced frame that end an utterance."""

    settled: float = 0.42
    """Nothing can follow but another finding, which may as well be the next utterance."""
    goes_on: float = 0.55
    """Its words may go on in the same finding ("tight ... in spots")."""
    usual: float = 0.77
    """The value may go on, or nothing is known of what was said."""
    unfinished: float = 1.2
    """It is half a phrase, or free speech, which pauses to think."""


def silence_s(heard: Heard, graph: WordGraph, silences: Silences | None = None) -> float:
    """Seconds that the silence behind ``heard``, a draft, must last; ``graph`` is what it was heard by."""
    silences = silences or Silences()
    said = heard.understanding
    if said.kind is Kind.REMARK or _is_unfinished(heard):
        return silences.unfinished
    if said.decision is not Decision.ACCEPT:
        return silences.usual
    if heard.answers is not None:
        short = said.dialogue in (Command.AFFIRM, Command.NEGATIVE)
        return silences.settled if short else silences.usual
    may_follow = expected(graph, said.text.split())
    if may_follow is None:
        return silences.usual
    if may_follow & _MORE_OF_A_NUMBER:
        return silences.usual
    return silences.goes_on if may_follow else silences.settled


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
