"""A phone as an ``AudioSource``: what its frames add, in order, for the same loop as a microphone's sound."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable, Iterator
from typing import Self

import numpy as np

from fieldlog.audio.clip import SoundFlag
from fieldlog.audio.health import Notice, Trouble
from fieldlog.audio.source import Block

Taken = Callable[[], None]
"""Called once the capture has taken a block: it is on disk as far as sound is kept."""

_MOST_WAITING = 600
"""Blocks; a minute of sound. Then the phone is not read any further, and keeps what it has."""
_POLL_S = 0.1
_AWAY_AFTER_S = 1.7
"""Without sound; what is told then is heard within two seconds."""
_NOTHING = np.zeros(0, dtype=np.float32)
QUIET = "nothing comes from the phone"
HIDDEN = "the page on the phone is not in front"
MUTED = "the phone's microphone is muted or taken by something else"
_KEPT = "what it still takes is kept there and comes later; bring the page to the front, stay within reach of the network"


class PhoneSource:
    """Blocks that the server puts in from its thread and the capture takes in its own."""

    live = True

    def __init__(self, name: str = "phone", *, clock: Callable[[], float] = time.monotonic) -> None:
        """``name``: what it is called until a phone says its own."""
        self.name = name
        self._clock = clock
        self._waiting: queue.Queue[tuple[Block, Taken | None]] = queue.Queue(_MOST_WAITING)
        self._stopped = threading.Event()
        self._lock = threading.Lock()
        self._told: list[Notice] = []
        self._listens = False
        self._away = ""
        self._heard = clock()

    def __enter__(self) -> Self:
        """Nothing is opened: a phone comes when it comes."""
        return self

    def __exit__(self, *failed: object) -> None:
        """Nothing is to be closed."""
        self.stop()

    def stop(self) -> None:
        """See ``AudioSource``."""
        self._stopped.set()

    @property
    def stopped(self) -> bool:
        """Whether nobody takes blocks any more."""
        return self._stopped.is_set()

    def put(self, block: Block, taken: Taken | None = None) -> bool:
        """Hand over a block; False when there is no room, and it is to be tried again."""
        try:
            self._waiting.put_nowait((block, taken))
        except queue.Full:
            return False
        return True

    def tell(self, notice: Notice) -> None:
        """Have a notice told with the next block, or soon without one."""
        with self._lock:
            self._told.append(notice)

    # -- is the phone there? ----------------------------------------------------------------------

    def begins(self) -> None:
        """A phone's microphone runs: from here on silence on the line is an alarm."""
        with self._lock:
            self._listens, self._heard = True, self._clock()

    def arrived(self) -> None:
        """A frame came, whether or not it adds anything."""
        with self._lock:
            self._heard = self._clock()
            self._back(QUIET)

    def ends(self) -> None:
        """Whoever holds the phone stopped it on purpose: nothing is missed."""
        with self._lock:
            self._listens, self._away = False, ""

    def away(self, why: str) -> None:
        """The alarm, once until it is over: the page is hidden, the microphone muted."""
        with self._lock:
            self._alarm(why)

    def here(self) -> None:
        """The page is in front and its microphone open, as it says itself."""
        with self._lock:
            self._back(HIDDEN, MUTED)

    def _alarm(self, why: str) -> None:
        if self._listens and not self._away:
            self._away = why
            self._told.append(Notice(Trouble.AWAY, f"{self.name}: {why}; {_KEPT}"))

    def _back(self, *over: str) -> None:
        if self._away in over:
            self._away = ""
            self._told.append(Notice(Trouble.BACK, f"{self.name} is heard again"))

    def _notices(self) -> tuple[Notice, ...]:
        with self._lock:
            if self._clock() - self._heard >= _AWAY_AFTER_S:
                self._alarm(QUIET)
            told, self._told = tuple(self._told), []
        return told

    def blocks(self) -> Iterator[Block]:
        """See ``AudioSource``. What is still waiting when ``stop`` comes is given too."""
        while True:
            stopped = self.stopped
            try:
                block, taken = self._waiting.get(timeout=0.0 if stopped else _POLL_S)
            except queue.Empty:
                notices = self._notices()
                if notices:
                    yield Block(_NOTHING, notices)
                if stopped:
                    if self._away:  # what was being said when the phone went goes on there
                        yield Block(_NOTHING, (), (SoundFlag.GAP,))
                    return
                continue
            notices = self._notices()
            if notices:
                yield Block(_NOTHING, notices)
            yield block
            if taken is not None:
                taken()
