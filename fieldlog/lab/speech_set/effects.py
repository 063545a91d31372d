"""Rooms, distances and microphones (pure numpy and soxr; a seed gives the same samples)."""

from __future__ import annotations

import numpy as np
import soxr
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.lab.speech_set.noises import band, filtered

Samples = NDArray[np.float32]

EFFECTS: tuple[str, ...] = ("dry", "garage", "hall", "headset", "clipped", "far", "quiet")


def impulse_response(
    decay_s: float, direct_db: float, rng: np.random.Generator
) -> NDArray[np.float64]:
    """A room: the direct sound, eight early reflections, a tail that fades by 60 dB in ``decay_s``.

    ``direct_db`` is the energy of the direct sound over all the rest. The tail is noise under an
    exponential envelope whose high half fades twice as fast (Polack's model of late reverberation).
    """
    length = int(decay_s * RATE)
    t = np.arange(length) / RATE
    white = rng.standard_normal(length)
    low = filtered(white, lambda hertz: 1.0 / (1.0 + (hertz / 2000.0) ** 2))
    tail = low * 10.0 ** (-3.0 * t / decay_s) + (white - low) * 10.0 ** (-6.0 * t / decay_s)
    tail[: int(0.02 * RATE)] *= 0.2
    for _ in range(8):
        tail[int(rng.uniform(0.002, 0.03) * RATE)] += rng.choice([-1, 1]) * rng.uniform(1.0, 4.0)
    tail *= 10.0 ** (-direct_db / 20.0) / np.sqrt(np.sum(tail**2))
    tail[0] += 1.0
    response: NDArray[np.float64] = tail
    return response


def in_room(sound: Samples, decay_s: float, direct_db: float, rng: np.random.Generator) -> Samples:
    """``sound`` in a room, at its own level, its length kept."""
    response = impulse_response(decay_s, direct_db, rng)
    size = 1 << (len(sound) + len(response)).bit_length()
    wet = np.fft.irfft(np.fft.rfft(sound, size) * np.fft.rfft(response, size), size)[: len(sound)]
    scale = np.sqrt(np.mean(np.square(sound)) / max(float(np.mean(wet**2)), 1e-12))
    out: Samples = (wet * scale).astype(np.float32)
    return out


def headset(sound: Samples) -> Samples:
    """A telephone-grade headset: 300 to 3400 Hz, sampled at 8 kHz."""
    narrow = soxr.resample(sound, RATE, 8_000)
    wide = soxr.resample(narrow, 8_000, RATE)[: len(sound)]
    padded = np.zeros(len(sound))
    padded[: len(wide)] = wide
    shaped = filtered(padded, band(250, 4000))
    back = soxr.resample(soxr.resample(shaped, RATE, 8_000), 8_000, RATE).astype(np.float32)
    out = np.zeros(len(sound), dtype=np.float32)
    out[: min(len(out), len(back))] = back[: len(out)]
    return out


def apply(effect: str, sound: Samples, seed: int) -> Samples:
    """``sound`` (peak below 1) through ``effect``; raises ``KeyError`` for an unknown one."""
    rng = np.random.default_rng([seed, *effect.encode()])
    if effect == "dry":
        return sound
    if effect == "garage":
        return limited(in_room(sound, rng.uniform(0.3, 0.5), rng.uniform(3.0, 9.0), rng))
    if effect == "hall":
        return limited(in_room(sound, rng.uniform(0.7, 1.1), rng.uniform(0.0, 5.0), rng))
    if effect == "headset":
        return limited(headset(sound))
    if effect == "clipped":
        loud = sound / max(float(np.quantile(np.abs(sound), 0.985)), 1e-6)
        clipped: Samples = np.clip(loud, -1.0, 1.0).astype(np.float32)
        return clipped
    if effect == "far":
        dull = filtered(sound.astype(np.float64), lambda hertz: 1.0 / (1.0 + (hertz / 5000.0) ** 2))
        there = in_room(dull.astype(np.float32), rng.uniform(0.4, 0.7), rng.uniform(0.0, 4.0), rng)
        return limited(there) * np.float32(0.3)
    if effect == "quiet":
        return sound * np.float32(0.05)
    raise KeyError(effect)


def limited(sound: Samples) -> Samples:
    """Turned down where its peak would be above 0.95."""
    peak = float(np.abs(sound).max()) if len(sound) else 0.0
    return sound * np.float32(0.95 / peak) if peak > 0.95 else sound
