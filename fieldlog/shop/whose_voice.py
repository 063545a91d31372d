"""Whose voice it is: a finding in another voice than those before is asked about (``listen --own-voice``).

Evidence, no gate: it makes a question of what else would count, never the other way round. Voices are learnt from
the first findings that counted and from whoever answers for a finding in a new one; they are in memory only.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import Clip
from fieldlog.doubt.decide import asked_instead
from fieldlog.hearing import Heard
from fieldlog.language.breath import asked_of
from fieldlog.model.command import Command
from fieldlog.model.understanding import Decision, Flag
from fieldlog.shop.own_voice import asked_about

Vector = NDArray[np.float64]

FIRST = 3
"""Findings from which the first voice is learnt."""
ALIKE = 0.33
"""Cosine below which it is another voice (``python -m fieldlog.lab whose-voice``)."""
_MEMORY = 30
"""Findings after which an old one weighs little."""
_MOST = 4
"""Voices that are known."""
OTHER = "in another voice than those before"


class KnownVoices:
    """Who has been heard in this session."""

    def __init__(self, timbre: Callable[[Clip], Vector | None]) -> None:
        """``timbre``: the vector of who speaks in a clip; None where that is not certain enough."""
        self._timbre = timbre
        self._known: list[tuple[Vector, int]] = []
        """Of each voice: mean vector, and of how many findings."""
        self._asked: Vector | None = None

    def minded(self, heard: Heard) -> Heard:
        """``heard``, or a question about it where it is a finding in a voice that nobody knows yet."""
        asked, self._asked = self._asked, None
        if heard.answers is not None and heard.accepted and asked is not None:
            if any(one.finding is not None for one in heard.outcomes):
                self._learn(asked)  # whoever that was, somebody here answers for it
            return heard
        if not heard.accepted or not any(one.finding is not None for one in heard.outcomes):
            self._asked = asked
            return self._of_the_finding_before(heard)
        voice = self._timbre(heard.clip)
        if voice is None:
            return heard
        if self.likeness(voice) < ALIKE:
            self._asked = voice
            if heard.understanding.parts:
                every = heard.outcomes
                return asked_about(heard, asked_of(heard.text, every, OTHER, agreed=every).whole)
            asks = asked_instead(heard.understanding, (), OTHER, Flag.UNSURE)
            return asked_about(heard, asks)
        self._learn(voice)
        return heard

    def _of_the_finding_before(self, heard: Heard) -> Heard:
        """ "Disregard that" in another voice takes nothing away unasked, and "correction four" puts nothing right.

        Neither names what it is of. The voice is not learnt: whoever answers answers for one finding.
        """
        said = heard.understanding
        takes = heard.accepted and said.dialogue is Command.DISREGARD
        corrects = said.decision is Decision.ASK and said.dialogue is Command.CORRECTION
        if not (takes or corrects):
            return heard
        voice = self._timbre(heard.clip)
        if voice is None or self.likeness(voice) >= ALIKE:
            return heard
        if takes:
            return asked_about(heard, asked_instead(said, (), OTHER, Flag.UNSURE))
        flags = tuple(dict.fromkeys((*said.flags, Flag.UNCLEAR)))  # nothing completes it then
        return replace(heard, understanding=replace(said, flags=flags))

    def likeness(self, voice: Vector) -> float:
        """Cosine to the nearest voice; 1.0 while the first is being learnt."""
        if not self._known or (len(self._known) == 1 and self._known[0][1] < FIRST):
            return 1.0
        return max(_cosine(voice, mean) for mean, _ in self._known)

    def _learn(self, voice: Vector) -> None:
        learning = len(self._known) == 1 and self._known[0][1] < FIRST
        near = [_cosine(voice, mean) for mean, _ in self._known]
        if near and (learning or max(near) >= ALIKE):
            at = int(np.argmax(near))
            mean, count = self._known[at]
            self._known[at] = ((mean * count + voice) / (count + 1), min(count + 1, _MEMORY))
        else:
            self._known = [*self._known[-(_MOST - 1) :], (voice, 1 if not self._known else FIRST)]


def _cosine(one: Vector, other: Vector) -> float:
    return float(one @ other) / max(float(np.linalg.norm(one) * np.linalg.norm(other)), 1e-9)
