"""Sound that a browser left out without a trace: its clock goes on, its samples do not (pure).

A starved audio thread stops; the microphone's sound of that time is thrown away, no count jumps and nothing
is filled in (met in a real Chromium on a busy machine: whole phrases were gone). But each frame has the phone's
clock beside its number of samples. A frame may be late, never early: where it comes later, against the
soonest of the last seconds, than any buffer explains, something is missing.
"""

from __future__ import annotations

from collections import deque

_RISES_S = 0.15
"""More than the buffers of sound systems make it jump (some 20 to 100 ms; common practice)."""
_WITHIN_S = 10.0
"""Two clocks part by a millisecond in that time."""


class Lag:
    """Holds the frames of one stream against the phone's clock."""

    def __init__(self, rate: int) -> None:
        """``rate`` in hertz."""
        self._rate = rate
        self._samples = 0
        self._recent: deque[tuple[float, float]] = deque()

    def risen(self, at_ms: float, count: int) -> float:
        """Seconds that are missing before a frame of ``count`` samples from ``at_ms``; 0.0: none."""
        position = self._samples / self._rate
        behind = at_ms / 1000 - position
        self._samples += count
        while self._recent and self._recent[0][0] < position - _WITHIN_S:
            self._recent.popleft()
        soonest = min((each for _, each in self._recent), default=behind)
        missing_s = behind - soonest
        if missing_s <= _RISES_S:
            missing_s = 0.0
        else:
            self._recent.clear()
        self._recent.append((position, behind))
        return missing_s
