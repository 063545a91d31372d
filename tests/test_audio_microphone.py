"""The microphone on a fake sound system: its devices, rates, loss and return."""

from __future__ import annotations

import sys
import threading
import time
from typing import Any

import numpy as np
import pytest

from fieldlog.audio.clip import RATE
from fieldlog.audio.health import ALARMS, Trouble
from fieldlog.audio.microphone import (
    Microphone,
    as_float,
    bounded,
    list_devices,
    load_sounddevice,
)
from fieldlog.audio.route import microphone_behind
from fieldlog.errors import AudioError
from tests.fake_sound import (
    ONES,
    Clock,
    FakeSystem,
    gather,
    mic,
)
from tests.test_audio_endpointer import stream


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
