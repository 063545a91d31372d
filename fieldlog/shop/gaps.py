"""An utterance of which sound is missing is asked about, however clear the rest is (pure).

What was dropped may have been "no", "rear" or a digit: nothing in the words that are left tells.
"""

from __future__ import annotations

from dataclasses import replace

from fieldlog.audio.clip import SoundFlag
from fieldlog.doubt.decide import asked_instead
from fieldlog.hearing import Heard
from fieldlog.model.command import Command
from fieldlog.model.understanding import Decision, Flag, Kind

MISSING = frozenset({SoundFlag.OVERFLOW, SoundFlag.CLOCK, SoundFlag.GAP})
"""Sound was dropped, or came at another rate than was promised."""
_CHANGES_NOTHING = frozenset(
    {
        *(Command.SAY_AGAIN, Command.READ_BACK, Command.STAND_BY, Command.GO_AHEAD),
        *(Command.ON_MY_OWN, Command.PHOTO, Command.NEXT_ITEM, Command.WHAT_IS_OPEN),
        *(Command.HOW_TO_CHECK, Command.WHY),
    }
)
"""Words that take and change nothing: no question is worth the time."""


def with_gaps_asked(heard: Heard) -> Heard:
    """``heard``, as a question where it would count and some of its sound is missing."""
    said = heard.understanding
    if not MISSING & heard.clip.flags or said.decision is not Decision.ACCEPT:
        return heard
    if said.kind is Kind.REMARK or said.dialogue in _CHANGES_NOTHING:
        return heard
    asked = asked_instead(said, (), "some of the sound is missing", Flag.UNSURE)
    return replace(heard, understanding=replace(asked, flags=(*asked.flags, Flag.GAP)))
