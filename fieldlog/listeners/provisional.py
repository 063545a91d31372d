"""Words while they are being said, from a Vosk model: shown, never taken for anything.

The library runs in a process of its own whose output nobody sees: a crash of it costs the words on the
screen and nothing else. Whoever captures hands the sound on and never waits; what comes too fast is left out.
"""

from __future__ import annotations

import contextlib
import json
import threading
from collections import deque
from collections.abc import Callable, Sequence
from pathlib import Path
from queue import Full, Queue
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from fieldlog.apart.frames import READY
from fieldlog.apart.process import Process
from fieldlog.audio.clip import RATE
from fieldlog.listeners.vosk_folder import check_folder

Samples = NDArray[np.float32]

LOAD_S = 60.0
"""Longest time that a model and its grammar may take to load."""
ANSWER_S = 3.0
STEP_S = 0.2
"""Seconds of sound that are handed over at a time."""
BEFORE_S = 0.5
"""Heard of the sound before somebody was known to speak."""
_WAITING = 100
_LOAD, _AFRESH, _MORE = b"L", b"A", b"M"


class Provisional:
    """Hears along; ``text`` is what was heard so far of the utterance under way."""

    def __init__(
        self, model: Path, phrases: Sequence[str], *, tell: Callable[[str], None] = lambda _: None
    ) -> None:
        """``phrases``: what may be said, as a listener is offered it; ``tell``: why there are no words.

        Use as a context manager. Raises ``ModelError`` for a folder that holds no model.
        """
        self.text = ""
        self._load = {"model": str(check_folder(model)), "phrases": list(phrases)}
        self._tell = tell
        self._queue: Queue[tuple[Samples, bool] | None] = Queue(_WAITING)
        self._process: Process | None = None
        self._thread = threading.Thread(target=self._run, name="provisional", daemon=True)
        self._stopped = False

    def take(self, samples: Samples, speaking: bool) -> None:
        """The next samples of the stream, and whether somebody speaks; never waits."""
        if not self._stopped:
            with contextlib.suppress(Full):  # the words fall behind; what counts does not
                self._queue.put_nowait((samples, speaking))

    def __enter__(self) -> Self:
        """Start; the model is loaded meanwhile."""
        self._process = Process(f"{__name__}:serve", quiet=True)
        self._thread.start()
        return self

    def __exit__(self, *failed: object) -> None:
        """End the process, whatever it is doing."""
        self._stopped = True
        if self._process is not None:
            self._process.end()
        with contextlib.suppress(Full):
            self._queue.put_nowait(None)
        self._thread.join(ANSWER_S)

    def _run(self) -> None:
        process = self._process
        assert process is not None
        try:
            if process.answer(LOAD_S) != READY:
                raise OSError("its process does not start")
            self._asked(process, _LOAD, json.dumps(self._load).encode())
            self._hear(process)
        except OSError as error:
            if not self._stopped:
                self._tell(f"no words are shown while you speak: {error}")
        finally:
            self._stopped, self.text = True, ""
            process.end()

    def _hear(self, process: Process) -> None:
        before: deque[Samples] = deque()
        kind, held = _AFRESH, list[Samples]()
        while (item := self._queue.get()) is not None and not self._stopped:
            samples, speaking = item
            if not speaking:
                kind, held, self.text = _AFRESH, [], ""
                before.append(samples)
                while sum(map(len, before)) > BEFORE_S * RATE:
                    before.popleft()
                continue
            held += [*before, samples]
            before.clear()
            if sum(map(len, held)) < STEP_S * RATE:
                continue
            scaled = np.clip(np.concatenate(held), -1.0, 1.0) * 32767.0
            self.text = self._asked(process, kind, scaled.astype("<i2").tobytes())
            kind, held = _MORE, []

    def _asked(self, process: Process, kind: bytes, body: bytes) -> str:
        """Its answer as text; raises ``OSError`` where there is none."""
        process.send([kind + body])
        answer = process.answer(LOAD_S if kind == _LOAD else ANSWER_S)
        if not isinstance(answer, bytes):
            raise OSError(f"the recogniser of the words is gone ({answer.what})")
        return answer.decode("utf-8", "replace")


def serve() -> Callable[[bytes], bytes]:
    """The other side: loads, begins afresh, hears more; answers the words so far in UTF-8."""
    from fieldlog.listeners.vosk import UNKNOWN, VoskListener, parsed

    recogniser: Any = None

    def handle(message: bytes) -> bytes:
        nonlocal recogniser
        kind, body = message[:1], message[1:]
        if kind == _LOAD:
            told = json.loads(body)
            recogniser = VoskListener(Path(told["model"])).recogniser(told["phrases"])
            return b""
        if kind == _AFRESH:
            recogniser.Reset()
        if recogniser.AcceptWaveform(body):
            text = parsed(recogniser.Result()).get("text")
        else:
            text = parsed(recogniser.PartialResult()).get("partial")
        words = str(text or "").split()
        if all(word == UNKNOWN for word in words):
            return b""
        return " ".join("…" if word == UNKNOWN else word for word in words).encode()

    return handle
