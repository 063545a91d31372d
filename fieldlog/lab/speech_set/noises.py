"""Workshop noises synthesised from how they arise (pure numpy; a seed gives the same samples).

Orders of magnitude of speeds and frequencies are common practice for such machines (data plates and
textbook acoustics), not measurements of particular ones. Every function returns mono float32 at
16 kHz with an RMS of 0.1.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.lab.benchmarks.noise_mix import rms

Samples = NDArray[np.float32]
_Signal = NDArray[np.float64]
_Mode = tuple[float, float, float]
"""A resonance: hertz, decay time to 1/e in seconds, amplitude."""


def filtered(signal: _Signal, gain: Callable[[_Signal], _Signal]) -> _Signal:
    """``signal`` with the magnitude response ``gain`` (of hertz), zero phase."""
    spectrum = np.fft.rfft(signal)
    shaped: _Signal = np.fft.irfft(
        spectrum * gain(np.fft.rfftfreq(len(signal), 1.0 / RATE).astype(np.float64)), len(signal)
    )
    return shaped


def band(low: float, high: float) -> Callable[[_Signal], _Signal]:
    """Response that passes ``low`` .. ``high`` hertz with 12 dB per octave on both sides."""

    def gain(hertz: _Signal) -> _Signal:
        up = (hertz / low) ** 2 / (1.0 + (hertz / low) ** 2)
        down = 1.0 / (1.0 + (hertz / high) ** 2)
        response: _Signal = up * down
        return response

    return gain


def pink(length: int, rng: np.random.Generator) -> _Signal:
    """Noise with 3 dB less per octave above 40 Hz, RMS 1."""
    sound = filtered(
        rng.standard_normal(length), lambda hertz: 1.0 / np.sqrt(np.maximum(hertz, 40.0))
    )
    scaled: _Signal = sound / np.sqrt(np.mean(sound**2))
    return scaled


def struck(impulses: _Signal, modes: Sequence[_Mode]) -> _Signal:
    """What resonances with ``modes`` sound like when hit by ``impulses``."""
    longest = max(decay for _, decay, _ in modes)
    t = np.arange(int(6.0 * longest * RATE) + 1) / RATE
    ring = sum(a * np.exp(-t / d) * np.sin(2.0 * np.pi * f * t) for f, d, a in modes)
    size = 1 << (len(impulses) + len(t)).bit_length()
    out: _Signal = np.fft.irfft(np.fft.rfft(impulses, size) * np.fft.rfft(ring, size), size)
    return out[: len(impulses)]


def train(
    length: int, interval_s: Sequence[float], jitter: float, rng: np.random.Generator
) -> _Signal:
    """Impulses whose intervals repeat the pattern ``interval_s``, uneven in time and strength."""
    impulses = np.zeros(length)
    at, turn = float(rng.uniform(0.0, interval_s[0])), 0
    while at * RATE < length:
        impulses[int(at * RATE)] += 1.0 + 2.0 * jitter * rng.standard_normal()
        at += interval_s[turn % len(interval_s)] * max(0.2, 1.0 + jitter * rng.standard_normal())
        turn += 1
    return impulses


def envelope(impulses: _Signal, decay_s: float) -> _Signal:
    """How strong something is that each impulse sets off and that fades within ``decay_s``."""
    size = 1 << (len(impulses) + int(6 * decay_s * RATE)).bit_length()
    fade = np.exp(-np.arange(int(6 * decay_s * RATE)) / (decay_s * RATE))
    out: _Signal = np.fft.irfft(np.fft.rfft(impulses, size) * np.fft.rfft(fade, size), size)
    return np.maximum(out[: len(impulses)], 0.0)


def on_and_off(
    length: int, on_s: tuple[float, float], off_s: tuple[float, float], rng: np.random.Generator
) -> _Signal:
    """1.0 while a tool is pulled and 0.0 between, with 60 ms ramps."""
    gate = np.zeros(length)
    at = int(rng.uniform(0.0, off_s[1]) * RATE * 0.5)
    while at < length:
        end = at + int(rng.uniform(*on_s) * RATE)
        gate[at:end] = 1.0
        at = end + int(rng.uniform(*off_s) * RATE)
    ramp = np.ones(960) / 960.0
    smooth: _Signal = np.convolve(gate, ramp, mode="same")
    return smooth


def harmonics(
    base_hz: float, levels: Sequence[float], drift: float, length: int, rng: np.random.Generator
) -> _Signal:
    """A tone with partials; its pitch wanders by the share ``drift`` within a second or so."""
    wander = filtered(rng.standard_normal(length), lambda hertz: (hertz < 1.5).astype(float))
    wander /= max(float(np.abs(wander).max()), 1e-9)
    phase = 2.0 * np.pi * np.cumsum(base_hz * (1.0 + drift * wander)) / RATE
    out = np.zeros(length)
    for n, level in enumerate(levels, start=1):
        if base_hz * n * (1.0 + drift) < RATE / 2:
            out += level * np.sin(n * phase + rng.uniform(0.0, 2.0 * np.pi))
    return out


def compressor(length: int, rng: np.random.Generator) -> _Signal:
    """A piston compressor: mains hum, two cylinders at 900 strokes a minute each, valve hiss."""
    strokes = train(length, (1.0 / 30.0,), 0.03, rng)
    body = struck(
        strokes, [(82, 0.03, 1.0), (190, 0.02, 0.8), (430, 0.012, 0.5), (960, 0.008, 0.3)]
    )
    valves = filtered(rng.standard_normal(length), band(700, 4200)) * envelope(strokes, 0.012)
    hum = harmonics(100.0, (0.35, 0.2, 0.12, 0.1, 0.05), 0.001, length, rng)
    return body + 0.5 * valves + 0.5 * hum + 0.08 * pink(length, rng)


def impact_wrench(length: int, rng: np.random.Generator) -> _Signal:
    """An air impact wrench: 20 to 28 blows a second on steel, vane motor, exhaust air, in bursts."""
    blows = train(length, (1.0 / rng.uniform(20.0, 28.0),), 0.04, rng)
    steel = struck(
        blows,
        [(1850, 0.006, 1.0), (3150, 0.005, 0.9), (4700, 0.004, 0.7), (6300, 0.003, 0.4)],
    )
    air = filtered(rng.standard_normal(length), band(900, 5500)) * (0.35 + envelope(blows, 0.01))
    vanes = harmonics(rng.uniform(520.0, 680.0), (0.25, 0.15, 0.1), 0.05, length, rng)
    pulled = on_and_off(length, (0.6, 2.0), (0.4, 1.2), rng)
    return pulled * (steel + 0.35 * air + vanes) + 0.02 * pink(length, rng)


def grinder(length: int, rng: np.random.Generator) -> _Signal:
    """An angle grinder: spindle at 11,000 a minute, motor three times that, gears, disc on steel."""
    spindle = harmonics(183.0, (0.5, 0.3, 0.2, 0.12, 0.1, 0.06), 0.03, length, rng)
    motor = harmonics(550.0, (0.6, 0.45, 0.4, 0.3, 0.25, 0.2, 0.15), 0.03, length, rng)
    gears = harmonics(3300.0, (0.35, 0.2), 0.03, length, rng)
    chatter = 1.0 + 0.5 * np.sin(2.0 * np.pi * 11.0 * np.arange(length) / RATE)
    contact = on_and_off(length, (0.8, 2.5), (0.5, 1.5), rng) * chatter
    disc = filtered(rng.standard_normal(length), band(1800, 6500)) * contact
    air = filtered(rng.standard_normal(length), band(300, 5000))
    return spindle + motor + gears + 1.2 * disc + 0.25 * air


def engine(length: int, rng: np.random.Generator, rpm: float, crank: Sequence[float]) -> _Signal:
    """A four-stroke idling at ``rpm``; ``crank`` are the degrees between firings (sum 720)."""
    seconds = [degrees / 360.0 * 60.0 / rpm for degrees in crank]
    firing = train(length, seconds, 0.02, rng)
    pipe = struck(
        firing, [(68, 0.025, 1.0), (145, 0.018, 0.8), (270, 0.012, 0.5), (520, 0.008, 0.3)]
    )
    gas = filtered(rng.standard_normal(length), band(120, 1800)) * envelope(firing, 0.012)
    valves = struck(
        train(length, (60.0 / rpm,), 0.02, rng), [(2300, 0.004, 1.0), (3900, 0.003, 0.6)]
    )
    return pipe + 0.6 * gas + 0.12 * valves + 0.05 * pink(length, rng)


def dropped_tool(length: int, rng: np.random.Generator) -> _Signal:
    """Steel tools falling on concrete now and then, bouncing, over the murmur of the room.

    The partials are those of a free bar, 1 : 2.757 : 5.404 : 8.933 (Fletcher and Rossing, The
    Physics of Musical Instruments, chapter 2).
    """
    out = 0.03 * pink(length, rng)
    at = rng.uniform(0.1, 0.8)
    while at * RATE < length:
        first = rng.uniform(650.0, 1700.0)
        ring = rng.uniform(0.05, 0.2)
        ratios = ((1.0, 1.0), (2.757, 0.7), (5.404, 0.4), (8.933, 0.2))
        modes = [
            (first * ratio, ring / np.sqrt(ratio), level)
            for ratio, level in ratios
            if first * ratio < RATE / 2
        ]
        hits = np.zeros(length)
        flight, bounce, speed = at, rng.uniform(0.2, 0.35), 1.0
        while speed > 0.1 and flight * RATE < length:
            hits[int(flight * RATE)] += speed
            flight += bounce * speed
            speed *= rng.uniform(0.45, 0.6)
        out = out + struck(hits, modes) + struck(hits, [(150, 0.02, 0.8)])
        at += rng.uniform(1.2, 2.6)
    return out


_MAKERS: dict[str, Callable[[int, np.random.Generator], _Signal]] = {
    "compressor": compressor,
    "impact wrench": impact_wrench,
    "grinder": grinder,
    "engine 1000": lambda n, rng: engine(n, rng, 1000.0, (720.0,)),
    "engine 1400": lambda n, rng: engine(n, rng, 1400.0, (315.0, 405.0)),
    "engine 3000": lambda n, rng: engine(n, rng, 3000.0, (360.0, 360.0)),
    "dropped tool": dropped_tool,
}

NOISES: tuple[str, ...] = tuple(_MAKERS)
"""Noises that need nothing but a seed; "radio" and "kitchen" are made from recordings."""


def workshop_noise(kind: str, seconds: float, seed: int) -> Samples:
    """``seconds`` of the noise ``kind``, RMS 0.1. Raises ``KeyError`` for an unknown kind."""
    rng = np.random.default_rng([seed, *kind.encode()])
    return _level(_MAKERS[kind](max(1, round(seconds * RATE)), rng))


def radio(speech: Sequence[Samples], seconds: float, seed: int) -> Samples:
    """A small radio across the room, talking: ``speech`` through a loudspeaker, RMS 0.1."""
    rng = np.random.default_rng([seed, 0])
    wanted = max(1, round(seconds * RATE))
    pieces: list[_Signal] = []
    have = 0
    while have < wanted:
        piece = speech[int(rng.integers(len(speech)))].astype(np.float64)
        pieces += [piece / max(rms(piece.astype(np.float32)), 1e-6), np.zeros(RATE // 5)]
        have += len(piece) + RATE // 5
    talk = np.concatenate(pieces)[:wanted]
    small = filtered(talk, band(350, 3800))
    echo = np.zeros(wanted)
    for delay_s, level in ((0.0, 1.0), (0.017, 0.5), (0.031, 0.4), (0.053, 0.25)):
        shift = int(delay_s * RATE)
        echo[shift:] += level * small[: wanted - shift]
    return _level(np.tanh(1.2 * echo / max(float(np.std(echo)), 1e-9)))


def _level(sound: _Signal) -> Samples:
    scaled: Samples = (0.1 * sound / max(float(np.sqrt(np.mean(sound**2))), 1e-12)).astype(
        np.float32
    )
    return scaled
