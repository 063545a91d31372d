"""What can be asked of every event: which utterance led to it, and whether a signature covers it (pure)."""

from __future__ import annotations

from collections.abc import Sequence

from fieldlog.model.understanding import Understanding
from fieldlog.shop.events import (
    Event,
    FindingBroughtBack,
    FindingCorrected,
    FindingSaved,
    FindingWithdrawn,
    ItemSkipped,
    JudgedAgain,
    NotSaved,
    PhotoAttached,
    RemarkKept,
    RemarkTakenBack,
    Reviewed,
    Said,
    SkipTakenBack,
)

CHANGES = (
    FindingSaved,
    FindingCorrected,
    FindingWithdrawn,
    FindingBroughtBack,
    RemarkKept,
    RemarkTakenBack,
    ItemSkipped,
    SkipTakenBack,
    PhotoAttached,
)
"""What a signature stands for: after one, these are not covered by it."""


def said_in(event: Event) -> Said | None:
    """The utterance that led to ``event``; None where it was done by hand, or not saved."""
    match event:
        case JudgedAgain() | PhotoAttached() | Reviewed() | NotSaved():
            return None
        case _:
            return event.said


def understood_by(events: Sequence[Event]) -> Understanding:
    """What was made of the utterance that led to ``events``; ``ValueError`` when none did."""
    for event in events:
        said = said_in(event)
        if said is not None:
            return said.understanding
    raise ValueError("no utterance led to these events")
