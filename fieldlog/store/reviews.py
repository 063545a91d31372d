"""What somebody decided who went through an inspection (pure)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


class Decided(StrEnum):
    """What somebody decided who went through an inspection."""

    AS_HEARD = "as heard"
    CORRECTED = "corrected"
    """Another reading, or typed anew: what was taken had been wrong."""
    ADDED = "added"
    """Taken from what had been asked about or not understood."""
    WITHDRAWN = "withdrawn"
    NOTHING = "nothing to take"
    """What was asked about, not understood or left over says nothing that belongs into the record."""
    MOVED = "photo moved"
    REMARKED = "remark added"
    UNREMARKED = "remark taken back"
    UNDONE = "undone"
    """The decision that it ``undoes`` counts no more."""


@dataclass(frozen=True, slots=True)
class NewReview:
    """A decision about one utterance (or a finding that has none, or a photo)."""

    decided: Decided
    reviewer: str
    utterance_id: str | None = None
    photo_id: str | None = None
    was: str | None = None
    """Id of the finding that stood before."""
    finding_id: str | None = None
    """Id of what stands now, where the entry does not make it."""
    sampled: bool = False
    """Whether it was looked at by the draw alone, without showing what had been taken."""
    note: str = ""
    """Ids of all the findings of it that stood before, where it changed them."""
    undoes: str | None = None
    """Id of the decision that it takes back."""


@dataclass(frozen=True, slots=True)
class Review:
    """A decision as kept."""

    id: str
    made_at: datetime
    decided: Decided
    reviewer: str
    utterance_id: str | None
    photo_id: str | None
    was: str | None
    finding_id: str | None
    sampled: bool
    note: str
    undoes: str | None
    turn: int = 0
    """Its place in the order of the record, which no clock that is set back changes."""


def counting(reviews: Iterable[Review]) -> tuple[Review, ...]:
    """The decisions that nobody took back."""
    every = tuple(reviews)
    undone = {each.undoes for each in every}
    return tuple(
        each for each in every if each.id not in undone and each.decided is not Decided.UNDONE
    )
