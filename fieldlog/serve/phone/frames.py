"""What a phone's page sends: frames of sound, each with where it belongs; what is missing shows (pure).

A frame is a header of 32 bytes and its samples, little-endian::

    4 bytes   "FLP1"
    uint32    CRC-32 of everything behind it, made when the sound was taken
    uint32    sequence number, from 0 in each stream
    uint32    number of samples
    float64   number of its first sample by the sound system's own count (``currentFrame``)
    float64   the phone's clock at its first sample, milliseconds since 1970
    int16...  samples, mono

A stream is one run of the phone's microphone. Its frames come in order; after a cut the phone sends
again from the first that was not acknowledged, so that a frame may come twice and counts once. A jump in the
sound system's count, a sequence number left out, or a frame whose sum is wrong is a gap: its length is told,
never closed in silence.
"""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeGuard

import numpy as np
from numpy.typing import NDArray

MAGIC = b"FLP1"
_HEADER = struct.Struct("<4sIIIdd")
HEADER_BYTES = _HEADER.size
_SUMMED_FROM = 8
MOST_SAMPLES = 9_600
"""Of one frame: 100 ms at 96 kHz."""
MOST_COUNTED = 2.0**53
_LATEST_MS = 4e12
"""The year 2096."""
RATES = range(8_000, 96_001)
"""Hertz that a phone may send."""


_STREAM = re.compile(r"[0-9a-f]{16,32}")
_CHANGED = {
    "echoCancellation": "echo cancellation",
    "noiseSuppression": "noise suppression",
    "autoGainControl": "gain control",
}
"""What was asked to be off, by the names of ``getSettings`` (W3C Media Capture and Streams)."""


class BadFrame(ValueError):
    """Bytes that are no frame of this stream; whoever sent them is cut off."""


@dataclass(frozen=True, slots=True, eq=False)
class PhoneFrame:
    """A tenth of a second of sound."""

    sequence: int
    first: float
    """Number of its first sample, by the count of the phone's sound system."""
    at_ms: float
    """The phone's clock at its first sample, milliseconds since 1970."""
    samples: NDArray[np.int16]
    whole: bool = True
    """Whether its sum is right; if not, its samples count for nothing."""


@dataclass(frozen=True, slots=True)
class Begun:
    """A run of the microphone as the phone tells of it."""

    stream: str
    rate: int
    oldest: int
    """The first frame that the phone still has."""
    inspection: str
    changes: tuple[str, ...]
    """What the browser does to the sound, though it was asked not to."""


def read_begun(said: Mapping[str, Any]) -> Begun:
    """The message that begins a stream, taken apart; raises ``BadFrame`` where it cannot be one."""
    name, rate, oldest = said.get("stream"), said.get("rate"), said.get("oldest")
    inspection, settings = said.get("inspection"), said.get("settings")
    if not (
        isinstance(name, str)
        and _STREAM.fullmatch(name)
        and type(rate) is int
        and type(oldest) is int
        and 0 <= oldest < 2**32
        and isinstance(inspection, str)
        and len(inspection) <= 64
    ):
        raise BadFrame("no stream begins like that")
    granted = settings if isinstance(settings, dict) else {}
    changes = tuple(what for key, what in _CHANGED.items() if granted.get(key) is True)
    return Begun(name, rate, oldest, inspection, changes)


def read_frame(data: bytes) -> PhoneFrame:
    """The frame in one binary message; raises ``BadFrame`` for anything else."""
    if len(data) < HEADER_BYTES or data[:4] != MAGIC:
        raise BadFrame("no frame of sound")
    _, told, sequence, count, first, at_ms = _HEADER.unpack_from(data)
    if not 0 < count <= MOST_SAMPLES or len(data) != HEADER_BYTES + 2 * count:
        raise BadFrame("a frame of another length than it says")
    if not (0 <= first < MOST_COUNTED and 0 <= at_ms < _LATEST_MS):  # no number is within either
        raise BadFrame("a frame from no instant")
    samples = np.frombuffer(data, dtype="<i2", offset=HEADER_BYTES).astype(np.int16)
    return PhoneFrame(sequence, first, at_ms, samples, zlib.crc32(data[_SUMMED_FROM:]) == told)


def write_frame(sequence: int, first: float, at_ms: float, samples: NDArray[np.int16]) -> bytes:
    """A frame as the page writes it; for tests and for programs that send sound themselves."""
    head = _HEADER.pack(MAGIC, 0, sequence, len(samples), first, at_ms)
    body = head[_SUMMED_FROM:] + samples.astype("<i2").tobytes()
    return MAGIC + struct.pack("<I", zlib.crc32(body)) + body


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """Sound of one frame that follows on what was taken before, but for ``missing_s``."""

    samples: NDArray[np.float32]
    """At the stream's rate, full scale +-1."""
    at_ms: float
    missing_s: float
    """Seconds of sound that should have been before it and never came; 0.0: none."""


class Intake:
    """The frames of one stream in order, each once."""

    def __init__(self, rate: int, *, begins: int = 0) -> None:
        """``rate``: the stream's, in hertz; ``begins``: sequence number of the first that is to come.

        Raises ``BadFrame`` for a rate that no microphone has.
        """
        if rate not in RATES:
            raise BadFrame("a rate that no microphone has")
        self._rate = rate
        self.next = begins
        """Sequence number of the frame that is waited for: all before it were taken."""
        self._first: float | None = None if begins else 0.0
        self._lost_s = 0.0

    def take(self, frame: PhoneFrame) -> Piece | None:
        """What ``frame`` adds; None for one that was taken already, or whose samples are damaged.

        Raises ``BadFrame`` for one that cannot follow on those before it: the count went back.
        """
        if frame.sequence < self.next:
            return None
        jumped = frame.sequence > self.next
        begun = self._first is None or (frame.sequence == 0 and self.next == 0)
        ahead = 0.0 if begun or self._first is None else frame.first - self._first
        if ahead < -0.5:
            raise BadFrame("sound from before what was already taken")
        seconds = len(frame.samples) / self._rate
        missing_s = self._lost_s
        if ahead > 0.5:
            missing_s = max(missing_s, ahead / self._rate)
        elif jumped:
            missing_s = max(missing_s, (frame.sequence - self.next) * seconds)
        self.next = frame.sequence + 1
        if not frame.whole:
            # What it said of itself is not believed either: the count goes on behind it.
            self._lost_s = missing_s + seconds
            return None
        self._lost_s = 0.0
        self._first = frame.first + len(frame.samples)
        return Piece(
            frame.samples.astype(np.float32) / np.float32(32_768.0), frame.at_ms, missing_s
        )


def is_clock(read: object) -> TypeGuard[float]:
    """Whether that is what a phone's clock can show, in milliseconds since 1970."""
    return isinstance(read, int | float) and 0 <= read < _LATEST_MS
