"""The tones under the noises of the speech set: told apart, through a headset's band, and never speech."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import fftconvolve

from fieldlog.audio.clip import RATE
from fieldlog.audio.endpointer import utterances
from fieldlog.audio.tones import LEVEL, Tone, tone
from fieldlog.audio.vad import voice_activity
from fieldlog.lab.speech_set.effects import headset
from fieldlog.lab.speech_set.noises import NOISES, workshop_noise

Samples = NDArray[np.float32]
BELOW_DB = 3.0
"""How far below the noise the tone lies, both as the RMS while it sounds."""


def likeness(sound: Samples, which: Tone) -> float:
    """The largest normalised correlation of ``sound`` with a tone, wherever it may lie (0..1)."""
    wanted = np.asarray(tone(which), np.float64)
    at = fftconvolve(sound, wanted[::-1], mode="valid")
    energy = fftconvolve(np.square(sound, dtype=np.float64), np.ones(len(wanted)), mode="valid")
    return float(np.abs(at / np.sqrt(np.maximum(energy, 1e-12) * np.sum(wanted**2))).max())


def nearest(sound: Samples) -> Tone:
    return max(Tone, key=lambda which: likeness(sound, which))


def in_noise(which: Tone, kind: str, seed: int) -> Samples:
    """A tone in the middle of three seconds of noise that is louder than it."""
    heard = np.asarray(tone(which))
    noise = workshop_noise(kind, 3.0, seed)
    at = RATE // 2 + 371 * seed
    loud = float(np.sqrt(np.mean(np.square(noise[at : at + len(heard)], dtype=np.float64))))
    own = float(np.sqrt(np.mean(np.square(heard, dtype=np.float64))))
    mixed = noise * np.float32(own / max(loud, 1e-9) * 10 ** (BELOW_DB / 20.0))
    mixed[at : at + len(heard)] += heard
    return np.asarray(mixed, np.float32)


@pytest.mark.parametrize("kind", NOISES)
@pytest.mark.parametrize("which", Tone)
def test_a_tone_is_told_from_the_others_in_noise_louder_than_it(which: Tone, kind: str) -> None:
    for seed in (1, 2, 3):
        assert nearest(in_noise(which, kind, seed)) is which


@pytest.mark.parametrize("which", Tone)
def test_a_headset_that_passes_300_to_3400_hz_leaves_each_what_it_is(which: Tone) -> None:
    heard = headset(np.concatenate([np.zeros(RATE // 4, np.float32), tone(which)]))
    assert nearest(heard) is which
    assert float(np.abs(heard).max()) > 0.5 * LEVEL


@pytest.mark.parametrize("which", Tone)
def test_no_two_are_alike_without_their_pitch(which: Tone) -> None:
    """By loudness over time alone, at ten frames a second more than a note is long."""

    def loudness(of: Tone) -> Samples:
        steps = np.abs(np.asarray(tone(of), np.float64))
        whole = np.zeros(round(2.5 * RATE))
        whole[: len(steps)] = steps
        return np.asarray(whole.reshape(-1, RATE // 50).mean(axis=1))

    own = loudness(which)
    for other in Tone:
        if other is not which:
            alike = np.corrcoef(own, loudness(other))[0, 1]
            assert alike < 0.9, (which, other)


@pytest.mark.parametrize("which", Tone)
@pytest.mark.parametrize("gain", [1.0, 0.3, 0.05])
def test_none_is_taken_for_speech_by_our_own_detector(which: Tone, gain: float) -> None:
    hiss = np.random.default_rng(7).normal(0.0, 1e-4, 4 * RATE).astype(np.float32)
    hiss[RATE : RATE + len(tone(which))] += tone(which) * np.float32(gain)
    assert list(utterances([np.tile(hiss, 2)], voice=voice_activity().activity)) == []


def test_each_is_short_and_none_is_at_full_scale() -> None:
    assert all(0.15 <= len(tone(which)) / RATE <= 2.2 for which in Tone)
    assert len(tone(Tone.SAVED)) < len(tone(Tone.ASKED)) < len(tone(Tone.BEYOND))
    for which in Tone:
        assert float(np.abs(tone(which)).max()) == pytest.approx(LEVEL)
