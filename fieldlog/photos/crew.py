"""A crew of worker processes: orders go out in batches, answers come back in order.

A worker that is silent for longer than the time limit, or dies, is replaced; only the file it was
busy with is given up, and every other file is still done.
"""

from __future__ import annotations

import contextlib
import json
import os
import select
import subprocess
import sys
import threading
import time
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from types import TracebackType
from typing import Any

import fieldlog
from fieldlog.errors import PhotoError
from fieldlog.photos.worker import READY

TIME_LIMIT_S = 2.0
"""One file may take this long."""
_START_S = 20.0
_BATCH = 64


@dataclass(frozen=True, slots=True)
class Answer:
    """What a worker said: ``value`` when ``error`` is None, else why there is none."""

    value: Any
    error: str | None = None


class Crew:
    """Worker processes for one task; a context manager that ends them."""

    def __init__(
        self, task: str, *, workers: int | None = None, time_limit_s: float = TIME_LIMIT_S
    ) -> None:
        """Processes are started when first needed, at most ``workers`` (default: CPUs, max 4)."""
        self._task = task
        self._workers = workers or min(os.cpu_count() or 1, 4)
        self._limit = time_limit_s
        self._local = threading.local()
        self._all: list[_Worker] = []
        self._lock = threading.Lock()

    def __enter__(self) -> Crew:
        """Return the crew."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """End every process."""
        self.close()

    def close(self) -> None:
        """End every process of this crew."""
        with self._lock:
            for worker in self._all:
                worker.stop()
            self._all.clear()

    def run(self, orders: Iterable[Any], *, batch: int = _BATCH) -> Iterator[Answer]:
        """Answers to ``orders`` (JSON values) in the same order, as they become known."""
        waiting = iter(orders)
        batches = iter(lambda: list(islice(waiting, batch)), [])
        with ThreadPoolExecutor(self._workers) as pool:
            pending = [pool.submit(self._batch, b) for b in islice(batches, self._workers * 2)]
            try:
                while pending:
                    yield from pending.pop(0).result()
                    pending.extend(pool.submit(self._batch, b) for b in islice(batches, 1))
            finally:
                for future in pending:
                    future.cancel()

    def ask(self, order: Any) -> Answer:
        """Answer to a single order."""
        return self._batch([order])[0]

    def _batch(self, orders: Sequence[Any]) -> list[Answer]:
        worker = getattr(self._local, "worker", None)
        answers: list[Answer] = []
        while len(answers) < len(orders):
            if worker is None or not worker.usable:
                worker = self._local.worker = _Worker(self._task)
                with self._lock:
                    self._all.append(worker)
            answers += worker.answer(orders[len(answers) :], self._limit)
        return answers


class _Worker:
    """One process; ``answer`` returns at least one answer each time it is called."""

    def __init__(self, task: str) -> None:
        # -P and our own path first: nothing in the current folder may be imported in our place.
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-m", "fieldlog.photos.worker", task],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": str(Path(fieldlog.__file__).parents[1])},
        )
        self._pending = b""
        self.usable = True
        first = self._line(_START_S)
        if first != READY.encode():
            self.stop()
            raise PhotoError(
                f"the reader of photos does not start ({first!r})",
                where=sys.executable,
                todo="run `fieldlog doctor`",
            )

    def answer(self, orders: Sequence[Any], limit_s: float) -> list[Answer]:
        text = "".join(json.dumps(order) + "\n" for order in orders).encode("ascii")
        sender = threading.Thread(target=self._send, args=(text,), daemon=True)
        sender.start()
        answers: list[Answer] = []
        while len(answers) < len(orders):
            line = self._line(limit_s)
            if isinstance(line, str):
                answers.append(Answer(None, line))
                self.stop()
                break
            said = json.loads(line)
            answers.append(Answer(said.get("ok"), said.get("error")))
        sender.join()
        return answers

    def stop(self) -> None:
        self.usable = False
        process = self._process
        if process.poll() is None:
            process.kill()
        for pipe in (process.stdin, process.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()
        process.wait()

    def _send(self, text: bytes) -> None:
        stdin = self._process.stdin
        assert stdin is not None
        with contextlib.suppress(OSError, ValueError):  # it died: the reader finds that out
            stdin.write(text)
            stdin.flush()

    def _line(self, limit_s: float) -> bytes | str:
        """The next line, or in words why there is none."""
        stdout = self._process.stdout
        assert stdout is not None
        until = time.monotonic() + limit_s
        while b"\n" not in self._pending:
            left = until - time.monotonic()
            if left <= 0 or not select.select([stdout], [], [], left)[0]:
                return f"gave up after {limit_s:g} s"
            data = os.read(stdout.fileno(), 1 << 16)
            if not data:
                return "the reader was ended by the system (out of memory or crashed)"
            self._pending += data
        line, _, self._pending = self._pending.partition(b"\n")
        return line
