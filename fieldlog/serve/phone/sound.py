"""One stream of a phone's sound as blocks for the capture: gaps filled, flagged and told, instants by its clock.

A gap is filled with silence of its length (at most ``MOST_FILLED_S``), so that what was said before and after
it stays where it was, and the utterances on both sides of it carry the flag that nothing accepts unasked. Holes
that the browser filled itself, and stalls that it tells nobody of, are found too.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE, SoundFlag
from fieldlog.audio.convert import NARROW_BAND_RATE, Converter
from fieldlog.audio.health import Notice, StreamHealth, Trouble
from fieldlog.audio.source import Block, narrow_band
from fieldlog.serve.phone.dropouts import Dropouts
from fieldlog.serve.phone.frames import Intake, PhoneFrame, Piece
from fieldlog.serve.phone.lag import Lag
from fieldlog.words import tell

MOST_FILLED_S = 2.0
"""More silence than ends any utterance."""
_TELLING_S = 0.03
"""A hole of this length may hold a sound of speech; a shorter one makes what was heard less sure."""
_CLOCK_EVERY_S = 30.0
"""How often the instant of a sample is told anew: two clocks part."""

Instant = Callable[[float], datetime | None]
"""When (aware) the phone's clock showed so many milliseconds; None while its clock is not known."""


class PhoneStream:
    """Frames of one run of a phone's microphone, turned into blocks."""

    def __init__(
        self, id: str, rate: int, instant: Instant, *, begins: int = 0, follows: bool = False
    ) -> None:
        """``begins``: sequence number from which it comes here; before it was taken elsewhere, or lost.

        ``follows``: whether another stream came before it. Raises ``BadFrame`` for a rate that no
        microphone has.
        """
        self.id = id
        self.rate = rate
        self.instant = instant
        self._intake = Intake(rate, begins=begins)
        self._cut, self._follows = begins > 0, follows
        self._converter = Converter(rate, 1)
        self._health = StreamHealth(rate, 0.0)
        self._dropouts = Dropouts(rate)
        self._lag = Lag(rate)
        self._fresh = True
        self._told_s = 0.0
        self._seconds = 0.0
        self.missing_s = 0.0
        """Seconds that never came, all gaps together."""

    @property
    def next(self) -> int:
        """Sequence number of the frame that is waited for."""
        return self._intake.next

    def blocks(self, frame: PhoneFrame) -> list[Block]:
        """What ``frame`` adds; empty for one that was taken already. Raises ``BadFrame``."""
        piece = self._intake.take(frame)
        if piece is None:
            return []
        gap = piece.missing_s > 0 or (self._fresh and self._cut)
        found = self._between(piece) if gap or self._fresh else []
        if found:
            self._lag = Lag(self.rate)
        stalled_s = self._lag.risen(piece.at_ms, len(piece.samples))
        self.missing_s += stalled_s
        began = None
        if found or stalled_s or self._seconds - self._told_s >= _CLOCK_EVERY_S:
            began, self._told_s = self.instant(piece.at_ms), self._seconds
        self._seconds += len(piece.samples) / self.rate
        self._fresh = False
        notices = tuple(self._health.arrived(piece.samples, piece.at_ms / 1000))
        marks = (SoundFlag.GAP,) if gap else ()
        hole_s = self._dropouts.ended_in(piece.samples)
        self.missing_s += hole_s
        if stalled_s or hole_s >= _TELLING_S:
            notices = (*notices, _gap(max(stalled_s, hole_s)))
        elif hole_s:
            marks = (*marks, SoundFlag.OVERFLOW)
        sound = self._converter.process(piece.samples[:, None])
        return [*found, Block(sound, notices, marks, began)]

    def rest(self) -> NDArray[np.float32]:
        """What the change of rate still holds; the next frame begins anew."""
        held, self._converter = self._converter.flush(), Converter(self.rate, 1)
        return held

    def ended(self, *, whole: bool) -> list[Block]:
        """What stands behind the last frame: silence, so that what was being said ends.

        ``whole``: it was stopped on purpose. Else the page was closed or died, and its last moment may be
        missing.
        """
        silence = Block(np.zeros(round(MOST_FILLED_S * RATE), dtype=np.float32))
        cut = () if whole else (Block(np.zeros(0, dtype=np.float32), (), (SoundFlag.GAP,)),)
        return [Block(self.rest()), *cut, silence]

    def parted(self) -> list[Block]:
        """What stands before its next frame where another phone was heard meanwhile: of what was being said
        here then, each half is a half."""
        self._told_s = self._seconds - _CLOCK_EVERY_S  # its next instant is none of the other's
        gap = Block(np.zeros(0, dtype=np.float32), (), (SoundFlag.GAP,))
        return [gap, Block(np.zeros(round(MOST_FILLED_S * RATE), dtype=np.float32)), gap]

    def _between(self, piece: Piece) -> list[Block]:
        """What stands before the first frame of a stream, or the first behind a gap."""
        notices: tuple[Notice, ...] = ()
        if self._fresh and self.rate <= NARROW_BAND_RATE:
            notices = (narrow_band(self.rate),)
        if piece.missing_s or self._cut:
            notices = (*notices, _gap(piece.missing_s))
        elif not self._follows:
            return [Block(np.zeros(0, dtype=np.float32), notices)]
        self.missing_s += piece.missing_s
        self._health = StreamHealth(self.rate, piece.at_ms / 1000)
        # Of another run of the microphone nobody knows how long ago it was: what was open has ended.
        silence_s = MOST_FILLED_S if self._fresh else min(piece.missing_s, MOST_FILLED_S)
        silence = np.zeros(round(silence_s * RATE), dtype=np.float32)
        at = self.instant(piece.at_ms)
        began = None if at is None else at - timedelta(seconds=silence_s)
        held = self.rest()
        return [Block(held), Block(silence, notices, (), began)]


def _gap(missing_s: float) -> Notice:
    lost = (
        f"{tell.seconds(missing_s)} of the phone's sound"
        if missing_s
        else "the phone's sound before this"
    )
    return Notice(
        Trouble.GAP,
        f"{lost} is missing: what was said around it is asked about, not taken as it is",
    )


def instant_of(at_ms: float, ahead_s: float) -> datetime:
    """When the phone's clock, ahead by ``ahead_s``, showed ``at_ms`` (milliseconds since 1970)."""
    return datetime.fromtimestamp(at_ms / 1000 - ahead_s, UTC)
