"""Any rate and channel count to mono float32 at ``RATE``, block by block (pure).

Every class here gives the same samples however its input is cut into blocks.
"""

from __future__ import annotations

import numpy as np
import soxr
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE, SoundFlag

Samples = NDArray[np.float32]

NARROW_BAND_RATE = 11_025
"""Hertz; a source sampled no faster than this carries no speech above 5.5 kHz."""

_DEAF_CHANNEL = 1e-3
"""Power of a channel over the loudest one's (-30 dB) below which it is left out."""
_ANTI_PHASE = -0.5
"""Correlation with the loudest channel below which a channel is turned over before adding."""
_MEMORY_S = 2.0
"""Seconds over which the down-mix remembers powers; long against syllables, short against files."""


class DownMixer:
    """Several channels to one: the mean of those that carry sound, in phase.

    A channel 30 dB below the loudest is left out (its mean would halve the voice), a channel in
    anti-phase is turned over (its mean would cancel the voice). Powers are remembered over two
    seconds in frames of 100 ms, and weights change over one frame, so nothing clicks.
    """

    def __init__(self, channels: int, rate: int) -> None:
        """``channels`` >= 1; ``rate`` in hertz."""
        self._channels = channels
        self._frame = max(1, rate // 10)
        self._decay = float(np.exp(-self._frame / (rate * _MEMORY_S)))
        self._covariance = np.zeros((channels, channels))
        self._weights: NDArray[np.float64] | None = None
        self._pending = np.empty((0, channels), dtype=np.float32)

    def process(self, block: Samples) -> Samples:
        """Mix ``block`` (samples, channels); up to 100 ms stay inside until more comes."""
        if self._channels == 1:
            return block.reshape(-1)
        self._pending = np.concatenate([self._pending, block])
        whole = len(self._pending) // self._frame
        mixed = [
            self._mix(self._pending[i * self._frame : (i + 1) * self._frame]) for i in range(whole)
        ]
        self._pending = self._pending[whole * self._frame :]
        return np.concatenate(mixed) if mixed else np.empty(0, dtype=np.float32)

    def flush(self) -> Samples:
        """The rest, when no more comes."""
        rest, self._pending = self._pending, self._pending[:0]
        if self._channels == 1 or not len(rest):
            return np.empty(0, dtype=np.float32)
        return self._mix(rest)

    def _mix(self, frame: Samples) -> Samples:
        wide = frame.astype(np.float64)
        self._covariance = self._decay * self._covariance + wide.T @ wide
        target = down_mix_weights(self._covariance)
        before = target if self._weights is None else self._weights
        self._weights = target
        if np.array_equal(before, target):
            return (wide @ target).astype(np.float32)
        ramp = np.linspace(0.0, 1.0, len(frame))[:, None]
        mixed: Samples = (wide * (before + ramp * (target - before))).sum(axis=1).astype(np.float32)
        return mixed


def down_mix_weights(covariance: NDArray[np.float64]) -> NDArray[np.float64]:
    """Weight of each channel, from the channels' covariance (channels, channels); |sum| = 1."""
    power = np.diag(covariance)
    loudest = int(np.argmax(power))
    if power[loudest] <= 0.0:
        return np.full(len(power), 1.0 / len(power))
    heard = power > _DEAF_CHANNEL * power[loudest]
    scale = np.sqrt(np.where(heard, power, 1.0) * power[loudest])
    correlation = np.where(heard, covariance[loudest] / scale, 0.0)
    signs = np.where(correlation < _ANTI_PHASE, -1.0, 1.0)
    weights: NDArray[np.float64] = np.where(heard, signs, 0.0) / int(heard.sum())
    return weights


class Converter:
    """Blocks of (samples, channels) at ``rate`` to mono at ``RATE``; NaN and infinity become 0."""

    def __init__(self, rate: int, channels: int, gain: float = 1.0) -> None:
        """``gain`` multiplies every sample (sources whose floats are not on the +-1 scale)."""
        self._mixer = DownMixer(channels, rate)
        self._channels = channels
        self._gain = np.float32(gain)
        self._resampler = (
            None if rate == RATE else soxr.ResampleStream(rate, RATE, 1, dtype="float32")
        )
        self.broken_samples = 0
        """How many samples were not numbers and became silence."""

    def process(self, block: Samples) -> Samples:
        """Convert ``block`` of shape (samples,) or (samples, channels)."""
        shaped = np.asarray(block, dtype=np.float32).reshape(-1, self._channels)
        finite = np.isfinite(shaped)
        if not finite.all():
            self.broken_samples += int((~finite).sum())
            shaped = np.where(finite, shaped, np.float32(0.0))
        if self._gain != 1.0:
            shaped = shaped * self._gain
        return self._resample(self._mixer.process(shaped), last=False)

    def flush(self) -> Samples:
        """What is still inside the mixer and the resampler, when no more comes."""
        return self._resample(self._mixer.flush(), last=True)

    def _resample(self, mono: Samples, *, last: bool) -> Samples:
        if self._resampler is None:
            return mono
        if not len(mono) and not last:
            return mono
        out: Samples = self._resampler.resample_chunk(mono, last=last)
        return out.reshape(-1)


def is_clipped(samples: Samples) -> bool:
    """Whether the sound was cut off at the top: at full scale, or flat tops below it.

    Full scale counts when 0.1 % of the samples (at least 8) reach 0.985; a clean recording that
    was merely normalised touches its peak a handful of times. Flat tops are five or more runs of
    four samples within 0.05 % of the clip's own peak (a clipped recording turned down later).
    """
    if not len(samples):
        return False
    size = np.abs(samples)
    peak = float(size.max())
    if int((size >= 0.985).sum()) >= max(8, len(samples) // 1000):
        return True
    if peak < 0.05:
        return False
    at_top = size >= peak * 0.9995
    runs = at_top[:-3] & at_top[1:-2] & at_top[2:-1] & at_top[3:]
    return int((runs[1:] & ~runs[:-1]).sum()) + int(runs[:1].sum()) >= 5


def is_narrow_band(samples: Samples) -> bool:
    """Whether nothing above 4.2 kHz was transmitted (telephone-grade headset, 8 kHz source).

    Compares the power in 4.2-7 kHz with that in 0.3-3.4 kHz, over frames of 32 ms.
    """
    frames = len(samples) // 512
    if frames < 4:
        return False
    window = np.hanning(512).astype(np.float32)
    shaped = samples[: frames * 512].reshape(frames, 512) * window
    power = (np.abs(np.fft.rfft(shaped, axis=1)) ** 2).sum(axis=0)
    width = RATE / 512
    low = float(power[int(300 / width) : int(3400 / width)].sum())
    high = float(power[int(4200 / width) : int(7000 / width)].sum())
    return low > 0.0 and high < low * _NARROW_BAND_RATIO


_NARROW_BAND_RATIO = 6e-5
"""-42 dB: real speech sampled at 16 kHz has 1 to 33 dB less there, resampled from 8 kHz over 90."""


def sound_flags(samples: Samples) -> frozenset[SoundFlag]:
    """Reasons for doubt that the samples themselves show: ``clipped``, ``narrow band``."""
    flags = set()
    if is_clipped(samples):
        flags.add(SoundFlag.CLIPPED)
    if is_narrow_band(samples):
        flags.add(SoundFlag.NARROW_BAND)
    return frozenset(flags)
