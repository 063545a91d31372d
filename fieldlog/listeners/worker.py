"""A listener in a process of its own: a crash in native code costs one utterance, not the session.

The other process (``fieldlog.apart``) is given the language once. When it dies or hangs in the middle of an utterance, that
utterance has no hypotheses, a report says so, and another process takes over before the next one.
"""

from __future__ import annotations

import copyreg
import io
import pickle
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np

from fieldlog import errors
from fieldlog.apart.frames import READY
from fieldlog.apart.process import Lost, Process
from fieldlog.audio.clip import Clip
from fieldlog.errors import FieldlogError, ModelError
from fieldlog.grammar.language import Language
from fieldlog.listeners.base import Listener
from fieldlog.model.hearing import Hearing

LOAD_S = 120.0
"""Longest time that loading may take before the worker counts as hung."""

HEAR_S = 30.0
"""The same for one utterance, plus ``PER_SECOND_S`` for each second of it."""
PER_SECOND_S = 10.0

END_S = 2.0
"""The worker may take this long to come to its end by itself."""

CRASHES_IN_A_ROW = 3
"""After so many, with no utterance heard between them, the worker is given up."""


@dataclass(frozen=True, slots=True)
class Crash:
    """One death of the worker: which one, what it was doing, and what is known of the cause."""

    number: int
    what: str

    def __str__(self) -> str:
        """A line for the person at the microphone."""
        return f"the recogniser crashed ({self.what}) and was restarted; say it again"


class WorkerListener:
    """Runs the listener called ``listener`` in another process; the protocol is the same."""

    def __init__(
        self,
        listener: str,
        model: Path | None = None,
        *,
        on_crash: Callable[[Crash], None] | None = None,
        opener: Callable[[str, Path | None], object] | None = None,
    ) -> None:
        """``on_crash`` is told of every crash; ``opener`` (importable) makes the listener there."""
        self.name = listener
        self.model = model
        self.crashes: list[Crash] = []
        self._on_crash = on_crash
        self._opener = opener
        self._language: bytes | None = None
        self._process: Process | None = None
        self._in_a_row = 0

    @property
    def pid(self) -> int | None:
        """Process number of the worker, while there is one."""
        return self._process.pid if self._process is not None else None

    def load(self, language: Language) -> None:
        """Start the worker and load ``language`` in it; raises what the listener there raises."""
        try:
            self._language = pack(language)
        except (pickle.PicklingError, AttributeError, TypeError) as error:
            raise ModelError(
                f"the language cannot be handed to another process ({error})",
                where=self.name,
                todo="use the listener without a worker",
            ) from None
        self._end()
        self._in_a_row = 0
        self._start()

    def hear(self, clip: Clip) -> Hearing:
        """As the listener there; no hypotheses when it crashed over this clip.

        Raises ``ModelError`` when the worker crashed several times in a row.
        """
        if self._language is None:
            raise ModelError("nothing is loaded", where=self.name, todo="call load() first")
        began = time.perf_counter()
        process = self._process or self._start()
        samples = np.ascontiguousarray(clip.samples, dtype=np.float32)
        message = ("hear", samples.tobytes(), clip.start_s, clip.flags)
        answer = self._ask(process, message, HEAR_S + PER_SECOND_S * clip.duration_s)
        if isinstance(answer, Hearing):
            self._in_a_row = 0
            return answer
        if isinstance(answer, _Refusal):
            raise answer.error()
        return Hearing(self.name, (), (time.perf_counter() - began) * 1000.0)

    def close(self) -> None:
        """End the worker; calling it twice is harmless."""
        self._end()
        self._language = None

    def _start(self) -> Process:
        path = [entry for entry in sys.path if entry]  # where the opener and the language come from
        process = self._process = Process(f"{__name__}:serve", path=path)
        answer: object = self._answer(process, LOAD_S)
        if answer == READY:
            message = ("load", self.name, self.model, self._opener, self._language)
            answer = self._ask(process, message, LOAD_S)
        if isinstance(answer, _Refusal):
            self.close()
            raise answer.error()
        if answer is None:
            raise ModelError(
                f"the recogniser crashed while loading ({self.crashes[-1].what})",
                where=self.name,
                todo="check the model folder; fieldlog ready says what is installed",
            )
        return process

    def _ask(self, process: Process, message: tuple[Any, ...], longest_s: float) -> object:
        """The worker's answer; None when it died or hung over the question."""
        process.send([pickle.dumps(message, pickle.HIGHEST_PROTOCOL)])
        answer = self._answer(process, longest_s)
        return None if answer is None else pickle.loads(answer)

    def _answer(self, process: Process, longest_s: float) -> bytes | None:
        answer = process.answer(longest_s)
        if isinstance(answer, Lost):
            self._crashed(answer.what)
            return None
        return answer

    def _crashed(self, what: str) -> None:
        self._end()
        crash = Crash(len(self.crashes) + 1, what)
        self.crashes.append(crash)
        self._in_a_row += 1
        if self._on_crash is not None:
            self._on_crash(crash)
        if self._in_a_row >= CRASHES_IN_A_ROW:
            raise ModelError(
                f"the recogniser crashed {self._in_a_row} times in a row ({what})",
                where=self.name,
                todo="use another listener (--listener)",
            )

    def _end(self) -> None:
        process, self._process = self._process, None
        if process is not None:
            process.end(END_S)


def serve() -> Callable[[bytes], bytes]:
    """The other side: what answers "load" and "hear"."""
    from fieldlog.listeners.choose import open_listener

    listener: Listener | None = None
    called = ""

    def answered(kind: str, rest: list[Any]) -> object:
        nonlocal listener, called
        if kind == "load":
            name, model, opener, language = rest
            made = (opener or open_listener)(name, model)
            if not isinstance(made, Listener):
                raise ModelError("is no listener", where=name, todo="ask who made it")
            listener, called = made, name
            listener.load(pickle.loads(language))
            return "loaded"
        assert listener is not None
        samples, start_s, flags = rest
        heard = listener.hear(Clip(np.frombuffer(samples, dtype=np.float32), start_s, flags))
        # What is done with a hearing goes by its listener's name: it has the one it was opened by.
        return replace(heard, listener=called)

    def handle(message: bytes) -> bytes:
        kind, *rest = pickle.loads(message)
        try:
            answer = answered(kind, rest)
        except FieldlogError as error:
            answer = _Refusal(type(error).__name__, error.what, error.where, error.todo)
        return pickle.dumps(answer, pickle.HIGHEST_PROTOCOL)

    return handle


@dataclass(frozen=True, slots=True)
class _Refusal:
    """An error of ours in a form that can be sent: exceptions lose their parts on the way."""

    kind: str
    what: str
    where: str
    todo: str

    def error(self) -> FieldlogError:
        kind: type[FieldlogError] = getattr(errors, self.kind, FieldlogError)
        return kind(self.what, where=self.where, todo=self.todo)


def pack(language: Language) -> bytes:
    """The language as bytes; read-only mappings, which pickle refuses, are sent as dicts."""
    buffer = io.BytesIO()
    pickler = pickle.Pickler(buffer, protocol=pickle.HIGHEST_PROTOCOL)
    pickler.dispatch_table = copyreg.dispatch_table.copy()
    pickler.dispatch_table[MappingProxyType] = _read_only
    pickler.dump(language)
    return buffer.getvalue()


def _read_only(mapping: Any) -> tuple[Any, ...]:
    return _mapping_proxy, (dict(mapping),)


def _mapping_proxy(mapping: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(mapping)
