"""What another listener, model or grammar makes of what was said, beside what stands of it (pure)."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fieldlog.model.understanding import Decision, Understanding
from fieldlog.review.exchanges import Exchange


class Differs(StrEnum):
    """How what is heard now lies to what stands."""

    NOT = "the same"
    OTHERWISE = "heard otherwise"
    NOW = "understood now"
    NO_MORE = "not understood now"
    ASKED = "asked about now"


@dataclass(frozen=True, slots=True)
class HeardAgain:
    """One thing said, heard once more."""

    exchange: Exchange
    number: int
    """Of its utterance."""
    was: str
    """The words as they were heard first."""
    now: Understanding
    differs: Differs


def differs(exchange: Exchange, now: Understanding) -> Differs:
    """How ``now`` lies to what stands of ``exchange``."""
    stands = [each.finding.meaning for each in exchange.standing]
    first = exchange.first
    if now.decision is Decision.ACCEPT and now.offered:
        same = [each.meaning for each in now.offered] == stands
        return Differs.NOT if same else Differs.OTHERWISE if stands else Differs.NOW
    if stands:
        return Differs.ASKED if now.decision is Decision.ASK else Differs.NO_MORE
    if first is None or (first.kind is now.kind and first.dialogue == now.dialogue):
        return Differs.NOT
    return Differs.ASKED if now.decision is Decision.ASK else Differs.OTHERWISE
