"""Log-mel features as Whisper was trained on them (pure numpy).

Definition: Radford et al. 2022, "Robust Speech Recognition via Large-Scale Weak Supervision",
section 2.2, and ``whisper/audio.py`` of github.com/openai/whisper (MIT): 16 kHz, periodic Hann
window of 400 samples, hop 160, reflected edges, power spectrum, Slaney mel filters, log10 limited
to 8 below the loudest, then (x + 4) / 4.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE

Array = NDArray[np.float32]

WINDOW = 400
"""Samples (25 ms)."""
HOP = 160
"""Samples (10 ms)."""
MAX_FRAMES = 3000
"""Frames Whisper's encoder has positions for (30 s)."""
SILENT = -0.6
"""The features' value for silence: 8 below a usual loudest of 1.6 (log10), scaled."""


@lru_cache(maxsize=4)
def mel_filters(bands: int = 80) -> Array:
    """Slaney's mel filter bank, area-normalised: ``[bands, WINDOW // 2 + 1]``.

    Slaney 1998, Auditory Toolbox: linear below 1 kHz (200/3 Hz a mel), logarithmic above
    (27 mels for each factor of 6.4).
    """
    low_slope = 200.0 / 3
    knee = 1000.0 / low_slope
    log_step = np.log(6.4) / 27.0
    top = knee + np.log((RATE / 2) / 1000.0) / log_step
    mels = np.linspace(0.0, top, bands + 2)
    edges = np.where(
        mels < knee, mels * low_slope, 1000.0 * np.exp(log_step * (np.maximum(mels, knee) - knee))
    )
    bins = np.fft.rfftfreq(WINDOW, 1.0 / RATE)
    rising = (bins[None, :] - edges[:-2, None]) / (edges[1:-1] - edges[:-2])[:, None]
    falling = (edges[2:, None] - bins[None, :]) / (edges[2:] - edges[1:-1])[:, None]
    triangles = np.maximum(0.0, np.minimum(rising, falling))
    triangles *= (2.0 / (edges[2:] - edges[:-2]))[:, None]
    filters: Array = triangles.astype(np.float32)
    return filters


@lru_cache(maxsize=1)
def _window() -> Array:
    steps = np.arange(WINDOW)
    return (0.5 - 0.5 * np.cos(2.0 * np.pi * steps / WINDOW)).astype(np.float32)


def log_mel(samples: Array, bands: int = 80) -> Array:
    """Features ``[bands, frames]`` of mono samples at 16 kHz, one frame per 10 ms.

    A clip too short for the reflected edge (200 samples) is padded with silence first.
    """
    signal = np.asarray(samples, dtype=np.float32)
    if len(signal) <= WINDOW // 2:
        signal = np.pad(signal, (0, WINDOW // 2 + 1 - len(signal)))
    edged = np.pad(signal, WINDOW // 2, mode="reflect")
    frames = np.lib.stride_tricks.sliding_window_view(edged, WINDOW)[::HOP][:-1]
    if not len(frames):
        frames = np.lib.stride_tricks.sliding_window_view(edged, WINDOW)[:1]
    spectrum = np.fft.rfft(frames * _window(), axis=1)
    power = (spectrum.real**2 + spectrum.imag**2).astype(np.float32)
    log = np.log10(np.maximum(mel_filters(bands) @ power.T, 1e-10))
    log = np.maximum(log, log.max() - 8.0)
    return np.asarray((log + 4.0) / 4.0, dtype=np.float32)


def pad_features(
    features: Array, extra: int = 100, multiple: int = 50, value: float = SILENT, lead: int = 0
) -> Array:
    """``[bands, frames]`` with ``lead`` frames before and at least ``extra`` behind, at most 30 s.

    The length is brought to a ``multiple``. The filling is done among the features, not the samples:
    whole windows of 30 s are not needed and cost eight times more.
    """
    frames = min(features.shape[1], MAX_FRAMES - lead)
    wanted = min(MAX_FRAMES, -(-(lead + frames + extra) // multiple) * multiple)
    filled = np.full((features.shape[0], wanted), value, dtype=np.float32)
    filled[:, lead : lead + frames] = features[:, :frames]
    return filled
