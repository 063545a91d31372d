"""The scripted session on a clock of its own: a block of sound comes when all before it is heard and told.

Nothing waits for this machine, so however busy it is the same is said at the same instants: what comes out is the work
of listener, canceller, dialogue, record and recovery alone. What real time adds (threads, a late echo) is in the session in
real time.
"""

from __future__ import annotations

import queue
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.capture import Capture
from fieldlog.audio.clip import RATE
from fieldlog.audio.echo import EchoCanceller
from fieldlog.audio.health import Notice, Trouble
from fieldlog.audio.loudspeaker import Loudspeaker
from fieldlog.audio.recorder import Recorder, stream_name
from fieldlog.audio.source import Block
from fieldlog.audio.voice import bundled_voice
from fieldlog.lab.live_session.person import Person, load
from fieldlog.lab.live_session.scripted import Played, Script, written
from fieldlog.lab.live_session.stage import CUT, Room
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.context import Context
from fieldlog.shop.ears import Ears
from fieldlog.shop.left_behind import FOLDER, Listening, cut_off, taken_again
from fieldlog.shop.live import LiveInspection, Told, listen
from fieldlog.shop.mouth import Mouth
from fieldlog.shop.played import beside
from fieldlog.shop.saying import Say, Saying
from fieldlog.shop.workshop import Workshop

BLOCK = RATE // 50
NAME = "Shop microphone"
_NOTHING = np.zeros(0, np.float32)


class _PowerCut(Exception):
    """It went out."""


class _Waited(queue.Queue[Any]):
    """Knows whether whoever takes from it waits for more."""

    waits = False

    def get(self, block: bool = True, timeout: float | None = None) -> Any:
        """See ``Queue``."""
        self.waits = True
        try:
            return super().get(block, timeout)
        finally:
            self.waits = False


class Clock:
    """Seconds that pass only with sound."""

    def __init__(self) -> None:
        """Somewhere."""
        self.now = 1000.0

    def __call__(self) -> float:
        """What it shows."""
        return self.now


class _Output:
    """A loudspeaker's stream that is asked for each block by hand."""

    callback: Callable[[NDArray[np.float32], int, object, object], None]

    def OutputStream(self, *, callback: Any, **_: object) -> _Output:  # noqa: N802
        """The stream: this object itself."""
        self.callback = callback
        return self

    def start(self) -> None:
        """Nothing runs by itself."""

    def close(self) -> None:
        """Nothing to close."""


class _Microphone:
    """What ``room`` hears, block by block, each when the one before was dealt with."""

    live = True
    name = NAME

    def __init__(self, room: Room, output: _Output, clock: Clock) -> None:
        """The queue is that of the capture which takes from it."""
        self.room, self.output, self.clock = room, output, clock
        self.queue: _Waited | None = None
        self.cut = False
        self._stopped = False

    def __enter__(self) -> _Microphone:
        """Nothing to open."""
        return self

    def __exit__(self, *_: object) -> None:
        """Nothing to close."""

    def stop(self) -> None:
        """See ``AudioSource``."""
        self._stopped = True

    def blocks(self) -> Iterator[Block]:
        """See ``AudioSource``."""
        out, lost = np.zeros((BLOCK, 1), np.float32), False
        while not self._stopped and not self.room.ended:
            while self.queue is not None and not (self.queue.waits and self.queue.empty()):
                time.sleep(0.0005)
            self.output.callback(out, BLOCK, None, None)
            self.room.played(out[:, 0])
            self.clock.now += BLOCK / RATE
            block = self.room.heard(BLOCK)
            if self.cut:
                raise _PowerCut
            if (block is None) != lost:
                lost = block is None
                trouble = Trouble.LOST if lost else Trouble.BACK
                yield Block(_NOTHING, (Notice(trouble, trouble.value),))
            if block is not None:
                yield Block(block)


class _Mouth(Mouth):
    """Tells whoever speaks as well."""

    person: Person

    def say(self, said: Saying) -> None:
        """See ``Mouth``."""
        self.person.told(said)
        super().say(said)


def play(script: Script, store: Path, folder: Path, ears: Ears, clock: Clock) -> Played:
    """One session; the record is made where there is none, else the last inspection goes on."""
    language = ears.language
    assert isinstance(language, InspectionLanguage)
    folder.mkdir(parents=True, exist_ok=True)
    lines, replies = load(written(script, folder))
    happened: list[Mapping[str, Any]] = []
    began, output = clock.now, _Output()

    def tell(what: Mapping[str, Any]) -> None:
        happened.append({"at_s": round(clock.now - began, 2), **what})
        microphone.cut = microphone.cut or what.get("happens") == CUT

    person = Person(lines, replies, tell, clock)
    microphone = _Microphone(Room(person, clock), output, clock)
    with Workshop.open(store, language=language) as shop:
        for cut in cut_off(store):
            for _ in taken_again(cut, shop.inspecting(cut.inspection, ears)):
                pass
        head = (
            shop.store.inspection("last")
            if folder.name[-1] != "1"
            else shop.begin("demo", Context("US-VA"))
        )
        recorder = Recorder(store / FOLDER, stream_name(datetime.now(UTC)))
        session = Listening(store, recorder.path, head.id, NAME)
        live = LiveInspection(shop.inspecting(head.id, ears))
        with Loudspeaker(backend=output) as speaker:
            mouth = _Mouth(Say.VALUES, speaker, bundled_voice(), kept=beside(recorder.path))
            mouth.person = person
            live.speaks(mouth)
            try:
                _listen(microphone, live, recorder, EchoCanceller(speaker.playback), mouth)
                live.finish(store / FOLDER)
                recorder.close()
                session.__exit__(None, None, None)
            except _PowerCut:
                recorder.leave()
                session.__exit__(KeyboardInterrupt, None, None)
    return Played("", tuple(happened))


def _listen(
    microphone: _Microphone,
    live: LiveInspection,
    recorder: Recorder,
    echo: EchoCanceller,
    mouth: Mouth,
) -> None:
    made = Capture.__init__

    def watched(self: Capture, *given: Any, **named: Any) -> None:
        made(self, *given, **named)
        self._events = microphone.queue = _Waited()

    Capture.__init__ = watched  # type: ignore[method-assign]
    try:
        for happening in listen(microphone, live, recorder, echo):
            if isinstance(happening, Told):
                mouth.tell(happening.events)
            elif isinstance(happening, Notice) and happening.trouble is Trouble.LOST:
                mouth.lost()
    finally:
        Capture.__init__ = made  # type: ignore[method-assign]


def in_turn(scripts: Sequence[Script], folder: Path, ears: Ears) -> Iterator[Played]:
    """Every session of ``scripts``, with the record in ``folder``."""
    language, store, clock = ears.language, folder / "record", Clock()
    assert isinstance(language, InspectionLanguage)
    with Workshop.open(store, language=language) as shop:
        shop.add_vehicle("demo")
    for number, script in enumerate(scripts, start=1):
        yield play(script, store, folder / f"session-{number}", ears, clock)
