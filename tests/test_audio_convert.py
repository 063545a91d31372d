"""Down-mixing and the flags that the samples themselves show."""

from __future__ import annotations

import numpy as np
import pytest
import soxr
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.audio.convert import Converter, DownMixer, is_clipped, is_narrow_band, sound_flags


def voice(seconds: float = 2.0, seed: int = 0) -> NDArray[np.float32]:
    """Noise with a speech-like spectrum (6 dB per octave down) and a syllable rhythm of 4 Hz."""
    rng = np.random.default_rng(seed)
    n = round(seconds * RATE)
    spectrum = np.fft.rfft(rng.standard_normal(n))
    hertz = np.fft.rfftfreq(n, 1 / RATE)
    sound = np.fft.irfft(spectrum / np.maximum(hertz, 200.0), n)
    sound *= 1.1 + np.sin(2 * np.pi * 4 * np.arange(n) / RATE)
    loudest = float(np.abs(sound).max())
    return np.asarray(0.5 * sound / loudest, dtype=np.float32)


def mixed(channels: list[NDArray[np.float32]], block: int = 997) -> NDArray[np.float32]:
    both = np.stack(channels, axis=1)
    mixer = DownMixer(len(channels), RATE)
    parts = [mixer.process(both[i : i + block]) for i in range(0, len(both), block)]
    return np.concatenate([*parts, mixer.flush()])


def rms(sound: NDArray[np.float32]) -> float:
    return float(np.sqrt(np.mean(np.square(sound))))


def test_equal_channels_are_the_mean() -> None:
    x = voice()
    assert np.allclose(mixed([x, x]), x, atol=1e-6)


def test_independent_channels_are_the_mean() -> None:
    x, y = voice(seed=1), voice(seed=2)
    assert np.allclose(mixed([x, y]), (x + y) / 2, atol=1e-6)


@pytest.mark.parametrize("hiss", [0.0, 1e-4])
@pytest.mark.parametrize("silent", [0, 1])
def test_silent_channel_does_not_halve_the_voice(silent: int, hiss: float) -> None:
    x = voice()
    quiet = (hiss * np.random.default_rng(5).standard_normal(len(x))).astype(np.float32)
    heard = mixed([quiet, x] if silent == 0 else [x, quiet])
    assert np.allclose(heard, x, atol=1e-6)


def test_anti_phase_does_not_cancel() -> None:
    x = voice()
    assert rms(mixed([x, -x])) == pytest.approx(rms(x), rel=0.01)
    assert rms(mixed([x, -0.8 * x])) > 0.8 * rms(x)


def test_five_channels_with_one_voice() -> None:
    x = voice()
    zero = np.zeros_like(x)
    assert np.allclose(mixed([zero, zero, x, zero, zero]), x, atol=1e-6)


def test_change_of_weights_does_not_click() -> None:
    x = voice(4.0)
    left = np.concatenate([x[: 2 * RATE], 0 * x[2 * RATE :]]).astype(np.float32)
    steps = np.abs(np.diff(mixed([left, x])))
    assert steps.max() <= 1.05 * np.abs(np.diff(x)).max()


@given(
    cuts=st.lists(st.integers(1, 4000), min_size=1, max_size=20),
    rate=st.sampled_from([8000, 44100]),
)
@settings(max_examples=25, deadline=None)
def test_converter_gives_the_same_however_it_is_fed(cuts: list[int], rate: int) -> None:
    both = np.stack([voice(0.5, 1), -voice(0.5, 1)], axis=1)
    whole = Converter(rate, 2)
    expected = np.concatenate([whole.process(both), whole.flush()])
    pieces = Converter(rate, 2)
    got, at, turn = [], 0, 0
    while at < len(both):
        size = cuts[turn % len(cuts)]
        got.append(pieces.process(both[at : at + size]))
        at, turn = at + size, turn + 1
    got.append(pieces.flush())
    assert np.array_equal(np.concatenate(got), expected)


def test_clipping_is_flagged() -> None:
    x = voice() * 2.0
    assert not is_clipped(x / np.abs(x).max()), "a normalised peak is not clipping"
    hard = np.clip(x * 3, -1, 1)
    assert is_clipped(hard)
    assert is_clipped(hard * np.float32(0.5)), "turned down after clipping"
    assert not is_clipped(np.zeros(1000, dtype=np.float32))
    assert not is_clipped(np.empty(0, dtype=np.float32))


@pytest.mark.parametrize("rate", [8000, 44100, 48000])
def test_clipping_is_still_seen_after_resampling(rate: int) -> None:
    loud = np.clip(soxr.resample(voice() * 6, RATE, rate), -1, 1)
    assert is_clipped(soxr.resample(loud, rate, RATE).astype(np.float32))


def test_narrow_band_is_flagged() -> None:
    x = voice()
    assert not is_narrow_band(x)
    headset = soxr.resample(soxr.resample(x, RATE, 8000), 8000, RATE).astype(np.float32)
    assert is_narrow_band(headset)
    assert sound_flags(headset) == {"narrow band"}
    assert not is_narrow_band(np.zeros(RATE, dtype=np.float32))
