"""Speech behind the words that were heard, and whether it is their speaker's; where there is the least sound (pure)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fieldlog.audio.clip import FRAME, FRAME_S, Clip

LEAST_LEFT_S = 0.4
"""Seconds of speech behind the last word from which something was said there. The word's own end is put
too early by up to 0.34 s (of 217 phrases heard right, 99 in 100 by up to 0.26 s)."""


FAINTEST = 10 ** (-8 / 10)
"""Share of the words' power below which speech behind them is somebody else's: a radio, a neighbour."""


def left_over(clip: Clip, times: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    """Seconds of a clip that hold its speaker's speech behind the last word (``times`` of all of them).

    Every frame between two words is one of theirs; what was said there shows in how far the grammar
    bent what was heard.
    """
    if not times:
        return ()
    end = times[-1][1]
    voiced = [n for n, chance in enumerate(clip.voice) if chance > 0.5]
    said = [n for n in voiced if (n + 0.5) * FRAME_S < end]
    behind = [n for n in voiced if (n + 0.5) * FRAME_S >= end]
    if len(behind) * FRAME_S < LEAST_LEFT_S:
        return ()
    if said and _power(clip, behind) < FAINTEST * _power(clip, said):
        return ()
    return ((max(end, behind[0] * FRAME_S), (behind[-1] + 1) * FRAME_S),)


def behind_s(clip: Clip, times: Sequence[tuple[float, float]]) -> float | None:
    """Seconds of speech behind the last word, whoever speaks; None where that is not known."""
    if not times or not clip.voice:
        return None
    end = times[-1][1]
    later = (
        n for n, chance in enumerate(clip.voice) if chance > 0.5 and (n + 0.5) * FRAME_S >= end
    )
    return sum(1 for _ in later) * FRAME_S


def quietest(clip: Clip, about_s: float, within_s: float) -> float:
    """Seconds of the clip at most ``within_s`` from ``about_s`` where there is the least sound."""
    middle, frames = round(about_s / FRAME_S), round(within_s / FRAME_S)
    last = len(clip.samples) // FRAME - 1
    near = range(max(1, middle - frames), min(last, middle + frames) + 1)
    return FRAME_S * min(near, key=lambda n: _power(clip, (n - 1, n)), default=middle)


def _power(clip: Clip, frames: Sequence[int]) -> float:
    """Mean power of these frames."""
    heard = [clip.samples[n * FRAME : (n + 1) * FRAME] for n in frames]
    return float(np.mean(np.square(np.concatenate(heard), dtype=np.float64)))
