"""Short signals for somebody who cannot look: what became of an utterance, by rhythm and contour (pure).

Each has a rhythm of its own, like the word it stands for ("sa-ved", "ques-tion?"), because melodies are not
learnt; four to five harmonics between 400 Hz and 3.4 kHz, so that it passes a headset and a noise hides at
most some of it; soft edges; no continuous sound (after the advice of IEC 60601-1-8:2020, annex D, on
auditory signals). Pitch alone tells none of them apart.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import StrEnum
from functools import cache
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE

Samples = NDArray[np.float32]


class Tone(StrEnum):
    """What a tone says."""

    SAVED = "saved"
    ASKED = "asked"
    BEYOND = "beyond"
    """Saved, and beyond its limit or dangerous."""
    NOT_UNDERSTOOD = "not understood"
    LOST = "microphone lost"
    """Nothing that is said is heard, or nothing of it can be kept."""


_Note = tuple[float, float, float, float]
"""Hz at its begin, Hz at its end, seconds, seconds of silence behind."""

_NOTES: Mapping[Tone, Sequence[_Note]] = MappingProxyType(
    {
        Tone.SAVED: ((620, 620, 0.07, 0.05), (830, 830, 0.14, 0.0)),
        Tone.ASKED: ((500, 500, 0.16, 0.09), (500, 840, 0.32, 0.0)),
        Tone.BEYOND: (
            *((760, 760, 0.11, 0.09),) * 3,
            (560, 560, 0.34, 0.12),
            *((760, 760, 0.11, 0.09),) * 3,
            (560, 560, 0.34, 0.0),
        ),
        Tone.NOT_UNDERSTOOD: ((540, 420, 0.42, 0.0),),
        Tone.LOST: (
            *((680, 680, 0.06, 0.04), (480, 480, 0.06, 0.04)) * 3,
            (680, 680, 0.06, 0.3),
            *((680, 680, 0.06, 0.04), (480, 480, 0.06, 0.04)) * 3,
        ),
    }
)
_HARMONICS = (1.0, 0.8, 0.65, 0.5, 0.4)
"""Of each note; those above 3.4 kHz are left out."""
_HIGHEST_HZ = 3400.0
_EDGE_S = 0.008
LEVEL = 0.4
"""Peak of a tone as it is rendered; full scale is 1."""


@cache
def tone(which: Tone) -> Samples:
    """The samples of a tone: mono float32 at ``RATE``, peak ``LEVEL``; not to be written to."""
    parts: list[NDArray[np.float64]] = []
    for begin_hz, end_hz, seconds, silence in _NOTES[which]:
        parts += [_note(begin_hz, end_hz, seconds), np.zeros(round(silence * RATE))]
    whole = np.concatenate(parts)
    made = np.asarray(whole * (LEVEL / np.abs(whole).max()), np.float32)
    made.flags.writeable = False
    return made


def _note(begin_hz: float, end_hz: float, seconds: float) -> NDArray[np.float64]:
    count = round(seconds * RATE)
    pitch = np.linspace(begin_hz, end_hz, count)
    phase = 2.0 * np.pi * np.cumsum(pitch) / RATE
    highest = max(begin_hz, end_hz)
    sound = np.zeros(count)
    for number, share in enumerate(_HARMONICS, start=1):
        if number * highest <= _HIGHEST_HZ:
            sound += share * np.sin(number * phase)
    edge = np.minimum(1.0, np.minimum(np.arange(count), np.arange(count)[::-1]) / (_EDGE_S * RATE))
    return np.asarray(sound * edge)
