"""The loudspeaker, through sounddevice: one output stream, open all session and fed silence between sounds.

A device that is opened for each sound swallows its first 100 to 300 ms (seen with Bluetooth:
organicmaps/organicmaps#6846). The callback only copies; what is played waits in a queue.
"""

from __future__ import annotations

import contextlib
import threading
from collections import deque
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
import soxr
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.audio.microphone import BESIDE, load_sounddevice
from fieldlog.audio.playback import Playback, faded
from fieldlog.errors import AudioError

Samples = NDArray[np.float32]

_RATES = (RATE, 48_000, 44_100)


@dataclass(slots=True, eq=False)
class _Sound:
    """What is being played."""

    out: Samples
    """At the rate of the device."""
    samples: Samples
    """At ``RATE``."""
    name: str
    at: int = 0
    """Samples of ``out`` that were played."""


class Loudspeaker:
    """Plays samples in order; ``play`` never waits."""

    def __init__(self, *, backend: Any = None) -> None:
        """``backend``: a sounddevice; the default output device is taken."""
        self._sd = backend or load_sounddevice()
        self._stream: Any = None
        self._rate = RATE
        self._waiting: deque[_Sound] = deque()
        self.playback = Playback()
        """What is played, on the clock of the microphone's stream."""
        self._lock = threading.Lock()

    def __enter__(self) -> Self:
        """Open the stream; raises ``AudioError`` with the rates that were tried."""
        self._open()
        BESIDE.add(self)
        return self

    def _open(self) -> None:
        faults = []
        for rate in _RATES:
            try:
                self._stream = self._sd.OutputStream(
                    samplerate=rate, channels=1, dtype="float32", callback=self._fill
                )
                self._stream.start()
            except Exception as error:
                faults.append(f"{rate} Hz: {error}")
            else:
                self._rate = rate
                return
        raise AudioError(
            f"no sound can be played ({'; '.join(faults)})",
            todo="plug a loudspeaker or headset in, or listen with --say nothing",
        )

    def __exit__(self, *failed: object) -> None:
        """Close the stream; what still waits is not played."""
        BESIDE.discard(self)
        self.let_go()

    def let_go(self) -> None:
        """Close the stream; what waits stays, and is played once it is open again."""
        stream, self._stream = self._stream, None
        if stream is not None:
            with contextlib.suppress(Exception):
                stream.close()

    def take_up(self) -> None:
        """Open it again after the sound system started anew; silent where that is not possible."""
        with contextlib.suppress(AudioError):
            self._open()

    def play(self, samples: Samples, name: str = "") -> None:
        """Play mono float32 at ``RATE`` behind what waits already; ``name``: for ``playback``."""
        out = samples
        if self._rate != RATE:
            out = np.asarray(soxr.resample(samples, RATE, self._rate), np.float32)
        with self._lock:
            self._waiting.append(_Sound(out, samples, name))

    def cut(self) -> None:
        """Stop what has a name, faded out, and forget what waits with one; a tone is played to its end."""
        with self._lock:
            for sound in list(self._waiting):
                if sound.name and not sound.at:
                    self._waiting.remove(sound)
            head = self._waiting[0] if self._waiting else None
            if head is None or not head.name:
                return
            head.out = faded(head.out, head.at, self._rate)
            head.samples = faded(head.samples, round(head.at * RATE / self._rate), RATE)
            self.playback.shorten(head.samples, head.name)

    def is_playing(self) -> bool:
        """Whether anything still waits to be played."""
        with self._lock:
            return bool(self._waiting)

    def _fill(self, out: NDArray[np.float32], frames: int, time: object, status: object) -> None:
        out.fill(0.0)
        at = 0
        with self._lock:
            while at < frames and self._waiting:
                head = self._waiting[0]
                if not head.at:
                    self.playback.begins(head.samples, head.name, later_s=at / self._rate)
                taken = min(frames - at, len(head.out) - head.at)
                out[at : at + taken, 0] = head.out[head.at : head.at + taken]
                at += taken
                head.at += taken
                if head.at >= len(head.out):
                    self._waiting.popleft()
