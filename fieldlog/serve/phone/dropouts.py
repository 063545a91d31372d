"""Holes that a browser filled with zeros and told nobody of: found by their edges (pure).

A microphone's sound is never exactly zero for milliseconds between samples that are loud; a headset that
switches silence in fades it. What begins or ends at full swing was cut.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_LEAST_S, _MOST_S = 0.004, 0.25
"""Shorter ones are samples that are zero by chance, longer ones a switch or a mute, which is told otherwise."""
_ABRUPT = 0.01
"""Of full scale, within ``_BESIDE`` samples of either edge."""
_BESIDE = 16


class Dropouts:
    """Looks through a stream block by block."""

    def __init__(self, rate: int) -> None:
        """``rate`` in hertz."""
        self._rate = rate
        self._zeros = 0
        self._before = np.zeros(_BESIDE, dtype=np.float32)

    def ended_in(self, block: NDArray[np.float32]) -> float:
        """Seconds of the holes that end in ``block``, all together; 0.0: none."""
        there = np.flatnonzero(block)
        if not len(there):
            self._zeros += len(block)
            return 0.0
        runs = np.concatenate([[self._zeros + there[0]], np.diff(there) - 1])
        seconds = runs / self._rate
        lost = 0
        for k in np.flatnonzero((seconds >= _LEAST_S) & (seconds <= _MOST_S)):
            end = int(there[k])
            begin = end - int(runs[k])
            before = block[max(0, begin - _BESIDE) : begin] if begin > 0 else self._before
            beside = np.abs(np.concatenate([before, block[end : end + _BESIDE]]))
            lost += int(runs[k]) if float(beside.max()) >= _ABRUPT else 0
        last = int(there[-1]) + 1
        self._zeros = len(block) - last
        self._before = block[max(0, last - _BESIDE) : last]
        return lost / self._rate
