"""Which tone an utterance gets, and that it is played once it is in the record."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.audio.loudspeaker import Loudspeaker
from fieldlog.audio.microphone import list_devices
from fieldlog.audio.tones import Tone, tone
from fieldlog.errors import AudioError, StoreError
from fieldlog.language.files import load_language
from fieldlog.model.context import Context
from fieldlog.shop import events as ev
from fieldlog.shop.signals import tone_of
from fieldlog.shop.workshop import Workshop
from fieldlog.store.repository import Repository
from tests.spoken import run, spoken, stub_listener


class FakeOutput:
    """A sounddevice that can play; ``heard(frames)`` is what comes out next."""

    def __init__(self, rates: tuple[int, ...] = (RATE,)) -> None:
        self.rates = rates
        self.callback: Any = None
        self.closed = False

    def OutputStream(self, *, samplerate: int, channels: int, dtype: str, callback: Any) -> Any:
        if samplerate not in self.rates:
            raise RuntimeError("Invalid sample rate [PaErrorCode -9997]")
        self.callback = callback
        return SimpleNamespace(start=lambda: None, close=self._close)

    def _close(self) -> None:
        self.closed = True

    def heard(self, frames: int) -> NDArray[np.float32]:
        out = np.full((frames, 1), 9.0, np.float32)
        self.callback(out, frames, None, None)
        return out[:, 0]


def test_what_is_played_comes_out_whole_and_in_order_with_silence_around() -> None:
    system = FakeOutput()
    with Loudspeaker(backend=system) as speaker:
        assert not system.heard(100).any()
        saved, asked = tone(Tone.SAVED), tone(Tone.ASKED)
        speaker.play(saved)
        speaker.play(asked)
        assert speaker.is_playing()
        count = len(saved) + len(asked)
        heard = np.concatenate([system.heard(333) for _ in range(count // 333 + 2)])
        assert np.array_equal(heard[:count], np.concatenate([saved, asked]))
        assert not heard[count:].any()
        assert not speaker.is_playing()
    assert system.closed


def test_a_device_with_another_rate_gets_the_tone_at_its_own() -> None:
    system = FakeOutput((48_000,))
    with Loudspeaker(backend=system) as speaker:
        speaker.play(tone(Tone.SAVED))
        heard = system.heard(3 * len(tone(Tone.SAVED)))
    assert float(np.abs(heard).max()) == pytest.approx(0.4, abs=0.05)


def test_without_a_device_the_rates_that_were_tried_are_named() -> None:
    with pytest.raises(AudioError, match=r"16000 Hz.*48000 Hz.*44100 Hz") as caught:
        Loudspeaker(backend=FakeOutput(())).__enter__()
    assert "--say nothing" in str(caught.value.todo)


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        ("left mirror cracked", Tone.SAVED),
        ("front pads zero millimetres", Tone.BEYOND),
        ("frame cracked", Tone.BEYOND),
        ("rear pads five millimetres", Tone.SAVED),
        ("pads two millimetres", Tone.ASKED),
        ("what a lovely morning", Tone.NOT_UNDERSTOOD),
        ("remark it squeals", Tone.SAVED),
        ("what is left", Tone.SAVED),
        ("left mirror tight and front pads zero millimetres", Tone.BEYOND),
    ],
)
def test_the_tone_of_what_was_typed(tmp_path: Path, words: str, wanted: Tone) -> None:
    with Repository.open(tmp_path / "record") as store:
        shop = Workshop(store, language=load_language())
        vehicle = shop.add_vehicle("grey twin", {})
        inspecting = shop.inspecting(shop.begin(vehicle.name, Context("US-VA")).id)
        assert tone_of(inspecting.type(words)) is wanted


def test_while_standing_by_nothing_sounds(tmp_path: Path) -> None:
    with Repository.open(tmp_path / "record") as store:
        shop = Workshop(store, language=load_language())
        vehicle = shop.add_vehicle("grey twin", {})
        inspecting = shop.inspecting(shop.begin(vehicle.name, Context("US-VA")).id)
        assert tone_of(inspecting.type("stand by")) is Tone.SAVED
        assert tone_of(inspecting.type("left mirror cracked")) is None


def test_what_the_record_cannot_take_sounds_like_a_lost_microphone() -> None:
    fault = ev.NotSaved("left mirror cracked", 1, StoreError("the disk is full"))
    assert tone_of((fault,)) is Tone.LOST


def test_listening_plays_a_tone_for_each_utterance(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Played by file as if spoken, with --say tones: after the line's utterance is in the record."""
    stub_listener(monkeypatch)
    system = FakeOutput()
    played: list[int] = []

    class Hears(Loudspeaker):
        def __init__(self) -> None:
            super().__init__(backend=system)

        def play(self, samples: NDArray[np.float32], name: str = "") -> None:
            played.append(len(samples))

    monkeypatch.setattr("fieldlog.audio.loudspeaker.Loudspeaker", Hears)
    sound = spoken(tmp_path / "said.wav")
    for more, count in ((["--say", "tones"], 1), ([], 0)):
        played.clear()
        done = run("listen", "--source", sound, "--fast", "--store", tmp_path / "record", *more)
        assert done.exit_code == 0, done.output
        assert len(played) == count


def test_a_new_start_of_the_sound_system_closes_the_stream_first_and_opens_it_again() -> (
    None
):  # spatialaudio/python-sounddevice#493
    """A microphone that comes back starts PortAudio anew, which takes every stream with it."""
    order: list[str] = []

    class Output(FakeOutput):
        def OutputStream(self, **how: Any) -> Any:
            order.append("open")
            super().OutputStream(**how)
            return SimpleNamespace(start=lambda: None, close=lambda: order.append("close"))

        def _terminate(self) -> None:
            order.append("terminate")

        def _initialize(self) -> None:
            order.append("initialize")

        def query_hostapis(self) -> list[dict[str, str]]:
            return []

        def query_devices(self, index: int | None = None, kind: str = "") -> Any:
            return {"index": 0} if kind else []

    system = Output()
    with Loudspeaker(backend=system):
        list_devices(system)
    list_devices(system)  # nobody's stream any more
    wanted = ["open", "close", "terminate", "initialize", "open", "close"]
    assert order == [*wanted, "terminate", "initialize"]
