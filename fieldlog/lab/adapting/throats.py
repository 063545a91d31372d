"""Other people and other engines, made of those that there are: a batch of takes at once (PyTorch).

No more voices are to be had than those of the training part, so their sound is taken apart and put
together otherwise. In the short-time spectrum ``X`` of a take (32 ms, every 8 ms) the spectral envelope
``E`` is what the lowest quefrencies of the real cepstrum make (Oppenheim and Schafer 1968), the fine
structure is ``X / E``. Each of these for a share of the takes:

- **Formants apart from pitch**: the envelope is stretched along frequency by 0.82 to 1.22, as a shorter or
  longer vocal tract does, the fine structure stays: ``X(f) E(f / b) / E(f)``. What is played faster or
  slower beforehand (``CardBatches``) has another pitch and another tempo; with the envelope moved back
  only these are changed. Takes are spoken at rates of their own, so tempo is apart from both.
- **What engines do badly**: an envelope smoothed over time and frequency (statistical ones average), a fine
  structure made flatter or more peaked (buzz), or partly noise above some frequency (vocoders), an
  amplitude that ripples, a spectrum tilted by up to 6 dB an octave, nothing above 4 to 7 kHz.

Strengths are common practice, not measured of particular engines.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE

Numbers = NDArray[np.float64]

_POINTS, _HOP = 512, 128
_BINS = _POINTS // 2 + 1
_ENVELOPE, _SMOOTH = 48, 18
"""Quefrencies (1/16 ms) up to which the envelope goes, and a smoothed one; a voice of 330 Hz is at 48."""
_FRAMES = 9
"""Frames over which a smoothed envelope is averaged: 72 ms."""
_MOST = 2.8
"""No part of the spectrum is changed by more nepers (24 dB)."""
_FLOOR = 1e-4
_RAYLEIGH = 0.2886
"""Half of Euler's constant: so many nepers lies the mean logarithm of complex noise below its level."""
TRACTS = (0.82, 1.22)


@dataclass(frozen=True, slots=True)
class Throats:
    """How each take of a batch is changed: ``[takes]`` each; ``unchanged`` leaves everything as it is."""

    envelope: Numbers
    """The envelope is stretched along frequency by this factor."""
    smoothed: Numbers
    """Share of the smoothed envelope, 0 to 1."""
    peaked: Numbers
    """Factor on the logarithm of the fine structure: below 1 it is flatter, above 1 it buzzes."""
    noise: Numbers
    """Share of the power that is noise, above ``noise_from`` hertz."""
    noise_from: Numbers
    tilt: Numbers
    """dB an octave around 1 kHz."""
    edge: Numbers
    """Hertz above which little is left."""
    ripple: Numbers
    """Depth in nepers of an amplitude that swings ``ripple_hz`` times a second."""
    ripple_hz: Numbers

    @property
    def changes(self) -> NDArray[np.bool_]:
        """Which takes are changed at all."""
        still = unchanged(len(self.envelope))
        pairs = ((getattr(self, name), getattr(still, name)) for name in _CHANGING)
        changed: NDArray[np.bool_] = np.any([mine != theirs for mine, theirs in pairs], axis=0)
        return changed


_CHANGING = ("envelope", "smoothed", "peaked", "noise", "tilt", "edge", "ripple")


def unchanged(takes: int) -> Throats:
    """Nothing is changed."""
    one, none, far = np.ones(takes), np.zeros(takes), np.full(takes, 1e9)
    return Throats(one, none, one, none, far, none, far, none, one)


def drawn(rng: np.random.Generator, speeds: Numbers, speech: NDArray[np.bool_]) -> Throats:
    """Throats at random for takes that are played ``speeds`` times as fast; only ``speech`` is changed.

    The envelope comes to lie at ``TRACTS`` times that of the take, however fast it is played.
    """
    takes = len(speeds)

    def some(share: float, low: float, high: float, otherwise: float) -> Numbers:
        chosen = speech & (rng.random(takes) < share)
        return np.where(chosen, rng.uniform(low, high, takes), otherwise)

    least, most = np.log(TRACTS)
    tracts = np.exp(rng.uniform(float(least), float(most), takes)) / speeds
    return Throats(
        np.where(speech & (rng.random(takes) < 0.5), tracts, 1.0),
        some(0.2, 0.2, 1.0, 0.0),
        np.where(rng.random(takes) < 0.6, some(0.25, 0.3, 0.9, 1.0), some(0.25, 1.1, 1.5, 1.0)),
        some(0.2, 0.2, 0.9, 0.0),
        rng.uniform(500, 5000, takes),
        some(0.35, -6.0, 6.0, 0.0),
        some(0.15, 4000, 7000, 1e9),
        some(0.15, 0.1, 0.45, 0.0),
        rng.uniform(4.0, 30.0, takes),
    )


def changed(torch: Any, sound: Any, throats: Throats, random: Any) -> Any:
    """``sound`` ``[takes, samples]`` from such throats; ``random`` is a generator of the same device."""
    device, length = sound.device, sound.shape[1]

    def column(values: Numbers) -> Any:
        return torch.as_tensor(values, dtype=torch.float32, device=device)[:, None, None]

    window = torch.hann_window(_POINTS, device=device)
    spectrum = torch.stft(sound, _POINTS, _HOP, window=window, return_complex=True)
    size = spectrum.abs()
    log = (size + _FLOOR * size.amax((1, 2), keepdim=True) + 1e-9).log()
    cepstrum = torch.fft.irfft(log, _POINTS, dim=1)
    envelope, broad = (_low_part(torch, cepstrum, most) for most in (_ENVELOPE, _SMOOTH))
    broad = torch.nn.functional.avg_pool1d(
        broad, _FRAMES, stride=1, padding=_FRAMES // 2, count_include_pad=False
    )
    wanted = envelope + column(throats.smoothed) * (broad - envelope)
    wanted = _stretched(torch, wanted, column(throats.envelope))
    hertz = torch.linspace(0, RATE / 2, _BINS, device=device)[None, :, None]
    octaves = (hertz.clamp(min=100.0) / 1000.0).log2()
    shape = column(throats.tilt) * octaves * (np.log(10) / 20)
    shape = shape - 0.5 * torch.log1p((hertz / column(throats.edge)) ** 16)
    at = torch.arange(size.shape[2], device=device)[None, None] * (_HOP / RATE)
    ripple = (2 * np.pi * (column(throats.ripple_hz) * at)).sin() * column(throats.ripple)
    gain = wanted - envelope + (column(throats.peaked) - 1.0) * (log - envelope)
    gain = gain.clamp(-_MOST, _MOST) + shape + ripple
    share = column(throats.noise) * torch.sigmoid((hertz - column(throats.noise_from)) / 200.0)
    white = torch.view_as_complex(
        torch.randn((*spectrum.shape, 2), generator=random, device=device) * 0.5**0.5
    )
    breath = white * (wanted + shape + ripple + _RAYLEIGH).exp()
    loud = size > 3 * _FLOOR * size.amax((1, 2), keepdim=True)
    mixed = spectrum * gain.exp() * (1.0 - share).sqrt() + breath * loud * share.sqrt()
    other = torch.istft(mixed, _POINTS, _HOP, window=window, length=length)
    chosen = torch.as_tensor(throats.changes, device=device)[:, None]
    return torch.where(chosen, other, sound)


def _low_part(torch: Any, cepstrum: Any, most: int) -> Any:
    """The logarithm of the spectrum that the quefrencies below ``most`` make."""
    quefrency = torch.arange(_POINTS, device=cepstrum.device)
    near = torch.minimum(quefrency, _POINTS - quefrency)
    taper = ((most - near) / (most / 3)).clamp(0.0, 1.0)
    return torch.fft.rfft(cepstrum * taper[None, :, None], dim=1).real


def _stretched(torch: Any, envelope: Any, factor: Any) -> Any:
    """``envelope`` ``[takes, bins, frames]`` stretched along frequency by ``factor`` ``[takes, 1, 1]``."""
    where = torch.arange(_BINS, device=envelope.device)[None, :, None] / factor
    where = where.clamp(max=_BINS - 1)
    left = where.floor().clamp(max=_BINS - 2)
    part = where - left
    at = left.to(torch.int64).expand(-1, -1, envelope.shape[2])
    return envelope.gather(1, at) * (1 - part) + envelope.gather(1, at + 1) * part
