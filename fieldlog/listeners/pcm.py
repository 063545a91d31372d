"""A clip as recognisers take it: finite, or 16-bit little-endian, whatever was in it (pure)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import Clip

SHORTEST_S = 0.1
"""Seconds below which a clip holds no word and is not given to a recogniser."""


def finite(clip: Clip) -> NDArray[np.float32]:
    """The clip's samples within +-1; NaN counts as silence, what is too loud is cut."""
    samples = np.asarray(clip.samples, dtype=np.float32)
    return np.clip(np.nan_to_num(samples, posinf=1.0, neginf=-1.0), -1.0, 1.0)


def pcm16(clip: Clip) -> bytes:
    """The clip's samples as 16-bit integers."""
    return (finite(clip) * 32767.0).astype("<i2").tobytes()


def is_silent(clip: Clip) -> bool:
    """Whether the clip is too short to hold a word, or holds no sound at all."""
    return clip.duration_s < SHORTEST_S or not np.any(finite(clip))
