"""What is said to the tool itself."""

from __future__ import annotations

from enum import StrEnum


class Command(StrEnum):
    """Dialogue words: what is said to the tool. The value is the rule's name in dialogue.jsgf."""

    SAY_AGAIN = "say again"
    READ_BACK = "read back"
    AFFIRM = "affirm"
    NEGATIVE = "negative"
    STAND_BY = "stand by"
    GO_AHEAD = "go ahead"
    """Ends standing by; else from here on the next item is told whenever one is done."""
    ON_MY_OWN = "on my own"
    """Items are no longer told one after the other."""
    DISREGARD = "disregard"
    CORRECTION = "correction"
    PHOTO = "photo"
    SKIP = "skip"
    NEXT_ITEM = "next item"
    WHAT_IS_OPEN = "what is open"
    HOW_TO_CHECK = "how to check"
    WHY = "why"
    SIGN_OFF = "sign off"


BY_YES = frozenset(Command) - {
    *(Command.AFFIRM, Command.NEGATIVE, Command.CORRECTION, Command.SIGN_OFF),
    *(Command.SAY_AGAIN, Command.PHOTO),
}
"""What "Did you say 'disregard that'?" and yes gives as if it had been said clearly: not what answers
or corrects something else, what is asked about anyway, nor what is of the instant in which it is said."""
