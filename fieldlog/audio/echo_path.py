"""What we played ourselves, taken out of a stretch of the microphone that is there as a whole (pure).

A canceller that runs along knows only what came before, and takes some of a voice with the echo. For the ear the
whole utterance is there, and the second before it, in which only we were heard: the way from the loudspeaker through the
room is fitted to all of it at once, and what is taken out is linear in what we played, so that a voice is left
as it was.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE

Samples = NDArray[np.float32]
Spectrum = NDArray[np.complex64]

LATEST = RATE // 2
"""Samples by which the microphone gives back at most later what was played: a Bluetooth loudspeaker takes 0.4 s."""
TAPS = RATE // 5
"""Of the way from where the echo begins on; later reflections are 20 dB below it in a workshop."""
LONGEST = 6 * RATE
"""Samples to which one way is fitted."""
_AGAIN = 2 * RATE
"""Of those before them that are used with them."""
_EARLY = RATE // 200
"""Taps before the strongest one."""
_HEAD_S = 0.02
"""In which early reflections are expected to be as strong as the first."""
_FADES_S = 0.35
"""In which the power of a room's taps is expected to fade by 60 dB behind that."""
_PRIOR = 0.05
"""Of the power that the taps are expected to have together, were all of the microphone an echo."""
_EMPHASIS = np.float32(0.9)
"""Speech is fainter the higher it is: both sides are flattened by a first difference."""
_WINDOW = RATE // 64
_FLOOR = 1e-4
"""Of the mean power: what is left nowhere counts for less."""
_EXPLAINS = 1.25
"""Least power over what is left of it, both as they were weighed: of an echo 6 dB below a voice, itself 15 dB over the
noise, 1.15 to 14 (in 9 of 10 more than 1.4), clean 7 to 140; where nothing came back (a headset) at most 1.17, in noise
mostly below 1.2."""
_ROUNDS = 3
_STEPS = 20
_ENOUGH = 1e-6


def without_played(microphone: Samples, played: Samples) -> Samples:
    """``microphone`` without the echo of ``played``: both mono at ``RATE``, as long, from the same instant on.

    Where nothing was played, or what was played explains nothing of it (a headset), that is ``microphone`` itself.
    What is longer than ``LONGEST`` is cleared piece by piece: one takes 0.15 s at most.
    """
    parts = []
    for begin in range(0, len(microphone), LONGEST):
        part = slice(max(0, begin - _AGAIN), begin + LONGEST)
        parts.append(_cleared(microphone[part], played[part])[begin - part.start :])
    return np.concatenate(parts) if len(parts) > 1 else parts[0] if parts else microphone


def _cleared(microphone: Samples, played: Samples) -> Samples:
    """``without_played`` of so much that one way is fitted to it.

    Taps by weighted least squares with a prior that fades as a room does, solved by conjugate gradients; each
    window weighs by the inverse of the power that was left in it the round before, so that it counts little where
    somebody speaks, and most where only we are heard.
    """
    sounded = np.flatnonzero(played)
    part = slice(sounded[0], sounded[-1] + LATEST + TAPS) if len(sounded) else slice(0)
    if not microphone[part].any():
        return microphone
    before, rest = microphone[: part.start], microphone[part.stop :]  # no echo lies in them
    microphone, played = microphone[part], played[part]
    count = len(microphone)
    behind = min(count, max(0, delay(microphone, played) - _EARLY))
    late = np.zeros(count, np.float32)
    late[behind:] = played[: count - behind]
    near, size = _flat(microphone), _fast(count + TAPS)
    far = _spectrum(_flat(late), size)
    scale = _fading(_PRIOR * _mean_power(near) / max(_mean_power(_flat(late)), 1e-20))
    floor = max(_FLOOR * _mean_power(near), 1e-20)
    taps, left = np.zeros(TAPS, np.float32), near
    for _ in range(_ROUNDS):
        taps = _fitted(far, near, _weight(left, floor), scale, size, taps)
        left = np.subtract(near, _through(far, scale * taps, size, count))
    weight = _weight(left, floor)
    if weight @ np.square(near) > _EXPLAINS * (weight @ np.square(left)):
        echo = _through(_spectrum(late, size), scale * taps, size, count)
        microphone = np.subtract(microphone, echo)
    return np.asarray(np.concatenate([before, microphone, rest]), np.float32)


def delay(microphone: Samples, played: Samples) -> int:
    """Samples by which ``microphone`` gives back ``played``, up to ``LATEST``: where they are most alike.

    Cross-correlation, its spectrum flattened in part (generalised: Knapp and Carter, IEEE Trans. ASSP 24(4), 1976).
    """
    size = _fast(len(microphone) + LATEST)
    both = np.fft.rfft(microphone, size) * np.fft.rfft(played, size).conj()
    alike = np.fft.irfft(both / (np.abs(both) ** np.float32(0.7) + np.float32(1e-12)), size)
    return int(np.argmax(np.abs(alike[:LATEST])))


def _fitted(
    far: Spectrum, near: Samples, weight: Samples, scale: Samples, size: int, begin: Samples
) -> Samples:
    """The taps, in units of ``scale``, that explain ``near`` best, from ``begin`` on."""

    def normal(taps: Samples) -> Samples:
        heard = _through(far, scale * taps, size, len(near))
        return scale * _back(far, weight * heard, size) + taps

    wanted = scale * _back(far, weight * near, size)
    taps, left = begin, wanted - normal(begin)
    step, power = left, float(left @ left)
    least = _ENOUGH * float(wanted @ wanted)
    for _ in range(_STEPS):
        if power <= least:
            break
        moved = normal(step)
        share = np.float32(power / float(step @ moved))
        taps, left = taps + share * step, left - share * moved
        before, power = power, float(left @ left)
        step = left + np.float32(power / before) * step
    return taps


def _spectrum(sound: Samples, size: int) -> Spectrum:
    return np.asarray(np.fft.rfft(sound, size), np.complex64)


def _through(far: Spectrum, taps: Samples, size: int, count: int) -> Samples:
    return np.asarray(np.fft.irfft(far * np.fft.rfft(taps, size), size)[:count], np.float32)


def _back(far: Spectrum, heard: Samples, size: int) -> Samples:
    return np.asarray(np.fft.irfft(far.conj() * np.fft.rfft(heard, size), size)[:TAPS], np.float32)


def _fading(power: float) -> Samples:
    """What each tap is expected to be, as a root of its power; ``power``: of all of them."""
    behind_s = np.maximum(0.0, (np.arange(TAPS) - _EARLY) / RATE - _HEAD_S)
    fades = 10.0 ** (-6.0 * behind_s / _FADES_S)
    return np.asarray(np.sqrt(power * fades / fades.sum()), np.float32)


def _flat(sound: Samples) -> Samples:
    return np.append(sound[:1], sound[1:] - _EMPHASIS * sound[:-1]).astype(np.float32, copy=False)


def _weight(left: Samples, floor: float) -> Samples:
    """The inverse of the mean power in the window round each sample."""
    half = _WINDOW // 2
    padded = np.pad(np.square(left, dtype=np.float64), (half, _WINDOW - half))
    summed = np.cumsum(np.append(0.0, padded))
    mean = (summed[_WINDOW:] - summed[:-_WINDOW])[: len(left)] / _WINDOW
    return np.asarray(1.0 / (np.maximum(mean, 0.0) + floor), np.float32)


def _mean_power(sound: Samples) -> float:
    return float(np.mean(np.square(sound, dtype=np.float64))) if len(sound) else 0.0


def _fast(count: int) -> int:
    """The least size of 2, 3 and 5 alone that holds ``count``: others take the Fourier transform longer."""
    return min(
        odd << max(0, (-(-count // odd) - 1).bit_length())
        for odd in (1, 3, 5, 9, 15, 25, 27, 45, 75)
    )
