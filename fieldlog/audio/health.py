"""What can be wrong with a live stream, from counts and clock readings alone (pure).

Times are seconds of a monotonic clock, given by the caller.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import SoundFlag


class Trouble(StrEnum):
    """Kinds of notice a source can give."""

    LOST = "microphone lost"
    BACK = "microphone back"
    RENAMED = "microphone changed"
    SILENT = "pure silence"
    OVERFLOW = "overflow"
    CLOCK = "clock deviation"
    TOO_LOUD = "too loud"
    NARROW = "narrow band"
    STAND_IN = "voice activity stand-in"
    RECORDING = "recording stopped"
    GAP = "gap in the sound"
    AWAY = "phone away"
    """Nothing comes from a phone: what it still takes is kept there and comes later, none of it lost."""


@dataclass(frozen=True, slots=True)
class Notice:
    """Something the user must be told, in one line."""

    trouble: Trouble
    text: str

    @property
    def flag(self) -> SoundFlag | None:
        """The flag it puts on the utterance it falls into, if any."""
        return {
            Trouble.OVERFLOW: SoundFlag.OVERFLOW,
            Trouble.CLOCK: SoundFlag.CLOCK,
            Trouble.LOST: SoundFlag.OVERFLOW,
            Trouble.RENAMED: SoundFlag.OVERFLOW,
            Trouble.GAP: SoundFlag.GAP,
        }.get(self.trouble)


ALARMS = frozenset({Trouble.LOST, Trouble.AWAY, Trouble.SILENT, Trouble.RENAMED})
"""Whoever speaks must know at once: nothing of it arrives, or not from the microphone that is meant."""

LOST_AFTER_S = 1.5
"""So that the alarm sounds within 2 s."""
FULL_SCALE = 0.985
CLIPPED_BLOCKS = 5
"""Blocks with samples at full scale within ``CLIPPED_WITHIN_S`` before that is said, once until it was
quiet about it for as long."""
CLIPPED_WITHIN_S = 10.0
SILENT_AFTER_S = 3.0
DEVIATION = 0.05
DEVIATION_AFTER_S = 1.5
"""Two stretches of so long, one after the other, must deviate the same way: what came late in one because the
machine was busy comes too early in the next.
"""


class StreamHealth:
    """Watches one stream: stalls, pure silence, a sample rate that is not what was promised."""

    def __init__(self, rate: int, started: float) -> None:
        """``rate`` is what the device promised, in hertz; ``started`` the clock reading."""
        self._rate = rate
        self._last = started
        self._zero_samples = 0
        self._said_silent = False
        self._window_from: float | None = None
        self._window_samples = 0
        self._deviated = 0.0
        self._said_clock = False
        self._clipped: deque[float] = deque(maxlen=CLIPPED_BLOCKS)
        self._said_loud = False
        self.lost = False

    def arrived(self, block: NDArray[np.float32], now: float) -> list[Notice]:
        """A block as the device gave it, any shape with samples first, at clock reading ``now``."""
        notices = []
        if self.lost:
            self.lost = False
            self._window_from = None
            notices.append(Notice(Trouble.BACK, "microphone is back"))
        self._last = now
        notices += self._silence(block)
        notices += self._deviation(len(block), now)
        notices += self._loudness(block, now)
        return notices

    def waited(self, now: float) -> list[Notice]:
        """Nothing has arrived up to clock reading ``now``."""
        if self.lost or now - self._last < LOST_AFTER_S:
            return []
        self.lost = True
        return [
            Notice(
                Trouble.LOST,
                f"microphone lost: no sound for {LOST_AFTER_S} s. What was said before is kept; "
                "plug it in again, listening goes on by itself",
            )
        ]

    def _silence(self, block: NDArray[np.float32]) -> list[Notice]:
        if np.any(block):
            self._zero_samples = 0
            self._said_silent = False
            return []
        self._zero_samples += len(block)
        if self._said_silent or self._zero_samples < SILENT_AFTER_S * self._rate:
            return []
        self._said_silent = True
        return [
            Notice(
                Trouble.SILENT,
                "microphone gives pure silence: permission or mute? (macOS: System Settings > "
                "Privacy & Security > Microphone; a switch on the headset; the mixer)",
            )
        ]

    def _loudness(self, block: NDArray[np.float32], now: float) -> list[Notice]:
        """Samples at full scale again and again: what is said is cut off at its loudest."""
        if len(block) and float(np.abs(block).max()) >= FULL_SCALE:
            self._clipped.append(now)
        elif self._clipped and now - self._clipped[-1] > CLIPPED_WITHIN_S:
            self._clipped.clear()
            self._said_loud = False
        often = len(self._clipped) == CLIPPED_BLOCKS
        if self._said_loud or not often or now - self._clipped[0] > CLIPPED_WITHIN_S:
            return []
        self._said_loud = True
        return [
            Notice(
                Trouble.TOO_LOUD,
                "the sound is too loud and cut off: turn the microphone down, or hold it further away",
            )
        ]

    def _deviation(self, samples: int, now: float) -> list[Notice]:
        """Samples against the clock over windows that start with the arrival of a block.

        The first block of a window only starts it: its samples were taken before it arrived.
        """
        if self._window_from is None:
            self._window_from, self._window_samples = now, 0
            return []
        self._window_samples += samples
        elapsed = now - self._window_from
        if elapsed < DEVIATION_AFTER_S:
            return []
        measured = self._window_samples / elapsed
        self._window_from, self._window_samples = now, 0
        before, self._deviated = self._deviated, measured / self._rate - 1.0
        if abs(self._deviated) <= DEVIATION:
            self._said_clock = False
            return []
        if self._said_clock or abs(before) <= DEVIATION or (before > 0) is not (self._deviated > 0):
            return []
        self._said_clock = True
        return [
            Notice(
                Trouble.CLOCK,
                f"microphone delivers {measured:.0f} samples a second instead of {self._rate}: "
                "times and recognition suffer; choose another device or rate",
            )
        ]


class StreamClock:
    """Which instant a position in the stream was: straight lines between noted pairs."""

    def __init__(self, started: datetime) -> None:
        """Position 0.0 s is ``started`` (aware)."""
        self._anchors: list[tuple[float, datetime]] = [(0.0, started)]

    def note(self, position_s: float, instant: datetime) -> None:
        """From ``position_s`` on (a gap ended), the stream runs from ``instant``."""
        self._anchors.append((position_s, instant))

    def instant(self, position_s: float) -> datetime:
        """The UTC instant of ``position_s``."""
        anchor = [pair for pair in self._anchors if pair[0] <= position_s][-1:] or self._anchors[:1]
        at, instant = anchor[0]
        return instant + timedelta(seconds=position_s - at)
