"""What is asked, and what settles it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import assert_never


class Asks(StrEnum):
    """What a question is after. Which answers can settle it follows from it alone."""

    WHICH = "which"
    """Of several findings that were offered."""
    PLACE = "place"
    UNIT = "unit"
    PLACE_AND_UNIT = "place and unit"
    ASSUMED_UNIT = "assumed unit"
    """The only plausible one: was it that?"""
    SLIP = "slip"
    """The words may be a slip of the tongue: the value once more."""
    HARDLY_POSSIBLE = "hardly possible"
    """The value is not plausible: once more."""
    NOT_AS_KNOWN = "not as known"
    """It does not follow on what the record knows: once more."""
    FIGURES = "figures"
    """Typed as nobody writes a number: was it that?"""
    DID_YOU_MEAN = "did you mean"
    """A word is not known: was the nearest one meant?"""
    SOUND = "sound"
    """One fault is not there: is all as it should be?"""
    HEARD = "heard"
    """Did you say that?"""
    HEARD_WORDS = "heard words"
    """Which of several texts was said, where not all of them are findings."""
    AGAIN = "again"
    """Nothing was heard that could be offered."""
    ALL_OF_IT = "all of it"
    """Of a breath: was every finding that is offered said? No answer takes some of them."""
    INSTEAD = "instead"
    """A correction of another place that says another thing: does what was found there go?"""
    NEW_OR_CORRECTION = "new or correction"
    IN_FULL = "in full"
    OF_WHAT = "of what"
    """A correction of something that was not named."""
    WHY_SKIPPED = "why skipped"
    SIGN_OFF = "sign off"

    @property
    def settled(self) -> Settled:
        """By what it can be settled."""
        match self:
            case (
                Asks.ASSUMED_UNIT
                | Asks.SLIP
                | Asks.HARDLY_POSSIBLE
                | Asks.NOT_AS_KNOWN
                | Asks.FIGURES
                | Asks.DID_YOU_MEAN
                | Asks.SOUND
                | Asks.HEARD
                | Asks.INSTEAD
                | Asks.SIGN_OFF
                | Asks.ALL_OF_IT
            ):
                return Settled.BY_YES
            case Asks.WHICH | Asks.PLACE | Asks.UNIT | Asks.PLACE_AND_UNIT | Asks.HEARD_WORDS:
                return Settled.BY_CHOICE
            case Asks.NEW_OR_CORRECTION | Asks.IN_FULL | Asks.OF_WHAT | Asks.AGAIN:
                return Settled.IN_FULL
            case Asks.WHY_SKIPPED:
                return Settled.BY_REASON
        assert_never(self)


class Settled(StrEnum):
    """Which short answer can settle a question."""

    BY_YES = "yes"
    """Yes, where one thing is offered; a choice among several, or the value itself, as well."""
    BY_CHOICE = "choice"
    """One of what was offered, or the value itself; yes would not say which."""
    BY_REASON = "reason"
    """Why something is left out."""
    IN_FULL = "in full"
    """None: it is said again."""


class Rest(StrEnum):
    """What a question tells besides, where more was said than can be taken."""

    AGAIN = "rest again"
    ALL_AGAIN = "all again"


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked; the candidates stand beside it in the ``Understanding``.

    Only ``kind`` and ``rest`` decide anything; ``text`` is how it reads (``fieldlog.words``).
    """

    kind: Asks
    text: str
    rest: Rest | None = None
