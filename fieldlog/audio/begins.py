"""Tells when somebody begins to speak, or speaks up over one who is fainter: a radio (pure)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE

_WINDOW = RATE // 10
_LOUDER = 4.0
"""Of power: so much louder (6 dB) than all of the open utterance before is somebody else, and nearer."""

_VOICED = 0.5
_BETWEEN = 24
"""Frames of silence between two words of one utterance that are gone back over: as long as ends one."""
_IN_FRONT = 10
"""Frames that are kept before the first voiced one, as an endpointer does."""


def frames_before(voice: Sequence[float], power: Sequence[float], least: float) -> int:
    """How many frames before an utterance are of it: somebody spoke in them who was only known later.

    ``voice`` and ``power``: of the frames before it, the nearest last; ``least``: what is fainter is
    somebody else, or what is left of us.
    """
    count = first = len(voice)
    for n in reversed(range(count)):
        if voice[n] > _VOICED and power[n] > least:
            first = n
        elif min(first, count) - n > _BETWEEN:
            break
    return min(count, count - first + _IN_FRONT) if first < count else 0


class Begins:
    """Fed what the endpointer is fed, and whether an utterance is open behind it."""

    def __init__(self) -> None:
        """Nobody speaks."""
        self._speaking = False
        self._power = self._loudest = 0.0
        self._count = 0

    def push(self, samples: NDArray[np.float32], *, speaking: bool, ended: bool = False) -> bool:
        """Whether somebody begins in these ``samples``; ``ended``: whether an utterance ended in them."""
        begins = speaking and (ended or not self._speaking)
        self._speaking = speaking
        if begins:
            self._power, self._count, self._loudest = 0.0, 0, 0.0
        self._power += float(np.sum(np.square(samples, dtype=np.float64)))
        self._count += len(samples)
        if self._count < _WINDOW:
            return begins
        power = self._power / self._count
        louder = speaking and 0.0 < self._loudest * _LOUDER < power
        self._loudest = max(self._loudest, power)
        self._power, self._count = 0.0, 0
        return begins or louder
