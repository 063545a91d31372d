"""How a voice sounds, as a short vector: to tell whether it is the one that was heard before.

Mean and spread of the cepstrum over the voiced frames (no words, no recording: 48 numbers), turned by a
matrix in which the same voice's utterances lie as near as others (within-class covariance normalisation:
Hatch, Kajarekar and Stolcke, Interspeech 2006). ``python -m fieldlog.lab whose-voice`` fits and measures it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import FRAME, RATE, Clip
from fieldlog.listeners.whisper.features import HOP, log_mel

Vector = NDArray[np.float64]

LEAST_VOICED_S = 0.6
LEAST_DB = 12.0
"""Of the voice over what else is in the clip: in more noise the vector is of the noise."""
_BANDS, _ORDER = 80, 24
FILE = Path(__file__).with_name("timbre.npz")


@dataclass(frozen=True, slots=True, eq=False)
class Turning:
    """What turns the figures of a clip into a vector that can be compared."""

    mean: Vector
    scale: Vector
    matrix: Vector

    def vector(self, figures: Vector) -> Vector:
        """Of length 1."""
        turned: Vector = ((figures - self.mean) / self.scale) @ self.matrix
        return turned / max(float(np.linalg.norm(turned)), 1e-9)


def timbre(clip: Clip) -> Vector | None:
    """The vector of who speaks in ``clip``; None: too short, or too much else is heard."""
    figures = cepstral_figures(clip)
    return None if figures is None else shipped().vector(figures)


def cepstral_figures(clip: Clip) -> Vector | None:
    """Mean and spread of each of 24 cepstral coefficients over the voiced frames; None: see ``timbre``."""
    voiced = np.array([chance > 0.5 for chance in clip.voice], dtype=bool)
    voiced = voiced[: len(clip.samples) // FRAME]
    if not np.isfinite(clip.samples).all():
        return None
    if voiced.sum() * FRAME < LEAST_VOICED_S * RATE or voiced.all():
        return None
    frames = clip.samples[: len(voiced) * FRAME].reshape(-1, FRAME)
    power = np.mean(np.square(frames, dtype=np.float64), axis=1)
    other = max(float(np.median(power[~voiced])), 1e-12)
    if 10.0 * np.log10(float(power[voiced].mean()) / other) < LEAST_DB:
        return None
    mel = log_mel(clip.samples, _BANDS)
    at = np.minimum(np.arange(mel.shape[1]) * HOP // FRAME, len(voiced) - 1)
    spoken = mel[:, voiced[at]].T
    loud = spoken.mean(axis=1)
    cepstrum = spoken[loud > np.quantile(loud, 0.2)] @ _cosines().T
    return np.concatenate([cepstrum.mean(axis=0), cepstrum.std(axis=0)])


@cache
def _cosines() -> Vector:
    """The discrete cosine transform without its first row, which is loudness."""
    rows, bands = np.arange(1, _ORDER + 1)[:, None], np.arange(_BANDS)
    return np.asarray(np.cos(np.pi * rows * (bands + 0.5) / _BANDS), np.float64)


@cache
def shipped() -> Turning:
    """The one that is in the package."""
    with np.load(FILE) as file:
        return Turning(*(file[n].astype(np.float64) for n in ("mean", "scale", "matrix")))
