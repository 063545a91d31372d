"""The live spine: source -> disk -> endpointer, in a thread of its own, as a queue of events.

A recogniser that takes seconds never delays the sound: it is on disk and cut into utterances
meanwhile.
"""

from __future__ import annotations

import math
import queue
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.begins import Begins
from fieldlog.audio.clip import RATE, Clip, SoundFlag
from fieldlog.audio.endpointer import Endpointer
from fieldlog.audio.health import Notice, StreamClock, Trouble
from fieldlog.audio.recorder import Recorder
from fieldlog.audio.source import AudioSource, Block
from fieldlog.errors import StoreError

_LEVEL_EVERY_S = 0.1
_QUEUE_OF_A_FILE = 64


@dataclass(frozen=True, slots=True)
class Level:
    """How loud it is now, in dB below full scale, and whether an utterance is open."""

    position_s: float
    rms_db: float
    peak_db: float
    speaking: bool


@dataclass(frozen=True, slots=True)
class Draft:
    """The open utterance at its first silence: the final clip, if no more speech comes."""

    clip: Clip
    as_cut: Clip
    """As the endpointer has it: where something was played, ``clip`` may begin earlier."""


@dataclass(frozen=True, slots=True)
class Spoken:
    """An utterance that ended."""

    clip: Clip
    delay_s: float
    """From its last voiced frame to its end being known (0.0 when the stream ended)."""
    began: datetime
    """UTC instant of its first sample."""
    source: str
    """The microphone or file it came from."""


Event = Level | Draft | Spoken | Notice


class Cleans(Protocol):
    """Takes something out of a stream, in order (``audio.echo``)."""

    def clean(self, samples: NDArray[np.float32]) -> NDArray[np.float32]:
        """The next samples, which may lag a little behind what came in."""
        ...

    def flush(self) -> NDArray[np.float32]:
        """What was not given yet."""
        ...

    def for_the_ear(self, clip: Clip) -> Clip:
        """An utterance cut from what was given, as it is to be heard."""
        ...


class Capture:
    """Runs a source; ``events`` gives what happens. Ends when the source ends or is stopped."""

    def __init__(
        self,
        source: AudioSource,
        endpointer: Endpointer,
        recorder: Recorder | None = None,
        *,
        echo: Cleans | None = None,
        begins: Callable[[], None] = lambda: None,
        beside: Callable[[NDArray[np.float32], bool], None] | None = None,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        """``source`` must be open already; ``recorder`` keeps the whole stream when given.

        ``echo`` takes our own voice out of what is listened to; what is kept is as it came in.
        ``begins`` is called, in the capturing thread, as soon as somebody is heard to begin to speak
        (``audio.begins``). ``beside`` is given what is listened to as it comes, and whether an utterance is open;
        neither may wait.
        """
        self._source = source
        self._endpointer = endpointer
        self._recorder = recorder
        self._echo = echo
        self._begins, self._beginnings = begins, Begins()
        self._beside = beside
        self._now = now
        self.clock = StreamClock(now())
        self._events: queue.Queue[Event | BaseException | None] = queue.Queue(
            0 if source.live else _QUEUE_OF_A_FILE
        )
        self._levelled_s = -1.0
        self._drafted = False
        self._waits: tuple[Clip, float] | None = None
        self._position_s = 0.0
        self._gap = False

    @property
    def speaking(self) -> bool:
        """Whether an utterance is open now, whatever of the events was taken yet."""
        return self._endpointer.speaking

    def events(self) -> Iterator[Event]:
        """Everything that happens, in order; the last utterance is flushed at the end."""
        thread = threading.Thread(target=self._run, name="capture", daemon=True)
        thread.start()
        ended = False
        try:
            while not ended:
                event = self._events.get()
                if isinstance(event, BaseException):
                    raise event
                if event is None:
                    ended = True
                else:
                    yield event
        finally:
            self._source.stop()
            while not ended and thread.is_alive():
                # Nobody wants the rest, but the thread may wait for room to put it.
                ended = self._events.get() is None
            thread.join(timeout=5.0)

    def wait(self, draft: Draft, seconds: float) -> None:
        """End the utterance of ``draft`` after so much silence, if nothing more is said till then.

        Called by whoever hears the draft, in a thread of its own.
        """
        self._waits = (draft.as_cut, seconds)

    def _run(self) -> None:
        try:
            if self._endpointer.warning:
                self._events.put(Notice(Trouble.STAND_IN, self._endpointer.warning))
            for block in self._source.blocks():
                self._take(block)
            if self._echo is not None:
                self._say(self._endpointer.process(self._echo.flush()))
            self._say(self._endpointer.flush())
        except BaseException as error:  # handed to the thread that listens for events
            self._events.put(error)
        finally:
            self._events.put(None)

    def _take(self, block: Block) -> None:
        lost = False
        for notice in block.notices:
            self._events.put(notice)
            if notice.flag is not None:
                self._mark(notice.flag)
            lost = lost or notice.trouble is Trouble.LOST
        for flag in block.marks:
            self._mark(flag)
        samples = block.samples
        if len(samples):
            if block.began is not None:
                self._gap = False
                self.clock.note(self._position_s, block.began)
            elif self._gap:
                self._gap = False
                self.clock.note(self._position_s, self._now())
            self._record(block)
            waits, self._waits = self._waits, None
            if waits is not None:
                self._endpointer.wait(*waits)
            heard = samples if self._echo is None else self._echo.clean(samples)
            clips = self._endpointer.process(heard)
            self._position_s += len(samples) / RATE
            if self._beginnings.push(heard, speaking=self._endpointer.speaking, ended=bool(clips)):
                self._begins()
            if self._beside is not None:
                self._beside(heard, self._endpointer.speaking)
            self._say(clips)
            self._offer_draft()
            self._meter(block)
        if lost:
            self._gap = True
            self._say(self._endpointer.end_now())

    def _mark(self, flag: SoundFlag) -> None:
        """The utterance that holds the sound from here on carries ``flag``; after a crash too."""
        self._endpointer.mark(flag)
        if self._recorder is not None:
            self._recorder.mark(flag)

    def _record(self, block: Block) -> None:
        """Keep the sound; a full disk stops the recording, not the inspection."""
        if self._recorder is None:
            return
        try:
            self._recorder.write(block.samples)
        except StoreError as error:
            self._recorder = None
            self._events.put(Notice(Trouble.RECORDING, f"the sound is no longer kept: {error}"))

    def _say(self, clips: list[Clip]) -> None:
        for clip in map(self._for_the_ear, clips):
            began = self.clock.instant(clip.start_s)
            self._events.put(Spoken(clip, self._endpointer.delay_s, began, self._source.name))

    def _for_the_ear(self, clip: Clip) -> Clip:
        return clip if self._echo is None else self._echo.for_the_ear(clip)

    def _offer_draft(self) -> None:
        draft = self._endpointer.draft()
        if draft is None:
            self._drafted = False
        elif not self._drafted and self._events.qsize() < _QUEUE_OF_A_FILE // 2:
            self._drafted = True
            self._events.put(Draft(self._for_the_ear(draft), draft))

    def _meter(self, block: Block) -> None:
        if self._position_s - self._levelled_s < _LEVEL_EVERY_S:
            return
        self._levelled_s = self._position_s
        if self._events.qsize() > _QUEUE_OF_A_FILE // 2:
            return
        rms = float(np.sqrt(np.mean(np.square(block.samples, dtype=np.float64))))
        peak = float(np.abs(block.samples).max())
        self._events.put(Level(self._position_s, _db(rms), _db(peak), self._endpointer.speaking))


def _db(level: float) -> float:
    return 20.0 * math.log10(max(level, 1e-6))
