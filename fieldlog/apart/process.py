"""One process apart, asked from here: what it answers, or in words why it does not.

Started afresh and never forked (forking a process that runs native threads is unsafe), as a program
of its own and not through ``multiprocessing``, which would import the caller's main module again.
Messages are bytes: what they mean is agreed by both ends, and nothing here unpickles an answer, so
that a process that reads hostile files can be answered for in JSON. Threads wait for the pipes;
that works alike on Linux, macOS and Windows.
"""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from queue import Empty, SimpleQueue

from fieldlog.apart.frames import read_frame, write_frame
from fieldlog.config import for_a_child

_GONE_S = 5.0
"""A process whose pipes are closed is gone after so long at the latest."""


@dataclass(frozen=True, slots=True)
class Lost:
    """Why there is no answer: the process died (``exit 7``, ``signal 11``), or it took too long."""

    what: str
    hung: bool = False


class Process:
    """A process that runs ``target`` ("module:function", see ``fieldlog.apart.__main__``).

    Its first answer is ``READY``. After a ``Lost`` it is of no more use: ``end`` it, start another.
    """

    def __init__(self, target: str, *, path: Sequence[str] = (), quiet: bool = False) -> None:
        """Start it; ``path`` is searched for modules after our own, ``quiet`` hides its stderr.

        Nothing in the current folder is imported in our place: only what is installed, our own
        folder and ``path`` are looked through.
        """
        own = str(Path(__file__).parents[2])
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-m", "fieldlog.apart", target],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL if quiet else None,
            env=for_a_child(PYTHONPATH=os.pathsep.join([own, *path])),
        )
        self._answers: SimpleQueue[bytes | None] = SimpleQueue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        self._sender: threading.Thread | None = None

    @property
    def pid(self) -> int:
        """Its process number."""
        return self._process.pid

    def send(self, messages: Sequence[bytes]) -> None:
        """Hand it messages, each of which it answers in order; returns before they are read."""
        if self._sender is not None:
            self._sender.join()
        self._sender = threading.Thread(target=self._send, args=(messages,), daemon=True)
        self._sender.start()

    def answer(self, longest_s: float) -> bytes | Lost:
        """Its next answer, waited for ``longest_s`` seconds at most."""
        try:
            answer = self._answers.get(timeout=longest_s)
        except Empty:
            return Lost(f"no answer in {longest_s:g} s", hung=True)
        return Lost(self._end_of_it()) if answer is None else answer

    def end(self, grace_s: float = 0.0) -> None:
        """Let it come to its end for ``grace_s`` seconds, then kill it; harmless when repeated."""
        if grace_s and (self._sender is None or not self._sender.is_alive()):
            self._close_input()
            with contextlib.suppress(subprocess.TimeoutExpired):
                self._process.wait(grace_s)
        self._process.kill()
        self._process.wait()
        self._reader.join(_GONE_S)
        if self._sender is not None:
            self._sender.join(_GONE_S)
        self._close_input()

    def _end_of_it(self) -> str:
        """How it died; its output is closed already, so it is dead or about to be."""
        try:
            code = self._process.wait(_GONE_S)
        except subprocess.TimeoutExpired:
            return "closed its output"
        return f"signal {-code}" if code < 0 else f"exit {code}"

    def _close_input(self) -> None:
        if self._process.stdin is not None:
            with contextlib.suppress(OSError):
                self._process.stdin.close()

    def _send(self, messages: Sequence[bytes]) -> None:
        assert self._process.stdin is not None
        with contextlib.suppress(OSError, ValueError):  # it died: the reader finds that out
            for message in messages:
                write_frame(self._process.stdin, message)

    def _read(self) -> None:
        assert self._process.stdout is not None
        with self._process.stdout as stream, contextlib.suppress(OSError):
            while (answer := read_frame(stream)) is not None:
                self._answers.put(answer)
        self._answers.put(None)
