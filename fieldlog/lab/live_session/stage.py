"""A sound system of its own for ``fieldlog listen``: a microphone that a recording is spoken into.

It stands in for sounddevice in a process that is started for it (``python -m
fieldlog.lab.live_session.stage SCRIPT.json LISTEN-ARGUMENTS``). The recording comes in real time, in the blocks that are asked for;
what the loudspeaker plays comes back into the microphone 80 ms later and 6 dB down; at given instants the
microphone is gone for some seconds, from the list of devices too. At the end of the recording it sends itself
what Ctrl-C sends.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import threading
import time
from collections import deque
from collections.abc import Callable
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import numpy as np
import soundfile as sf
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE

ECHO_S, ECHO = 0.08, 0.5
LATEST_S = 0.25
"""However busy the machine is, what is played comes back no later: what waits longer is left out."""
LISTENS_S = 1.0
AFTERWARDS_S = 4.0
MARK = b"@"
Callback = Callable[[NDArray[np.float32], int, Any, Any], None]


class Room:
    """What is spoken, what is played, and when the microphone is away."""

    def __init__(
        self, sound: NDArray[np.float32], away: list[tuple[float, float]], begins: list[float]
    ) -> None:
        """``away``: (second of the recording, for how long); ``begins``: where each utterance does.

        Whoever speaks waits until nothing was said to them for a while.
        """
        self._begins = deque(sorted(begins))
        self._sounded = 0.0
        self._sound = sound
        self._away = deque(sorted(away))
        self._at = 0
        self._gone_until = 0.0
        self._unplugged = False
        self._played: deque[float] = deque(
            [0.0] * round(ECHO_S * RATE), maxlen=round(LATEST_S * RATE)
        )
        self._lock = threading.Lock()
        self.ended = False

    @property
    def is_away(self) -> bool:
        """Whether the microphone is unplugged now."""
        return time.monotonic() < self._gone_until

    def played(self, samples: NDArray[np.float32]) -> None:
        """What came out of the loudspeaker."""
        if samples.any():
            self._sounded = time.monotonic()
        with self._lock:
            self._played.extend((samples * ECHO).tolist())

    def heard(self, frames: int) -> NDArray[np.float32] | None:
        """The next block of the microphone; None: it is away, and the recording waits."""
        if self.is_away:
            return None
        if self._away and self._at >= self._away[0][0] * RATE:
            self._gone_until = time.monotonic() + self._away.popleft()[1]
            self._unplugged = True
            return None
        if self._unplugged:  # what was played meanwhile reached no microphone
            self._unplugged = False
            with self._lock:
                self._played.clear()
                self._played.extend([0.0] * round(ECHO_S * RATE))
        listens = time.monotonic() - self._sounded < LISTENS_S
        waits = bool(self._begins) and self._at >= self._begins[0] * RATE
        if waits and not listens:
            self._begins.popleft()
        said = self._sound[self._at : self._at + (0 if waits and listens else frames)]
        self._at += 0 if waits and listens else frames
        self.ended = self._at > len(self._sound) + AFTERWARDS_S * RATE
        block = np.zeros(frames, np.float32)
        block[: len(said)] = said
        with self._lock:
            for n in range(min(frames, len(self._played))):
                block[n] += self._played.popleft()
            self._played.extend([0.0] * max(0, round(ECHO_S * RATE) - len(self._played)))
        if len(said) and self._at // RATE != (self._at - frames) // RATE:
            os.write(1, MARK + f"{self._at / RATE:.0f}\n".encode())
        return block


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


def main() -> None:
    """Put the stand-in in place and listen."""
    script = json.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))
    sound, rate = sf.read(script["sound"], dtype="float32")
    assert rate == RATE
    room = Room(sound, [(at, length) for at, length in script["away"]], script["begins"])
    sys.modules["sounddevice"] = sounddevice(room)
    from fieldlog.cli import main as command

    command(["listen", *sys.argv[2:]])


if __name__ == "__main__":
    main()
