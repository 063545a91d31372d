"""Tells when somebody begins to speak, or speaks up over one who is fainter: a radio (pure)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE

_WINDOW = RATE // 10
_LOUDER = 4.0
"""Of power: so much louder (6 dB) than all of the open utterance before is somebody else, and nearer."""


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
