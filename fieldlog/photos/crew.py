"""A crew of worker processes: orders go out in batches, answers come back in order.

A worker that is silent for longer than the time limit, or dies, is replaced; only the file it was
busy with is given up, and every other file is still done.
"""

from __future__ import annotations

import json
import os
import sys
import threading
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import islice
from typing import Any

from fieldlog.apart.frames import READY
from fieldlog.apart.process import Lost, Process
from fieldlog.errors import PhotoError

TIME_LIMIT_S = 2.0
"""One file may take this long."""
GAVE_UP = "gave up after {:g} s"
DIED = "the reader was ended by the system (out of memory or crashed)"

_START_S = 20.0
_BATCH = 64


@dataclass(frozen=True, slots=True)
class Answer:
    """What a worker said: ``value`` when ``error`` is None, else why there is none."""

    value: Any
    error: str | None = None
    lost: bool = False
    """Whether it is the worker that was lost; what else is wrong is the order's."""


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
        self._all: list[Process] = []
        self._lock = threading.Lock()

    def __enter__(self) -> Crew:
        """Return the crew."""
        return self

    def __exit__(self, *failed: object) -> None:
        """End every process."""
        self.close()

    def close(self) -> None:
        """End every process of this crew."""
        with self._lock:
            for process in self._all:
                process.end()
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
        answers: list[Answer] = []
        while len(answers) < len(orders):
            answers += self._answered(orders[len(answers) :])
        return answers

    def _answered(self, orders: Sequence[Any]) -> list[Answer]:
        """Answers to the first orders, at least one: up to the one that its process is lost over."""
        process = self._process()
        process.send([json.dumps(order).encode("ascii") for order in orders])
        answers: list[Answer] = []
        for _ in orders:
            said = process.answer(self._limit)
            if isinstance(said, Lost):
                process.end()
                self._local.process = None
                why = GAVE_UP.format(self._limit) if said.hung else DIED
                answers.append(Answer(None, why, lost=True))
                break
            told = json.loads(said)
            answers.append(Answer(told.get("ok"), told.get("error")))
        return answers

    def _process(self) -> Process:
        """This thread's process, a new one where it has none."""
        process: Process | None = getattr(self._local, "process", None)
        if process is None:
            process = Process(f"fieldlog.photos.worker:{self._task}", quiet=True)
            with self._lock:
                self._all.append(process)
            first = process.answer(_START_S)
            if first != READY:
                process.end()
                raise PhotoError(
                    f"the reader of photos does not start ({first!r})",
                    where=sys.executable,
                    todo="run `fieldlog ready`",
                )
            self._local.process = process
        return process
