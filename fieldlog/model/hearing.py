"""What a listener made of a sound."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One reading of an utterance by one listener.

    ``score`` is a natural-log score, comparable only within one hearing; ``evidence`` carries the
    listener's own figures (``bend``, ``margin``, ...), documented by the listener.
    """

    text: str
    score: float
    evidence: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Hearing:
    """All hypotheses of one listener for one utterance, best first; empty when nothing fits."""

    listener: str
    hypotheses: tuple[Hypothesis, ...]
    latency_ms: float
    times: tuple[tuple[float, float], ...] = ()
    """Seconds of the clip in which each word of the best one was said; empty where it is not known."""
    left_over: tuple[tuple[float, float], ...] = ()
    """Seconds of the clip in which something was said that no word of the best one covers."""
    behind_s: float | None = None
    """Seconds of speech behind the last word of the best one; None: not known."""
    as_it_came: str | None = None
    """What the best one is with what was played meanwhile left in the sound; None: not heard so, or nothing was
    understood there."""
    cleared: bool = False
    """Whether the best one is what was heard as it came in, because without what was played it was unclear."""
    alone: tuple[Hearing, ...] = ()
    """Findings of a breath heard once more, each by itself, because of what their values sound like."""
