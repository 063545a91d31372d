"""Where live sound comes from: one small protocol, and a source that plays a file as if spoken."""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Protocol, Self

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE, SoundFlag
from fieldlog.audio.files import open_audio
from fieldlog.audio.health import Notice, Trouble


@dataclass(frozen=True, slots=True)
class Block:
    """Sound that arrived, mono at ``RATE`` (may be empty), and what has to be said about it."""

    samples: NDArray[np.float32]
    notices: tuple[Notice, ...] = ()
    marks: tuple[SoundFlag, ...] = ()
    """What the utterance that holds its first sample carries, without a notice."""
    began: datetime | None = None
    """When its first sample was (aware), where that is known better than from when it arrives."""


class AudioSource(Protocol):
    """A stream of sound that begins with ``with`` and ends by itself or after ``stop``."""

    name: str
    """What the user calls it: the device's or the file's name."""
    live: bool
    """Whether sound that nobody fetches is lost (a microphone) or waits (a file)."""

    def __enter__(self) -> Self:
        """Open it; raises ``AudioError``."""
        ...

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close it."""
        ...

    def blocks(self) -> Iterator[Block]:
        """Blocks until the source ends or ``stop`` was called. Never blocks for long."""
        ...

    def stop(self) -> None:
        """End the stream soon; may be called from a signal handler or another thread."""
        ...


class FileSource:
    """Plays a file as a live stream: at its own speed, or as fast as it is taken."""

    def __init__(
        self,
        path: Path | str,
        *,
        fast: bool = False,
        block_s: float = 0.1,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        """Name a file of any kind that ``open_audio`` reads; ``block_s`` as a device would give."""
        self._audio = open_audio(path)
        self.name = str(path)
        self.live = not fast
        self._sound = self._audio.blocks(block_s)
        self._first: tuple[NDArray[np.float32], ...] = ()
        self._clock, self._sleep = clock, sleep
        self._stopped = False

    def __enter__(self) -> Self:
        """Decode the first block, so that a file without any sound in it is refused here."""
        self._first = tuple(itertools.islice(self._sound, 1))
        return self

    def __exit__(self, *failed: object) -> None:
        """Close the file."""
        self._audio.close()

    def stop(self) -> None:
        """See ``AudioSource``."""
        self._stopped = True

    def blocks(self) -> Iterator[Block]:
        """See ``AudioSource``."""
        notices: tuple[Notice, ...] = ()
        if SoundFlag.NARROW_BAND in self._audio.flags:
            notices = (narrow_band(self._audio.rate),)
        started = self._clock()
        taken = 0
        for samples in itertools.chain(self._first, self._sound):
            if self._stopped:
                return
            taken += len(samples)
            if self.live:
                wait = started + taken / RATE - self._clock()
                if wait > 0:
                    self._sleep(wait)
            yield Block(samples, notices)
            notices = ()


def narrow_band(rate: int) -> Notice:
    """The notice for a telephone-grade source."""
    return Notice(
        Trouble.NARROW,
        f"the sound comes at {rate} Hz (telephone grade): numbers are less reliable and will be "
        "read back more often; a wired or built-in microphone is better",
    )
