"""Sounds a person makes that are not speech, and the sound of nothing (pure numpy)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.lab.speech_set.noises import band, filtered, pink

Samples = NDArray[np.float32]

BODIES: tuple[str, ...] = ("cough", "breath", "silence", "room")


def body(kind: str, seed: int) -> Samples:
    """One to three seconds of ``kind``; peak at most 0.7. Raises ``KeyError`` for an unknown one."""
    rng = np.random.default_rng([seed, *kind.encode()])
    length = int(rng.uniform(1.2, 3.0) * RATE)
    if kind == "cough":
        return _peak(_coughs(length, rng))
    if kind == "breath":
        slow = np.sin(np.pi * np.arange(length) / length) ** 2
        return _peak(filtered(rng.standard_normal(length), band(400, 3000)) * slow) * np.float32(
            0.3
        )
    if kind == "silence":
        return np.zeros(length, dtype=np.float32)
    if kind == "room":
        return (0.002 * pink(length, rng)).astype(np.float32)
    raise KeyError(kind)


def _coughs(length: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """One to three bursts: an explosive onset of noise, then a voiced, falling middle."""
    out = np.zeros(length)
    at = int(0.05 * RATE)
    for _ in range(int(rng.integers(1, 4))):
        size = int(rng.uniform(0.25, 0.4) * RATE)
        if at + size > length:
            break
        t = np.arange(size) / RATE
        burst = filtered(rng.standard_normal(size), band(500, 3500)) * np.exp(-t / 0.06)
        pitch = rng.uniform(180.0, 320.0) * np.exp(-t / 0.5)
        phase = 2.0 * np.pi * np.cumsum(pitch) / RATE
        buzz = sum(np.sin(n * phase) / n for n in range(1, 12))
        voiced = filtered(np.asarray(buzz), band(300, 1800)) * np.exp(-(((t - 0.12) / 0.07) ** 2))
        out[at : at + size] += 3.0 * burst + 0.4 * voiced
        at += size + int(rng.uniform(0.05, 0.3) * RATE)
    return out


def _peak(sound: NDArray[np.float64]) -> Samples:
    scaled: Samples = (0.7 * sound / max(float(np.abs(sound).max()), 1e-9)).astype(np.float32)
    return scaled
