"""A second voice for words that nobody rendered (names, remarks): eSpeak NG, where it is installed."""

from __future__ import annotations

import importlib.util
from typing import Self

import numpy as np
import soxr
from numpy.typing import NDArray

from fieldlog.apart.frames import READY
from fieldlog.apart.process import Process
from fieldlog.audio.clip import RATE

START_S = 5.0
SAY_S = 1.0
"""A sentence that takes longer is not said: nobody waits for it."""
_LEVEL = 0.09
"""RMS of what is loud in it: that of the rendered voice."""


class OtherVoice:
    """eSpeak NG in a process of its own; says nothing more once that is gone."""

    def __init__(self) -> None:
        """Start it; use as a context manager."""
        self._process: Process | None = Process("fieldlog.apart.espeak:speaker", quiet=True)
        if self._process.answer(START_S) != READY:
            self._end()

    @staticmethod
    def is_there() -> bool:
        """Whether the extra ``speak`` is installed."""
        return importlib.util.find_spec("espeakng_loader") is not None

    def say(self, words: str, voice: str = "") -> NDArray[np.float32] | None:
        """``words`` as mono float32 at ``RATE``; None where nothing came.

        ``voice``: a language, or one of its voices ("de", "de+f2"), from here on.
        """
        if self._process is None:
            return None
        self._process.send([f"{voice}\0{words}".encode() if voice else words.encode()])
        answer = self._process.answer(SAY_S)
        if not isinstance(answer, bytes) or len(answer) <= 4:
            self._end()
            return None
        rate, sound = int.from_bytes(answer[:4], "big"), np.frombuffer(answer[4:], "<i2")
        scaled = soxr.resample(sound.astype(np.float32) / 32_768.0, rate, RATE)
        loud = scaled[np.abs(scaled) > 0.02]
        if not len(loud):
            return None
        gain = _LEVEL / float(np.sqrt(np.mean(np.square(loud))))
        return np.asarray(np.clip(scaled * gain, -0.9, 0.9), np.float32)

    def __enter__(self) -> Self:
        """The voice itself."""
        return self

    def __exit__(self, *failed: object) -> None:
        """End its process."""
        self._end()

    def _end(self) -> None:
        process, self._process = self._process, None
        if process is not None:
            process.end()
