"""A run of a phone's microphone as it comes in: how far it is kept, and what waits to be."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from typing import Protocol

import numpy as np

from fieldlog.audio.clip import SoundFlag
from fieldlog.audio.source import Block
from fieldlog.serve.phone.sound import PhoneStream

_GAP = Block(np.zeros(0, dtype=np.float32), (), (SoundFlag.GAP,))


class Sender(Protocol):
    """Whoever sends it."""

    def drop(self, why: str) -> None:
        """Close the line, and say why."""


class Incoming:
    """A stream with how far it is kept; ``keep``: where, when it is not of this inspection."""

    def __init__(self, stream: PhoneStream, keep: Callable[[Block], None] | None) -> None:
        """Nothing of it came yet."""
        self.stream = stream
        self.keep = keep
        self.kept = stream.next
        """All frames before it are on this machine's disk."""
        self.by: Sender | None = None
        """The line it comes on; None while there is none."""
        self.over = False
        """Whether all of it came."""
        self._parted = False
        """Whether another one was heard since."""
        self.behind: deque[tuple[Block, int]] = deque()
        """What came and is not handed over yet (no room, a full disk), each with how far it is behind it.

        The frames are counted: the phone sends on behind them, so a line that ends takes none of it away.
        """
        self._one = threading.Lock()

    def came(self, blocks: list[Block]) -> None:
        """Blocks (one at least) made of the newest frame."""
        *first, last = blocks
        self.behind.extend((each, self.kept) for each in first)
        self.behind.append((last, self.stream.next))

    def follows(self, other: Incoming | None) -> None:
        """It is heard from now on, behind ``other``: what that one was saying is cut off, unless it had ended.

        Where the rest of that comes later, its beginning lies before what was said here.
        """
        if other is not None and other is not self and not other.over:
            other._parted = True
            self.behind.appendleft((_GAP, self.kept))
        if self._parted:
            self._parted = False
            self.behind.extendleft((each, self.kept) for each in reversed(self.stream.parted()))

    def taken(self, reached: int) -> Callable[[], None]:
        """What is called when all before that frame is on the disk."""

        def told() -> None:
            self.kept = max(self.kept, reached)

        return told

    def keeps(self, keep: Callable[[Block], None]) -> None:
        """Keep all that waits, each once. Raises ``StoreError``: what is not kept goes on waiting."""
        with self._one:
            while self.behind:
                block, reached = self.behind[0]
                keep(block)
                self.behind.popleft()
                self.taken(reached)()
