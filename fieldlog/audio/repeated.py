"""What is told of a notice that comes again and again: the first, and then a count (pure)."""

from __future__ import annotations

from collections.abc import Callable

from fieldlog.audio.health import Notice, Trouble

AGAIN_S = 30.0
"""Seconds after which a trouble that goes on is told again."""
COUNTED = frozenset({Trouble.OVERFLOW})
"""Troubles whose notices count themselves; every other notice is news."""


class Repeated:
    """Lines for a person: a thousand notices of dropped sound are one line, and one with their number."""

    def __init__(self, clock: Callable[[], float]) -> None:
        """``clock`` gives seconds."""
        self._clock = clock
        self._told_at: dict[Trouble, float] = {}
        self._kept: dict[Trouble, str] = {}

    def line(self, notice: Notice) -> str | None:
        """What to tell now; None where the line before says it well enough for the moment."""
        if notice.trouble not in COUNTED:
            return notice.text
        now = self._clock()
        if now - self._told_at.get(notice.trouble, -AGAIN_S) < AGAIN_S:
            self._kept[notice.trouble] = notice.text
            return None
        self._told_at[notice.trouble] = now
        self._kept.pop(notice.trouble, None)
        return notice.text

    def rest(self) -> tuple[str, ...]:
        """What was not told yet, the newest of each, at the end."""
        kept, self._kept = tuple(self._kept.values()), {}
        return kept
