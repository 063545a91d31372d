"""What was heard while we were speaking ourselves: our own words, or somebody's (pure).

The echo canceller takes most of our voice out of the microphone. What gets through it all the same, and
means the same as what was being said, is no finding; another value for it is asked about, never taken:
it may be the echo, misheard, or somebody who puts it right. What is about something else is somebody's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from fieldlog.audio.clip import FRAME_S, Clip
from fieldlog.doubt.decide import asked_instead
from fieldlog.hearing import Heard
from fieldlog.language.breath import Breath
from fieldlog.model.command import Command
from fieldlog.model.finding import Finding
from fieldlog.model.understanding import Decision, Flag, Understanding
from fieldlog.words.aloud import STOPS

TAIL_S = 0.4
"""Seconds behind a sound in which its echo may still be heard."""
_MOSTLY = 0.6
"""Share of an utterance's voice that lies in a sound: an echo lies in it wholly."""
_TOUCHES = 0.15
_VOICED = 0.5
_SHORT = frozenset(
    {Command.AFFIRM, Command.NEGATIVE, Command.DISREGARD, Command.SIGN_OFF, Command.SAY_AGAIN}
)
"""Words that are short, or take something away: "confirm" may be heard as "affirm"."""
OWN = "our own read-back"
OVER = "said over the read-back"


@dataclass(frozen=True, slots=True)
class OwnWords:
    """One thing that we said: when, in which words, about which findings."""

    start_s: float
    end_s: float
    words: str
    findings: tuple[Finding, ...] = ()
    asks: bool = False
    """Whether it is a question: nothing of ``findings`` is taken, and to say one may be the answer."""


def overheard(heard: Heard, said: Sequence[OwnWords]) -> Heard:
    """``heard``, given all that we said ourselves about that time.

    Our own words come back refused with ``Flag.OWN_VOICE``. What may as well be an answer to what we
    were asking is refused without it, which is told: it is said once more.
    """
    shares = [_share(heard.clip, each) for each in said]
    over = [each for each, share in zip(said, shares, strict=True) if share > _TOUCHES]
    mostly = max(shares, default=0.0) > _MOSTLY
    understood, offered = heard.understanding, heard.understanding.offered
    if not over or understood.decision is Decision.REFUSE:
        return heard
    if not offered:
        if mostly and any(_within(heard.text, each.words) for each in over):
            return _own(heard)  # of a finding fewer words may be another value
        short = understood.dialogue in _SHORT or heard.answers is not None
        return _refused(heard) if mostly and short else heard
    findings = [one for each in over for one in each.findings]
    meanings = {one.meaning for one in findings}
    if any(one.meaning in meanings for one in offered):
        if any(each.asks for each in over):
            return _refused(heard) if mostly else heard
        if all(_about(one, findings) for one in offered):
            return _own(heard)
        return asked_about(heard, Breath(heard.text, heard.outcomes).asked(OVER).whole)
    if understood.decision is Decision.ASK:
        return heard
    if heard.hearing.cleared and mostly:
        # heard with our own sound left in: only where most of the voice lies outside of that is it somebody's
        return asked_about(heard, asked_instead(understood, (), OVER, Flag.UNSURE))
    if Flag.LED in understood.flags and mostly:
        # a bare value that we were saying ourselves would be of whatever is asked for next
        return asked_about(heard, Breath(heard.text, heard.outcomes).asked(OVER).whole)
    if not any(_about(one, findings) for one in offered):
        values = {one.meaning[3:] for one in findings}
        if mostly and any(one.meaning[3:] in values for one in offered):
            # "luggage rack, sound" heard as "mudguard sound": our value, and something else
            return asked_about(heard, Breath(heard.text, heard.outcomes).asked(OVER).whole)
        return heard
    if understood.parts:
        return asked_about(heard, Breath(heard.text, heard.outcomes).asked(OVER).whole)
    if not any(each.asks for each in over):
        understood = replace(understood, dialogue=Command.CORRECTION)
    return asked_about(heard, asked_instead(understood, (), OVER, Flag.UNSURE))


def _refused(heard: Heard) -> Heard:
    """Not taken, and told: whoever said it says it again."""
    refused = replace(heard.understanding, decision=Decision.REFUSE, reason=OVER)
    return replace(heard, understanding=refused, answers=None, takes_back=False)


def _own(heard: Heard) -> Heard:
    said = heard.understanding
    flags = tuple(dict.fromkeys((*said.flags, Flag.OWN_VOICE)))
    refused = Understanding(Decision.REFUSE, said.kind, OWN, said.text, flags=flags)
    return replace(heard, understanding=refused, answers=None, takes_back=False)


def asked_about(heard: Heard, asked: Understanding) -> Heard:
    """``heard`` as a question, whatever it was before."""
    return replace(heard, understanding=asked, answers=None, takes_back=False)


def _about(one: Finding, among: Sequence[Finding]) -> bool:
    """Whether it is of the same thing as one of ``among``: no place of the one denies the other's."""
    for other in among:
        here, there = set((one.position or "").split()), set((other.position or "").split())
        if one.component == other.component and (here <= there or there <= here):
            return True
    return False


def _within(heard: str, said: str) -> bool:
    """Whether all that was heard is among our words, in their order."""
    ours = iter("".join(one for one in said if one not in STOPS).split())
    words = heard.split()
    return bool(words) and all(word in ours for word in words)


def _share(clip: Clip, spoken: OwnWords) -> float:
    """Which share of the utterance's voice lies in what we said, and in its echo behind it."""
    begin, end = _voiced(clip)
    common = min(end, spoken.end_s + TAIL_S) - max(begin, spoken.start_s)
    return max(0.0, common) / max(end - begin, FRAME_S)


def _voiced(clip: Clip) -> tuple[float, float]:
    """From when to when somebody speaks in it: seconds of the stream."""
    loud = [n for n, chance in enumerate(clip.voice) if chance > _VOICED]
    if not loud:
        return clip.start_s, clip.end_s
    return clip.start_s + loud[0] * FRAME_S, clip.start_s + (loud[-1] + 1) * FRAME_S
