"""From a clip to what was understood: listener -> parser -> doubt, in that order, every time.

This is the one place where a listener's hypotheses become an understanding; ``hear``, ``listen``,
the demo and the benchmarks all come through here. It holds no state but the clip before, which it
needs for phrases that a pause has cut in two.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from fieldlog.audio.clip import RATE, Clip
from fieldlog.listeners.base import Language, Listener
from fieldlog.model import Decision, Hearing, Understanding

JOIN_GAP_S = 1.0
"""Two clips further apart than this are never one phrase (seconds)."""

Judge = Callable[[Understanding, Hearing, Clip], Understanding]
"""The doubt module's part: may turn *accept* into *ask* or *refuse*, never the other way round."""


@dataclass(frozen=True, slots=True)
class Heard:
    """One utterance with everything that was made of it."""

    clip: Clip
    hearing: Hearing
    understanding: Understanding
    alternatives: tuple[str, ...]
    """Texts of the other hypotheses, best first."""
    latency_ms: float
    """From the end of the utterance to its understanding, endpointing delay not included."""

    @property
    def text(self) -> str:
        """The words that were heard; empty when nothing fits the language."""
        return self.understanding.text


def hear_clip(clip: Clip, listener: Listener, language: Language, judge: Judge) -> Heard:
    """Hear one clip: the best hypothesis is parsed again and weighed before it counts."""
    started = time.perf_counter()
    hearing = listener.hear(clip)
    best = hearing.hypotheses[0].text if hearing.hypotheses else ""
    understanding = judge(language.understand(best), hearing, clip)
    return Heard(
        clip=clip,
        hearing=hearing,
        understanding=understanding,
        alternatives=tuple(h.text for h in hearing.hypotheses[1:]),
        latency_ms=(time.perf_counter() - started) * 1000,
    )


def hear_clips(
    clips: Iterable[Clip], listener: Listener, language: Language, judge: Judge
) -> Iterator[Heard]:
    """Hear a stream of clips; a phrase that a pause cut in two is tried again as one.

    Each clip is held back until the next one shows whether they belong together: only where the
    first was not accepted and the second follows within ``JOIN_GAP_S``, and the two together are
    accepted, do they become one utterance.
    """
    held: Heard | None = None
    for clip in clips:
        heard = hear_clip(clip, listener, language, judge)
        if held is not None:
            joined = _joined(held, heard, listener, language, judge)
            if joined is not None:
                held = joined
                continue
            yield held
        held = heard
    if held is not None:
        yield held


def _joined(
    first: Heard, second: Heard, listener: Listener, language: Language, judge: Judge
) -> Heard | None:
    gap = second.clip.start_s - first.clip.end_s
    if first.understanding.decision is Decision.ACCEPT or not 0 <= gap <= JOIN_GAP_S:
        return None
    if second.understanding.decision is Decision.ACCEPT:
        return None
    silence = np.zeros(round(gap * RATE), dtype=np.float32)
    whole = replace(
        first.clip,
        samples=np.concatenate([first.clip.samples, silence, second.clip.samples]),
        flags=first.clip.flags | second.clip.flags,
    )
    together = hear_clip(whole, listener, language, judge)
    return together if together.understanding.decision is Decision.ACCEPT else None
