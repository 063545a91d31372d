"""Speech and noise at a set ratio (pure): the one mixing rule of every benchmark here."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]


def rms(sound: Samples) -> float:
    """Root mean square over all samples."""
    return float(np.sqrt(np.mean(np.square(sound, dtype=np.float64)))) if len(sound) else 0.0


def excerpt(noise: Samples, length: int, rng: np.random.Generator) -> Samples:
    """``length`` samples of ``noise`` from a random place; repeated when it is too short."""
    if len(noise) < length:
        noise = np.tile(noise, -(-length // len(noise)))
    start = int(rng.integers(0, len(noise) - length + 1))
    return noise[start : start + length]


def mix(
    speech: Samples, noise: Samples, snr_db: float, *, speech_rms: float | None = None
) -> Samples:
    """``speech`` + ``noise`` (same length) with RMS ratio ``snr_db``; brought under full scale.

    The speech level is that of the whole clip (the definition behind the project's targets)
    unless ``speech_rms`` gives another.
    """
    level = rms(speech) if speech_rms is None else speech_rms
    gain = level / max(rms(noise), 1e-9) * 10.0 ** (-snr_db / 20.0)
    mixed = speech + np.float32(gain) * noise
    peak = float(np.abs(mixed).max()) if len(mixed) else 0.0
    return (mixed / peak if peak > 1.0 else mixed).astype(np.float32)
