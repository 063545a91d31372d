"""Whether what was said answers the question that waits, and what the two of them come to (pure)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from fieldlog.audio.clip import Clip
from fieldlog.audio.endpointer import joinable
from fieldlog.doubt.question import telling_more, what_to_ask
from fieldlog.hearing import Heard
from fieldlog.language.answers import APART, says_nothing_of
from fieldlog.language.breath import Breath
from fieldlog.language.picking import IN_DOUBT
from fieldlog.model.command import Command
from fieldlog.model.question import Asks
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding

TAKES_NOTHING = {
    Command.NEGATIVE: "no: nothing of it is taken",
    Command.DISREGARD: "dropped: nothing is taken",
}
_EARLY = "said before the question was asked"


@dataclass(frozen=True, slots=True)
class WaitingQuestion:
    """What waits for an answer, and where its words ended in the recording that is heard now."""

    asked: Understanding
    clip: Clip | None
    """None: it was asked in an earlier recording, and waits from the start of this one."""
    again: bool = False
    """Whether it was told again behind something else: "disregard" and a bare correction are of that."""


def settles(asked: Understanding, said: Understanding) -> bool:
    """Whether what was said answers what was asked, wholly or by asking less than before.

    A whole finding does so only when it is about one of the things the question was about, and says of
    it what was asked, unless that may have been misheard: "left mirror fine" is no side of "mirror loose".
    """
    if said.decision is Decision.REFUSE:
        return False
    if asked.command_asked is not None:  # the command once more gives it too
        known = said.dialogue in (asked.command_asked, *TAKES_NOTHING)
        return known and said.decision is Decision.ACCEPT and said.kind is Kind.DIALOGUE
    if said.kind is Kind.DIALOGUE and said.dialogue in TAKES_NOTHING:
        return said.decision is Decision.ACCEPT
    if asked.asks is Asks.ALL_OF_IT:  # one of its findings would leave the others unsaid
        return False
    if Flag.ANSWERED in said.flags:
        return True
    if said.decision is Decision.ASK:
        meanings = {one.meaning for one in said.offered}
        return bool(meanings) and meanings <= {one.meaning for one in asked.offered}
    subjects = {one.subject for one in asked.offered}
    if said.finding is None or said.finding.subject not in subjects:
        return False
    anew = said.dialogue is Command.CORRECTION or not IN_DOUBT.isdisjoint(asked.flags)
    return anew or not says_nothing_of(asked.offered, said.finding)


def _settled_by_breath(asked: Understanding, parts: Sequence[Understanding]) -> bool:
    """Whether a breath answers: by one of its findings, or, where all were asked about, by all."""
    if asked.asks is not Asks.ALL_OF_IT:
        return any(settles(asked, part) for part in parts)
    said = {part.finding.subject for part in parts if part.finding is not None}
    return bool(parts) and said.issuperset(one.subject for one in asked.offered)


def _put_right(asked: Understanding, said: Understanding) -> bool:
    """Whether an answer puts right what ``asked`` would: "rear pads three" said in full beside the front ones
    that it asked to take back is one more finding."""
    beside = asked.asks is Asks.INSTEAD and Flag.ANSWERED not in said.flags
    return said.kind is Kind.FINDING and not beside


def _picked(asked: Understanding, said: Understanding) -> bool:
    """Whether what was said is one of the things that were offered, or takes nothing."""
    offered = {one.meaning for one in asked.offered}
    return all(one.meaning in offered for one in said.offered)


def settled(
    heard: Heard, question: WaitingQuestion, agreed: Callable[[str], tuple[Understanding, ...]]
) -> Heard:
    """``heard`` as the answer to ``question`` where it is one, else as it was.

    ``agreed``: the findings that *affirm* takes of a breath that was asked about as a whole.
    """
    asked, said = question.asked, heard.understanding
    if said.dialogue is Command.AFFIRM and heard.accepted and asked.asks is Asks.ALL_OF_IT:
        parts = agreed(asked.text)
        if parts:
            whole = Breath(f"{asked.text}{APART}{heard.text}", parts).whole
            if Flag.MORE_SAID in asked.flags:
                whole = telling_more(whole)
            return replace(heard, understanding=whole, answers=asked)
    if _settled_by_breath(asked, heard.parts):
        if asked.dialogue is Command.CORRECTION:
            asked_of = Breath(heard.text, heard.parts)
            reason = "which of it corrects is not certain"
            return replace(heard, understanding=asked_of.asked(reason).whole)
        return replace(heard, answers=asked)
    if not settles(asked, said) or (question.again and said.dialogue is Command.DISREGARD):
        return heard
    goes_on = question.clip is not None and joinable(question.clip, heard.clip)
    given = asked.command_asked is not None and said.dialogue is asked.command_asked
    if given and goes_on and Flag.ANSWERED in said.flags:
        # Nobody had heard the question yet: "affirm" was of something else.
        early = replace(asked, text=said.text, reason=_EARLY)
        return replace(heard, understanding=early, answers=asked)
    if said.dialogue in TAKES_NOTHING and not given:
        said = replace(said, reason=TAKES_NOTHING[said.dialogue])
    elif asked.dialogue is Command.CORRECTION and _put_right(asked, said):
        said = replace(
            said, dialogue=Command.CORRECTION
        )  # "front pads five millimetres": said anew
    if goes_on and Flag.ANSWERED in said.flags and not _picked(asked, said):
        # "... four point", a pause, "two millimetres": nobody had heard the question yet.
        said = replace(
            said,
            decision=Decision.ASK,
            reason=f"{_EARLY}: it may be the end of the same sentence",
            question=what_to_ask(said, ()),
        )
    if Flag.ANSWERED in said.flags and Flag.MORE_SAID in (*asked.flags, *said.flags):
        said = telling_more(said)
    return replace(heard, understanding=said, answers=asked)
