"""What is being played, on the clock of the microphone's stream: the far end of the echo (pure).

The loudspeaker says when each sound begins (``begins``); whoever takes the microphone's blocks asks
for the samples that sounded meanwhile, and for the sounds that an utterance overlaps.
"""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE

Samples = NDArray[np.float32]

KEPT = 64
"""Sounds that are remembered."""


@dataclass(frozen=True, slots=True)
class Sounding:
    """One sound that was played: mono float32 at ``RATE``, from ``start_s`` of the stream on."""

    start_s: float
    samples: Samples
    name: str
    """Whoever plays it knows it by this; "" for a tone."""

    @property
    def end_s(self) -> float:
        """When its last sample was played."""
        return self.start_s + len(self.samples) / RATE


class Playback:
    """Thread-safe: written by the loudspeaker, read by whoever listens."""

    def __init__(self, kept: int = KEPT) -> None:
        """Nothing was played yet, and the stream is at its beginning; ``kept``: sounds to remember."""
        self._lock = threading.Lock()
        self._sounds: deque[Sounding] = deque(maxlen=kept)
        self._position_s = 0.0

    @property
    def position_s(self) -> float:
        """How far the microphone's stream has come."""
        return self._position_s

    def at(self, position_s: float) -> None:
        """The microphone's stream has come so far (seconds of it)."""
        self._position_s = position_s

    def begins(self, samples: Samples, name: str, *, later_s: float = 0.0) -> Sounding:
        """``samples`` are played from now (or so much later) on, behind what is still sounding."""
        with self._lock:
            before = self._sounds[-1].end_s if self._sounds else 0.0
            sound = Sounding(max(self._position_s + later_s, before), samples, name)
            self._sounds.append(sound)
        return sound

    def shorten(self, samples: Samples, name: str) -> None:
        """What began last, where that is ``name``, is played no further than ``samples``."""
        with self._lock:
            if self._sounds and self._sounds[-1].name == name:
                self._sounds[-1] = replace(self._sounds[-1], samples=samples)

    def cut(self) -> None:
        """What has a name stops now, faded out, and what was to follow with one never begins."""
        with self._lock:
            while self._sounds and self._sounds[-1].name:
                last = self._sounds[-1]
                at = round((self._position_s - last.start_s) * RATE)
                if at > 0:
                    if at < len(last.samples):
                        self._sounds[-1] = replace(last, samples=faded(last.samples, at, RATE))
                    return
                self._sounds.pop()

    def named(self, name: str) -> Sounding | None:
        """The sound of that name; None where it did not begin yet."""
        with self._lock:
            return next((each for each in reversed(self._sounds) if each.name == name), None)

    def reference(self, start_s: float, count: int) -> Samples:
        """What was played in ``count`` samples of the stream from ``start_s`` on; silence between."""
        out = np.zeros(count, np.float32)
        with self._lock:
            sounds = tuple(self._sounds)
        for sound in sounds:
            at = round((sound.start_s - start_s) * RATE)
            begin, end = max(0, at), min(count, at + len(sound.samples))
            if begin < end:
                out[begin:end] += sound.samples[begin - at : end - at]
        return out

    def around(self, start_s: float, end_s: float, tail_s: float) -> tuple[Sounding, ...]:
        """Every sound that, with a tail for the room, overlaps that stretch of the stream."""
        with self._lock:
            return tuple(
                sound
                for sound in self._sounds
                if sound.start_s < end_s and start_s < sound.end_s + tail_s
            )


def faded(samples: Samples, at: int, rate: int) -> Samples:
    """``samples`` up to the one numbered ``at``, and 20 ms of the rest that fade."""
    kept = samples[: at + rate // 50].copy()
    count = len(kept) - at
    kept[at:] *= np.linspace(1.0, 0.0, count, dtype=np.float32)
    return kept
