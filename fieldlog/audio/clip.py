"""A stretch of mono sound at one known rate, as every listener takes it (pure)."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

RATE = 16_000
"""Hertz; every listener gets this rate, converted once at the edge."""
FRAME = 512
"""Samples of one frame of voice activity (32 ms)."""
FRAME_S = FRAME / RATE
"""Seconds of one."""
LEAD_S = 5 * FRAME_S
"""Of what came before an utterance that is heard with it where something was played."""


class SoundFlag(StrEnum):
    """What is the matter with the sound of an utterance. The value is kept."""

    OVERFLOW = "overflow"
    CLIPPED = "clipped"
    NARROW_BAND = "narrow band"
    CUT = "cut at maximum"
    CLOCK = "clock deviation"
    JOINED = "joined"
    """Two stretches that a pause had cut apart."""
    DAMAGED = "damaged"
    GAP = "gap in the sound"
    """Some of it never came, and nobody knows what was said there: never accepted unasked."""


@dataclass(frozen=True, slots=True, eq=False)
class Clip:
    """Samples of one utterance: float32, mono, full scale +-1, at ``RATE``."""

    samples: NDArray[np.float32]
    start_s: float = 0.0
    """Seconds from the start of the stream or file it was cut from."""
    flags: frozenset[SoundFlag] = field(default_factory=frozenset)
    voice: tuple[float, ...] = ()
    """Probability that each frame (``FRAME`` samples) from the start holds speech; empty: not known."""
    as_it_came: NDArray[np.float32] | None = None
    """As ``samples``, with what was played meanwhile still in it, and up to ``LEAD_S`` more of it in front (whole
    frames): the canceller takes the beginning of a voice with the echo. None: nothing was played."""

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.samples) / RATE

    def part(self, begin_s: float, end_s: float) -> Clip:
        """From ``begin_s`` to ``end_s`` (seconds from its start, cut at whole frames)."""
        first, last = max(0, int(begin_s / FRAME_S)), round(end_s / FRAME_S)
        samples = self.samples[first * FRAME : last * FRAME]
        start_s = self.start_s + first * FRAME_S
        return Clip(samples, start_s, self.flags, self.voice[first:last])

    def uncancelled(self, *, lead: bool) -> Clip:
        """The same ``as_it_came``; ``lead``: with what there is of it before its beginning."""
        came = self.samples if self.as_it_came is None else self.as_it_came
        frames = (len(came) - len(self.samples)) // FRAME if lead else 0
        samples = came[len(came) - len(self.samples) - frames * FRAME :]
        voice = ((0.0,) * frames + self.voice) if self.voice else ()
        return Clip(samples, self.start_s - frames * FRAME_S, self.flags, voice)

    @property
    def end_s(self) -> float:
        """Seconds from the start of the stream to the end of the clip."""
        return self.start_s + self.duration_s
