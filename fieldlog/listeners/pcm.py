"""A clip as native recognisers take it: 16-bit little-endian samples, whatever was in it (pure)."""

from __future__ import annotations

import numpy as np

from fieldlog.audio.clip import Clip

SHORTEST_S = 0.1
"""Seconds below which a clip holds no word and is not given to a recogniser."""


def pcm16(clip: Clip) -> bytes:
    """The clip's samples as 16-bit integers; NaN counts as silence, what is too loud is cut."""
    samples = np.nan_to_num(np.asarray(clip.samples, dtype=np.float32), posinf=1.0, neginf=-1.0)
    return (np.clip(samples, -1.0, 1.0) * 32767.0).astype("<i2").tobytes()


def is_silent(clip: Clip) -> bool:
    """Whether the clip is too short to hold a word, or holds no sound at all."""
    return clip.duration_s < SHORTEST_S or not np.any(np.nan_to_num(clip.samples))
