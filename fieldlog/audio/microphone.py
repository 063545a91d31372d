"""The microphone, through sounddevice, at whatever rate, width and channel count it offers.

The callback only copies into a queue; everything else happens in the thread that takes ``blocks``.
The device is remembered by name, because its number changes whenever something is plugged in.
"""

from __future__ import annotations

import contextlib
import queue
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Protocol, Self
from weakref import WeakSet

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.convert import NARROW_BAND_RATE, Converter
from fieldlog.audio.health import Notice, StreamHealth, Trouble
from fieldlog.audio.route import microphone_behind
from fieldlog.audio.source import Block, narrow_band
from fieldlog.errors import AudioError

_RATES = (48_000, 44_100, 32_000, 16_000, 8_000)
_WIDTHS = ("float32", "int16", "int32")
_BUSY_TRIES = 3
_POLL_S = 0.1
_RETRY_S = 2.0
_NAME_CHECK_S = 1.0
_SHUT_S = 1.0
"""A device that is gone may never let go of its stream (spatialaudio/python-sounddevice#627)."""
_BLOCK_S = 0.02
_LATENCY_S = 0.2
"""What the system may hold back for us; left to itself a sound server gives blocks of up to 2 s."""
_BUSY_WORDS = ("busy", "unavailable", "in use", "-9985", "exclusive")


@dataclass(frozen=True, slots=True)
class Device:
    """A microphone as the system lists it."""

    index: int
    name: str
    host: str
    """The system's sound interface ("ALSA", "Core Audio", ...)."""
    channels: int
    rate: int
    is_default: bool


@dataclass(frozen=True, slots=True)
class _Opened:
    stream: Any
    rate: int
    channels: int
    device: Device


def load_sounddevice() -> Any:
    """The sounddevice module; raises ``AudioError`` with the command that brings PortAudio."""
    try:
        import sounddevice
    except (OSError, ImportError) as error:
        raise AudioError(
            f"the microphone cannot be used ({error})",
            todo=(
                "install PortAudio (Debian: sudo apt install libportaudio2; macOS and Windows: "
                "pip install --force-reinstall sounddevice); audio files work without it"
            ),
        ) from error
    return sounddevice


def list_devices(backend: Any = None) -> list[Device]:
    """Every device that can record, as it is now (the list is read afresh)."""
    sd = backend or load_sounddevice()
    _refresh(sd)
    hosts = sd.query_hostapis()
    default = _default_index(sd)
    return [
        Device(
            index=index,
            name=str(entry["name"]),
            host=str(hosts[entry["hostapi"]]["name"]),
            channels=int(entry["max_input_channels"]),
            rate=round(entry["default_samplerate"]),
            is_default=index == default,
        )
        for index, entry in enumerate(sd.query_devices())
        if entry["max_input_channels"] > 0
    ]


class Microphone:
    """A live ``AudioSource``. It survives being unplugged: it says so, waits and goes on."""

    live = True

    def __init__(
        self,
        device: str | None = None,
        *,
        backend: Any = None,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
        behind: Callable[[], str | None] | None = None,
    ) -> None:
        """``device`` is part of a name, or a number of the list, or None for the default; ``backend`` a sounddevice.

        ``behind`` tells what a sound server really records from (``route``); asked every second.
        """
        real = backend is None
        self._wanted = device
        self._sd = backend or load_sounddevice()
        self._clock, self._sleep = clock, sleep
        self._queue: queue.SimpleQueue[tuple[NDArray[Any], bool, float]] = queue.SimpleQueue()
        self._stop = threading.Event()
        self._behind = behind or (microphone_behind if real else lambda: None)
        self._route: str | None = None
        self._opened: _Opened | None = None
        self.name = device or "default microphone"
        self.overflows = 0
        """How often the system dropped samples."""

    def __enter__(self) -> Self:
        """Open the device; raises ``AudioError`` naming it, with what was tried."""
        self._opened = self._open()
        self.name = self._behind() or self._opened.device.name
        self._route = self.name
        threading.Thread(target=self._watch_route, name="microphone route", daemon=True).start()
        return self

    def __exit__(self, *failed: object) -> None:
        """Close the device."""
        self._stop.set()
        self._shut()

    def stop(self) -> None:
        """See ``AudioSource``."""
        self._stop.set()

    def blocks(self) -> Iterator[Block]:
        """See ``AudioSource``. What is still queued when ``stop`` comes is given too."""
        first = True
        while True:
            opened = self._opened
            if opened is not None:
                yield from self._listen(opened, first=first)
                first = False
            if self._stop.is_set():
                return
            self._reconnect()

    def _listen(self, opened: _Opened, *, first: bool) -> Iterator[Block]:
        """Blocks of one opened stream, until it is lost or stopped."""
        converter = Converter(opened.rate, opened.channels)
        health = StreamHealth(opened.rate, self._clock())
        waiting = self._greetings(opened, first=first)
        name_checked = self._clock()
        stopping = False
        while True:
            if self._stop.is_set() and not stopping:
                stopping = True
                self._shut_stream(opened)
            try:
                raw, overflow, came = self._queue.get(timeout=_POLL_S)
            except queue.Empty:
                lost = health.waited(self._clock())
                if lost or stopping:
                    yield Block(converter.flush(), (*waiting, *lost))
                    self._shut(gone=bool(lost))
                    return
                continue
            sound = as_float(raw)
            waiting += health.arrived(sound, came)
            if overflow:
                self.overflows += 1
                waiting.append(
                    Notice(Trouble.OVERFLOW, f"sound was dropped ({self.overflows} so far)")
                )
            if self._clock() - name_checked > _NAME_CHECK_S:
                name_checked = self._clock()
                waiting += self._renamed(opened)
            yield Block(converter.process(sound), tuple(waiting))
            waiting = []

    def _greetings(self, opened: _Opened, *, first: bool) -> list[Notice]:
        notices = []
        if not first:
            name = self._behind() or opened.device.name
            if name != self.name:
                notices.append(Notice(Trouble.RENAMED, f"now listening on {name}"))
            else:
                notices.append(Notice(Trouble.BACK, f"microphone is back: {name}"))
            self.name = self._route = name
        if opened.rate <= NARROW_BAND_RATE:
            notices.append(narrow_band(opened.rate))
        return notices

    def _renamed(self, opened: _Opened) -> list[Notice]:
        """The system moved the stream to another device, or gave it another name (bastibe/SoundCard#123)."""
        name = self._route
        if name in (None, opened.device.name):  # no server that knows better
            try:
                name = str(self._sd.query_devices(opened.device.index)["name"])
            except Exception:  # the library raises several kinds; a lost device shows as a stall
                return []
        if name is None or name == self.name:
            return []
        self.name = name
        return [Notice(Trouble.RENAMED, f"now listening on {name}")]

    def _watch_route(self) -> None:
        """Ask the sound server again and again, in a thread of its own: an answer may take its time."""
        while not self._stop.wait(_NAME_CHECK_S):
            if self._opened is not None:
                self._route = self._behind() or self._route

    def _reconnect(self) -> None:
        """One try to open again; waits a little when there is nothing to open."""
        try:
            _refresh(self._sd)
            self._opened = self._open(busy_tries=1)
        except AudioError:
            self._opened = None
            deadline = self._clock() + _RETRY_S
            while self._clock() < deadline and not self._stop.is_set():
                self._sleep(_POLL_S)

    def _open(self, busy_tries: int = _BUSY_TRIES) -> _Opened:
        device = self.find()
        tried: list[str] = []
        for attempt in range(busy_tries):
            busy = False
            for rate, channels, width in formats(device):
                try:
                    stream = self._sd.InputStream(
                        device=device.index,
                        samplerate=rate,
                        channels=channels,
                        dtype=width,
                        blocksize=round(rate * _BLOCK_S),
                        latency=_LATENCY_S,
                        callback=self._callback,
                    )
                    stream.start()
                except Exception as error:  # PortAudioError is not importable without PortAudio
                    reason = str(error)
                    if any(word in reason.lower() for word in _BUSY_WORDS):
                        busy = True
                        tried.append(reason)
                        break
                    tried.append(f"{rate} Hz {channels} ch {width}: {reason}")
                    continue
                return _Opened(stream, rate, channels, device)
            if not busy:
                break
            if attempt + 1 < busy_tries:
                self._sleep(1.0)
        if tried and any(word in tried[-1].lower() for word in _BUSY_WORDS):
            raise AudioError(
                f"the microphone is in use by another program ({tried[-1]})",
                where=device.name,
                todo="close that program, or choose another with --device NAME",
            )
        rates = ", ".join(str(rate) for rate in dict.fromkeys(rate for rate, *_ in formats(device)))
        last = f"{rates} Hz; the last answer: {tried[-1]}" if tried else "it offers no format"
        raise AudioError(
            f"the microphone cannot be opened at any rate ({last})",
            where=device.name,
            todo="see `fieldlog listen --list-devices` and choose another with --device NAME",
        )

    def find(self) -> Device:
        """The device that is meant, as the system lists it now; raises ``AudioError`` naming it."""
        devices = list_devices(self._sd)
        if not devices:
            raise AudioError(
                "no microphone found", todo="plug one in; `fieldlog listen --list-devices` shows it"
            )
        if self._wanted is None:
            return next((d for d in devices if d.is_default), devices[0])
        wanted = self._wanted.casefold()
        numbered = [d for d in devices if str(d.index) == wanted]
        if numbered:
            return numbered[0]
        named = [d for d in devices if wanted in d.name.casefold()]
        if not named:
            known = ", ".join(d.name for d in devices)
            raise AudioError(
                f"no microphone is called {self._wanted!r}; there are: {known}",
                todo="name one of these with --device",
            )
        return _meant(named, self._wanted)

    def _callback(self, data: NDArray[Any], frames: int, timing: object, status: Any) -> None:
        """In the system's audio thread: copy and go."""
        self._queue.put((data.copy(), bool(status and status.input_overflow), self._clock()))

    def _shut_stream(self, opened: _Opened) -> None:
        bounded(opened.stream.stop)

    def _shut(self, *, gone: bool = False) -> None:
        """Close what is open; ``gone``: the device was lost, and nothing it still holds is waited for."""
        opened, self._opened = self._opened, None
        if opened is None:
            return
        bounded(opened.stream.abort if gone else opened.stream.stop)
        bounded(opened.stream.close)
        while not self._queue.empty():
            # Blocks of a stream that is gone must not be taken for the next one's.
            self._queue.get()


def _meant(named: list[Device], wanted: str) -> Device:
    """The one of ``named`` that is called ``wanted``, or the only one whose name holds it.

    Several are asked about, by a place in the list where even their names are the same; cut names (ALSA
    and MME end them after some 30 letters) are told with the sound interface they stand under.
    """
    exact = [d for d in named if d.name.casefold() == wanted.casefold()] or named
    hosts = {d.host for d in exact}
    if len(exact) > 1 and len(hosts) == len(exact):  # the same device under several interfaces
        exact = [d for d in exact if d.is_default] or exact[:1]
    if len(exact) == 1:
        return exact[0]
    default = [d for d in exact if d.is_default]
    if len(default) == 1 and len({d.name for d in exact}) > 1:
        return default[0]
    told = "; ".join(f"{d.index}: {d.name} ({d.host})" for d in exact)
    raise AudioError(
        f"{wanted!r} can be {told}",
        todo="name it in full, or by its number, with --device",
    )


def bounded(work: Callable[[], object]) -> None:
    """Do ``work`` on a stream for ``_SHUT_S`` at most: a device that is gone may raise, or hang."""

    def tried() -> None:
        with contextlib.suppress(Exception):
            work()

    thread = threading.Thread(target=tried, name="closing a stream", daemon=True)
    thread.start()
    thread.join(_SHUT_S)


def formats(device: Device) -> list[tuple[int, int, str]]:
    """(rate, channels, width) to try, best first: the device's own rate, fewest channels."""
    rates = list(dict.fromkeys([device.rate, *_RATES]))
    counts = list(dict.fromkeys(n for n in (1, 2, device.channels) if 1 <= n <= device.channels))
    return [(rate, count, width) for width in _WIDTHS for rate in rates for count in counts]


def as_float(block: NDArray[Any]) -> NDArray[np.float32]:
    """Integer samples on the +-1 scale; floats as they are."""
    if np.issubdtype(block.dtype, np.integer):
        return (block / float(2 ** (8 * block.dtype.itemsize - 1))).astype(np.float32)
    return block.astype(np.float32, copy=False)


class Beside(Protocol):
    """A stream that another part holds open on the same sound system."""

    def let_go(self) -> None:
        """Close it: the system is about to start anew, and takes every stream with it."""
        ...

    def take_up(self) -> None:
        """Open it again, where that is possible."""
        ...


BESIDE: WeakSet[Beside] = WeakSet()
"""Streams that live through a new start of the sound system."""


def _refresh(sd: Any) -> None:
    """Make PortAudio look for devices again; it lists them only when it starts.

    Starting anew closes every stream: touched afterwards they would be memory of somebody else.
    """
    again = getattr(sd, "_terminate", None), getattr(sd, "_initialize", None)
    if not all(again):
        return
    others = list(BESIDE)
    for other in others:
        bounded(other.let_go)
    try:
        again[0]()  # type: ignore[misc]
        again[1]()  # type: ignore[misc]
    except Exception as error:
        raise AudioError(
            f"the sound system cannot be started ({error})",
            todo="check that sound works on this machine",
        ) from error
    for other in others:
        bounded(other.take_up)


def _default_index(sd: Any) -> int:
    """Number of the system's default microphone, -1 when it has none."""
    try:
        return int(sd.query_devices(kind="input")["index"])
    except Exception:  # the library raises several kinds when there is no default
        return -1
