"""A sound system of its own for ``fieldlog listen``: a microphone that a recording is spoken into.

It stands in for sounddevice in a process that is started for it (``python -m
fieldlog.lab.live_session.stage SCRIPT.json LISTEN-ARGUMENTS``). Somebody (``person``) speaks a script into it in real time,
in the blocks that are asked for, and answers what is asked; what the loudspeaker plays comes back into the microphone
80 ms later and 6 dB down; where the script says so the microphone is gone for some seconds, from the list of
devices too. When all was said it sends itself what Ctrl-C sends.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Mapping
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.lab.live_session.person import Person, load
from fieldlog.shop.mouth import Mouth
from fieldlog.shop.saying import Saying

ECHO_S, ECHO = 0.08, 0.5
LATEST_S = 0.25
"""However busy the machine is, what is played comes back no later: what waits longer is left out."""
AWAY_S = 4.0
CUT = "the power goes out"
MARK = b"@"
BEGAN = time.monotonic()
Callback = Callable[[NDArray[np.float32], int, Any, Any], None]


class Room:
    """Who speaks there, what is played, and when the microphone is away."""

    def __init__(self, person: Person, clock: Callable[[], float] = time.monotonic) -> None:
        """``person``: speaks, and is told what the tool says; ``clock``: how long a microphone is away."""
        self.person, self._clock = person, clock
        self._away = {
            each.id: each.away_at_s for each in person.lines if each.away_at_s is not None
        }
        self._gone_until = 0.0
        self._unplugged = False
        self._played: deque[float] = deque(
            [0.0] * round(ECHO_S * RATE), maxlen=round(LATEST_S * RATE)
        )
        self._lock = threading.Lock()

    @property
    def is_away(self) -> bool:
        """Whether the microphone is unplugged now."""
        return self._clock() < self._gone_until

    @property
    def ended(self) -> bool:
        """Whether all was said."""
        return self.person.has_ended

    def played(self, samples: NDArray[np.float32]) -> None:
        """What came out of the loudspeaker."""
        if samples.any():
            self.person.sounded()
        with self._lock:
            self._played.extend((samples * ECHO).tolist())

    def heard(self, frames: int) -> NDArray[np.float32] | None:
        """The next block of the microphone; None: it is away, and whoever speaks waits."""
        if self.is_away:
            return None
        if self._pulled():
            return None
        if self._unplugged:  # what was played meanwhile reached no microphone
            self._unplugged = False
            with self._lock:
                self._played.clear()
                self._played.extend([0.0] * round(ECHO_S * RATE))
        self._cut()
        block = self.person.speaks(frames)
        with self._lock:
            for n in range(min(frames, len(self._played))):
                block[n] += self._played.popleft()
            self._played.extend([0.0] * max(0, round(ECHO_S * RATE) - len(self._played)))
        return block

    def _pulled(self) -> bool:
        line = self.person.line
        at_s = None if line is None else self._away.get(line.id)
        if line is None or at_s is None or self.person.in_line_s() < at_s:
            return False
        del self._away[line.id]
        self._gone_until = self._clock() + AWAY_S
        self._unplugged = True
        self.person.tell({"happens": "the microphone is pulled out"})
        self.person.loses_microphone()
        return True

    def _cut(self) -> None:
        line = self.person.line
        if line is None or line.cut_at_s is None or self.person.in_line_s() < line.cut_at_s:
            return
        self.person.tell({"happens": CUT})


class Stream:
    """One stream of the stand-in, in either direction."""

    def __init__(self, step: Callable[[], bool], period_s: float) -> None:
        """``step`` is called every ``period_s`` until it says that it is over."""
        self._step, self._period_s = step, period_s
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def _run(self) -> None:
        due = time.monotonic()
        while not self._stop.is_set() and self._step():
            due += self._period_s
            self._stop.wait(max(0.0, due - time.monotonic()))

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """End."""
        self._stop.set()

    abort = close = stop


def sounddevice(room: Room) -> ModuleType:
    """As much of sounddevice as fieldlog uses, for ``room``."""
    device = {"name": "Shop microphone", "hostapi": 0, "max_input_channels": 1,
              "default_samplerate": float(RATE)}  # fmt: skip
    quiet = SimpleNamespace(input_overflow=False)

    def query_devices(index: int | None = None, kind: str = "") -> Any:
        if kind:
            return {"index": 0}
        return ([] if room.is_away else [device]) if index is None else device

    def listen(*, callback: Callback, blocksize: int, **how: Any) -> Stream:
        if room.is_away or how["samplerate"] != RATE or how["dtype"] != "float32":
            raise RuntimeError("Invalid sample rate [PaErrorCode -9997]")

        def step() -> bool:
            block = room.heard(blocksize)
            if block is None:
                return False
            callback(block[:, None], blocksize, None, quiet)
            if room.ended:
                os.kill(os.getpid(), signal.SIGINT)
            return not room.ended

        return Stream(step, blocksize / RATE)

    def play(*, callback: Callback, samplerate: int, **how: Any) -> Stream:
        out = np.zeros((RATE // 50, 1), np.float32)

        def step() -> bool:
            callback(out, len(out), None, None)
            room.played(out[:, 0])
            return True

        return Stream(step, len(out) / RATE)

    made = ModuleType("sounddevice")
    vars(made).update(
        query_devices=query_devices, query_hostapis=lambda: [{"name": "stage"}],
        InputStream=listen, OutputStream=play, _terminate=lambda: None, _initialize=lambda: None,
    )  # fmt: skip
    return made


def watched(person: Person) -> None:
    """Let ``person`` hear what is sounded and said."""
    say = Mouth.say

    def says(self: Mouth, said: Saying) -> None:
        person.told(said)
        say(self, said)

    Mouth.say = says  # type: ignore[method-assign]


def tell(what: Mapping[str, Any]) -> None:
    """One line to whoever started this, at once."""
    row = {"at_s": round(time.monotonic() - BEGAN, 2), **what}
    os.write(1, MARK + json.dumps(row).encode() + b"\n")
    if what.get("happens") == CUT:
        time.sleep(60.0)  # whoever started this ends it now


def main() -> None:
    """Put the stand-in in place and listen."""
    lines, replies = load(Path(sys.argv[1]))
    room = Room(Person(lines, replies, tell, time.monotonic))
    sys.modules["sounddevice"] = sounddevice(room)
    watched(room.person)
    from fieldlog.cli import main as command

    command(["listen", *sys.argv[2:]])


if __name__ == "__main__":
    main()
