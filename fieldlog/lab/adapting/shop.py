"""The shop around a take: how fast it is said, microphone, room, hiss, workshop noise (numpy).

Rooms and noises are those of the speech set, with seeds of their own; beside them noises the set does
not have (steady hiss, clatter, several people at once) and a random colour of the microphone.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.lab.adapting.takes import Take
from fieldlog.lab.benchmarks.noise_mix import rms
from fieldlog.lab.speech_set.bodies import BODIES, body
from fieldlog.lab.speech_set.effects import headset, in_room, limited
from fieldlog.lab.speech_set.noises import NOISES, filtered, pink, radio, workshop_noise

Samples = NDArray[np.float32]

_SEED = 1000
"""Noises of the set have seeds below ten."""
_NOISE_S = 30.0
_OFTEN = {
    "radio": 4, "people": 2, "clatter": 3, "compressor": 4, "grinder": 4, "pink": 3, "hiss": 2,
}  # fmt: skip
"""How often a noise is drawn, others once: those that are like speech, or like what rings in it, and those
that cover all bands at once, in which speech is heard worst."""
BAND_EDGES = np.array([0.0, 300.0, 800.0, 1800.0, 3500.0, 8000.0])


class Shop:
    """Noises made once, and the ways a take is changed; draws come from the caller's generator."""

    def __init__(self, takes: Sequence[Take], seed: int = 5) -> None:
        """``takes`` give the talk for the radio and for the people in the background."""
        rng = np.random.default_rng(seed)
        length = round(_NOISE_S * RATE)
        picked = rng.integers(0, len(takes), 400)
        talk = [takes[int(n)].sound.astype(np.float32) / np.float32(32_768) for n in picked]
        noises = {k: [workshop_noise(k, _NOISE_S, _SEED + n) for n in range(5)] for k in NOISES}
        noises["pink"] = [(0.1 * pink(length, rng)).astype(np.float32) for _ in range(3)]
        noises["hiss"] = [(0.1 * rng.standard_normal(length)).astype(np.float32)]
        noises["clatter"] = [_clatter(length, rng) for _ in range(4)]
        self.machines = list(noises)
        noises["radio"] = [
            radio([talk[int(n)] for n in rng.integers(0, len(talk), 14)], _NOISE_S, _SEED + turn)
            for turn in range(8)
        ]
        noises["people"] = [_people(talk, length, rng) for _ in range(3)]
        self.noises = noises
        self.drawn = [kind for kind in noises for _ in range(_OFTEN.get(kind, 1))]

    def heard(self, take: Take, rng: np.random.Generator) -> Samples:
        """``take`` as a microphone in a shop might have it, silence around it."""
        sound: Samples = take.sound.astype(np.float32) / np.float32(32_768)
        if rng.random() < 0.3:
            sound = _stretched(sound, rng.uniform(0.92, 1.08))
        loudest = float(np.abs(sound).max()) + 1e-9
        gain = min(10 ** (rng.uniform(-32, -18) / 20) / max(rms(sound), 1e-9), 0.95 / loudest)
        lead, tail = int(rng.uniform(0.05, 0.45) * RATE), int(rng.uniform(0.2, 0.7) * RATE)
        sound = np.pad(sound * np.float32(gain), (lead, tail)).astype(np.float32)
        if rng.random() < 0.5:
            sound = _coloured(sound, rng)
        sound = _in_some_room(sound, rng)
        hiss = 10 ** rng.uniform(-4.3, -3.2)
        sound = sound + (hiss * rng.standard_normal(len(sound))).astype(np.float32)
        if rng.random() < 0.72:
            noise = self._noise(self.drawn, len(sound), rng)
            level = rms(sound[lead : len(sound) - tail]) / 10 ** (rng.uniform(2, 24) / 20)
            sound = sound + noise * np.float32(level / max(rms(noise), 1e-9))
        return np.asarray(np.clip(sound, -1.2, 1.2), dtype=np.float32)

    def nothing(self, rng: np.random.Generator) -> Samples:
        """One to three seconds in which nobody speaks."""
        if rng.random() < 0.4:
            sound = body(BODIES[int(rng.integers(len(BODIES)))], int(rng.integers(2**30)))
        else:
            sound = np.zeros(int(rng.uniform(1, 3) * RATE), np.float32)
        noise = self._noise(self.machines, len(sound), rng)
        return (sound + noise * np.float32(10 ** rng.uniform(-2.0, 0.3))).astype(np.float32)

    def _noise(self, kinds: Sequence[str], length: int, rng: np.random.Generator) -> Samples:
        ways = self.noises[kinds[int(rng.integers(len(kinds)))]]
        noise = ways[int(rng.integers(len(ways)))]
        at = int(rng.integers(0, len(noise) - length))
        return noise[at : at + length]


def _in_some_room(sound: Samples, rng: np.random.Generator) -> Samples:
    draw = rng.random()
    if draw < 0.30:
        return sound
    if draw < 0.58:
        return limited(in_room(sound, rng.uniform(0.25, 0.55), rng.uniform(2, 10), rng))
    if draw < 0.72:
        return limited(in_room(sound, rng.uniform(0.6, 1.1), rng.uniform(0, 6), rng))
    if draw < 0.80:
        return limited(headset(sound))
    if draw < 0.84:
        loud = sound / max(float(np.quantile(np.abs(sound), 0.985)), 1e-6)
        return np.asarray(np.clip(loud, -1.0, 1.0), dtype=np.float32)
    if draw < 0.98:
        edge = rng.uniform(3000, 6500)
        dull = filtered(sound.astype(np.float64), lambda hertz: 1.0 / (1.0 + (hertz / edge) ** 2))
        there = in_room(dull.astype(np.float32), rng.uniform(0.35, 0.8), rng.uniform(-1, 5), rng)
        return limited(there) * np.float32(0.3)
    return sound * np.float32(0.05)


def _coloured(sound: Samples, rng: np.random.Generator) -> Samples:
    """Through a microphone that favours some bands by up to 6 dB."""
    gains = rng.uniform(-6, 6, len(BAND_EDGES))
    shaped = filtered(
        sound.astype(np.float64), lambda hertz: 10 ** (np.interp(hertz, BAND_EDGES, gains) / 20)
    )
    return np.asarray(shaped, dtype=np.float32)


def _stretched(sound: Samples, speed: float) -> Samples:
    """Played ``speed`` times as fast, pitch included: another throat."""
    at = np.arange(int(len(sound) / speed)) * speed
    return np.asarray(np.interp(at, np.arange(len(sound)), sound), dtype=np.float32)


def _people(talk: Sequence[Samples], length: int, rng: np.random.Generator) -> Samples:
    """Six people talking at once."""
    mixed = np.zeros(length)
    for _ in range(6):
        said = np.concatenate([talk[int(n)] for n in rng.integers(0, len(talk), 12)])
        mixed += np.resize(said, length)
    loudness = max(float(np.sqrt(np.mean(mixed**2))), 1e-9)
    return np.asarray(0.1 * mixed / loudness, dtype=np.float32)


def _clatter(length: int, rng: np.random.Generator) -> Samples:
    """Things put down on metal and wood, a few a second: ringing modes over a soft hiss, RMS 0.1."""
    mixed = 0.02 * pink(length, rng)
    for _ in range(round(length / RATE * rng.uniform(1.5, 5.0))):
        at = int(rng.integers(0, length))
        ring = np.arange(min(length - at, RATE // 2)) / RATE
        loud = 10 ** (rng.uniform(-20, 0) / 20)
        for _ in range(int(rng.integers(2, 7))):
            hertz, decay_s = rng.uniform(300, 6000), rng.uniform(0.01, 0.12)
            mixed[at : at + len(ring)] += (
                loud * np.exp(-ring / decay_s) * np.sin(2 * np.pi * hertz * ring)
            )
    return np.asarray(0.1 * mixed / max(rms(mixed.astype(np.float32)), 1e-9), dtype=np.float32)
