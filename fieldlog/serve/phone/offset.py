"""The phone's clock against this machine's, measured over the connection (pure).

This machine notes when it asks and when the answer is there, the phone when it got the question and when
it answered. The phone's clock was then ahead by half the sum of the two differences, and that is wrong by
at most half of the time on the way, however that is divided (F. Cristian, "Probabilistic clock
synchronization", 1989; RFC 5905, section 8). The round with the least of it counts, and is doubted more as it ages.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

DRIFT = 1e-4
"""How far two clocks of crystals may part: 100 millionths (common practice; most are within 50)."""
READING_S = 0.001
"""The phone's clock shows milliseconds."""
_KEPT = 32


@dataclass(frozen=True, slots=True)
class Round:
    """One question and its answer; seconds since 1970, each by its own clock."""

    asked: float
    """This machine, as it asked."""
    got: float
    """The phone, as it got that."""
    replied: float
    """The phone, as it answered."""
    back: float
    """This machine, as the answer was there."""


@dataclass(frozen=True, slots=True)
class Ahead:
    """By how much the phone's clock is ahead of this machine's, in seconds, and how sure that is."""

    seconds: float
    uncertainty_s: float
    """Half width: it is not wrong by more, unless a clock was set meanwhile."""
    rounds: int
    """How many it was chosen of."""


class ClockAhead:
    """Measures one phone's clock, round by round."""

    def __init__(self) -> None:
        """Nothing is known yet."""
        self._rounds: deque[tuple[float, float, float]] = deque(maxlen=_KEPT)

    def add(self, one: Round) -> bool:
        """Take a round; False for one that cannot be (it was answered before it was asked).

        What was measured before a clock was set is dropped: the two rounds exclude each other.
        """
        way = (one.back - one.asked) - (one.replied - one.got)
        if one.back < one.asked or one.replied < one.got or way < -2 * READING_S:
            return False
        seconds = ((one.got - one.asked) + (one.replied - one.back)) / 2
        doubt = max(way, 0.0) / 2 + READING_S
        if any(
            abs(seconds - old) > doubt + _aged(was, at, one.back) for at, old, was in self._rounds
        ):
            self._rounds.clear()
        self._rounds.append((one.back, seconds, doubt))
        return True

    def at(self, now: float) -> Ahead | None:
        """What is known at ``now`` (this machine, seconds since 1970); None before the first round."""
        if not self._rounds:
            return None
        at, seconds, doubt = min(self._rounds, key=lambda each: _aged(each[2], each[0], now))
        return Ahead(seconds, _aged(doubt, at, now), len(self._rounds))


def _aged(doubt: float, at: float, now: float) -> float:
    return doubt + DRIFT * abs(now - at)
