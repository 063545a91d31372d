"""A sound system, a clock and a source that do what a test tells them."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any, Self

import numpy as np
import pytest
from numpy.typing import NDArray

from fieldlog.audio.capture import Event, Spoken
from fieldlog.audio.health import Notice, Trouble
from fieldlog.audio.microphone import (
    Microphone,
)
from fieldlog.audio.source import Block

ONES = np.ones(1600, dtype=np.float32) * 0.1


ZEROS = np.zeros(1600, dtype=np.float32)


def troubles(notices: list[Notice]) -> list[Trouble]:
    return [notice.trouble for notice in notices]


@dataclass
class FakeSystem:
    """As much of the sounddevice module as the microphone uses."""

    devices: list[dict[str, Any]]
    takes: Any = lambda rate, channels, dtype: True
    busy_times: int = 0
    default: int = 0
    opened: list[tuple[int, int, int, str]] = field(default_factory=list)
    callback: Any = None
    fresh: int = 0

    def query_hostapis(self) -> list[dict[str, str]]:
        return [{"name": "Fake"}]

    def query_devices(self, index: int | None = None, kind: str = "") -> Any:
        if kind:
            return {"index": self.default}
        return self.devices if index is None else self.devices[index]

    def _terminate(self) -> None:
        self.fresh += 1

    def _initialize(self) -> None:
        """Nothing to do."""

    def InputStream(
        self, *, device: int, samplerate: int, channels: int, dtype: str, callback: Any, **how: Any
    ) -> Any:
        assert how["blocksize"] == pytest.approx(samplerate / 50, abs=1)
        if self.busy_times > 0:
            self.busy_times -= 1
            raise RuntimeError("Error opening InputStream: Device unavailable [PaErrorCode -9985]")
        if not self.takes(samplerate, channels, dtype):
            raise RuntimeError("Error opening InputStream: Invalid sample rate [PaErrorCode -9997]")
        self.opened.append((device, samplerate, channels, dtype))
        self.callback = callback
        quiet = self._quiet
        return SimpleNamespace(start=lambda: None, stop=quiet, abort=quiet, close=lambda: None)

    def _quiet(self) -> None:
        self.callback = None

    def deliver(self, block: NDArray[Any], *, overflow: bool = False) -> None:
        if self.callback is not None:
            self.callback(block, len(block), None, SimpleNamespace(input_overflow=overflow))


def mic(name: str = "USB mic", rate: float = 44_100.0, channels: int = 1) -> dict[str, Any]:
    return {
        "name": name,
        "hostapi": 0,
        "max_input_channels": channels,
        "default_samplerate": rate,
    }


class Clock:
    """A clock that only moves when somebody sleeps or reads it (by 10 ms)."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        self.now += 0.01
        return self.now

    def sleep(self, seconds: float) -> None:
        self.now += seconds


def gather(microphone: Microphone, system: FakeSystem, feed: list[NDArray[Any]]) -> list[Block]:
    with microphone:
        for block in feed:
            system.deliver(block)
        microphone.stop()
        return list(microphone.blocks())


class Scripted:
    """A source that gives prepared blocks."""

    name = "script"
    live = True

    def __init__(self, blocks: list[Block]) -> None:
        self._blocks = blocks
        self.stopped = threading.Event()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        """Nothing to close."""

    def blocks(self) -> Iterator[Block]:
        for block in self._blocks:
            if self.stopped.is_set():
                return
            yield block

    def stop(self) -> None:
        self.stopped.set()


def as_blocks(sound: NDArray[np.float32]) -> list[Block]:
    return [Block(sound[i : i + 1600]) for i in range(0, len(sound), 1600)]


def spoken(events: list[Event]) -> list[Spoken]:
    return [event for event in events if isinstance(event, Spoken)]
