"""When each word was said, from where the decoder looked while it wrote it (pure).

Rows of the cross-attention (one for each token, averaged over the heads that follow the sound) are
laid along the frames in order, each frame to one token, so that most of what was looked at is kept:
dynamic time warping, as Radford et al. 2022 publish it for the times of Whisper's words.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float32]

STEP_S = 0.02
"""Seconds of one encoder frame."""
_SMOOTH = 7
"""Frames over which a median takes out single glances elsewhere."""


def token_spans(attention: Array) -> list[tuple[int, int]]:
    """Of ``attention`` [tokens, frames], the frames of each token: first, and one behind the last.

    Every frame belongs to one token, in order; a token has at least one.
    """
    tokens, frames = attention.shape
    if frames < tokens:
        return [(0, 0)] * tokens
    gain = _gain(attention)
    total = np.concatenate([np.zeros((tokens, 1)), np.cumsum(gain, axis=1)], axis=1)
    best = np.full(frames + 1, -np.inf)
    best[0] = 0.0
    came = np.zeros((tokens, frames + 1), dtype=np.intp)
    for row in range(tokens):
        # best[e]: the first `row` tokens hold frames 0..e; the next one begins at the best e < end
        left = best - total[row]
        reached = np.maximum.accumulate(left)
        at = np.maximum.accumulate(np.where(left >= reached, np.arange(frames + 1), 0))
        best = np.full(frames + 1, -np.inf)
        best[1:] = reached[:-1] + total[row, 1:]
        came[row, 1:] = at[:-1]
    spans = []
    end = frames
    for row in range(tokens - 1, -1, -1):
        begin = int(came[row, end])
        spans.append((begin, end))
        end = begin
    return spans[::-1]


def word_times(attention: Array, counts: Sequence[int], lead_s: float) -> list[tuple[float, float]]:
    """Seconds in which each word was said, from the clip's start.

    ``attention`` [tokens + 1, frames]: the last row wrote the end. ``counts``: how many words were
    whole behind each token, -1 inside one; words that one token ends ("4/32") share its time, and one
    that ends none (a comma, "um") has no word's. ``lead_s``: silence that was put before the clip.
    """
    spans = token_spans(attention)
    times: list[tuple[float, float]] = []
    begin = spans[0][0]
    for (_, last), count in zip(spans, counts, strict=False):
        if count < 0:
            continue
        time = (begin * STEP_S - lead_s, last * STEP_S - lead_s)
        times += [time] * (count - len(times))
        begin = last
    return times


def _gain(attention: Array) -> Array:
    """How much more each token looked at a frame than the others did, in standard deviations."""
    spread = attention.std(axis=0, keepdims=True) + np.float32(1e-9)
    return _smoothed((attention - attention.mean(axis=0, keepdims=True)) / spread)


def _smoothed(rows: Array) -> Array:
    half = _SMOOTH // 2
    padded = np.pad(rows, ((0, 0), (half, half)), mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, _SMOOTH, axis=1)
    return np.asarray(np.median(windows, axis=-1))
