"""What is being said stops when somebody begins to speak, and is not lost by that."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from fieldlog.audio.begins import Begins, frames_before
from fieldlog.audio.capture import Capture, Level
from fieldlog.audio.clip import FRAME, RATE
from fieldlog.audio.endpointer import Endpointer
from fieldlog.audio.playback import Playback
from fieldlog.audio.source import FileSource
from fieldlog.audio.tones import Tone, tone
from fieldlog.audio.voice import bundled_voice
from fieldlog.language.files import load_language
from fieldlog.shop import live as live_module
from fieldlog.shop.live import LiveInspection
from fieldlog.shop.mouth import QUIET_S, Mouth
from fieldlog.shop.played import Played, beside
from fieldlog.shop.saying import Say, Saying
from fieldlog.words.aloud import sentence
from fieldlog.words.spoken import read_back

Samples = NDArray[np.float32]


class Plays:
    """A loudspeaker that plays at once."""

    def __init__(self) -> None:
        self.playback = Playback()
        self.played: list[str] = []

    def play(self, samples: Samples, name: str = "") -> None:
        self.playback.begins(samples, name)
        self.played.append(name)

    def cut(self) -> None:
        self.playback.cut()


def reading() -> Saying:
    finding = load_language().understand("front pads two millimetres").finding
    assert finding is not None
    return Saying(Tone.SAVED, sentence("Confirm", read_back(finding)), (finding,))


@pytest.fixture
def plays() -> Plays:
    return Plays()


@pytest.fixture
def mouth(plays: Plays) -> Mouth:
    mouth = Mouth(Say.VALUES, plays, bundled_voice())
    plays.playback.at(1.0)
    mouth.say(reading())
    plays.playback.at(2.5)
    return mouth


def sounding(plays: Plays, at_s: float) -> bool:
    """Whether anything is played in the half second from there."""
    return bool(plays.playback.reference(at_s, RATE // 2).any())


def test_who_begins_to_speak_is_given_way_to_and_a_tone_is_not_cut(
    plays: Plays, mouth: Mouth
) -> None:
    assert sounding(plays, 3.0)
    mouth.gives_way()
    assert not sounding(plays, 2.55)
    assert sounding(plays, 2.0)
    assert plays.played == ["", "1"]
    plays.playback.at(10.0)
    mouth.say(Saying(Tone.SAVED))
    plays.playback.at(10.02)
    mouth.gives_way()
    assert len(plays.playback.around(10.0, 10.1, 0.0)[0].samples) == len(tone(Tone.SAVED))


def test_it_is_said_again_once_it_is_quiet_where_nothing_came_of_it(
    plays: Plays, mouth: Mouth
) -> None:
    mouth.gives_way()
    mouth.goes_on(2.4, quiet=True)  # told of a time before: the queue of events lags behind
    mouth.goes_on(3.5, quiet=False)
    assert plays.played == ["", "1"]
    plays.playback.at(4.0)
    mouth.say(Saying(Tone.NOT_UNDERSTOOD))
    mouth.goes_on(4.1, quiet=True)
    assert plays.played == ["", "1", "", "2"]
    assert mouth._said["2"] == reading()  # and still known as our own words
    plays.playback.at(5.0)
    assert sounding(plays, 5.0)


def test_what_something_came_of_is_not_said_again(plays: Plays, mouth: Mouth) -> None:
    mouth.gives_way()
    mouth.say(Saying(Tone.SAVED))
    mouth.goes_on(9.0, quiet=True)
    assert plays.played == ["", "1", ""]


def test_what_was_heard_to_its_end_is_not_said_again(plays: Plays, mouth: Mouth) -> None:
    plays.playback.at(30.0)
    mouth.gives_way()
    mouth.goes_on(40.0, quiet=True)
    assert plays.played == ["", "1"]


def test_what_is_not_understood_in_the_midst_of_it_does_not_lose_it(
    plays: Plays, mouth: Mouth
) -> None:
    """Whoever is not heard to begin (a radio that talked before it) ends while we speak."""
    mouth.say(Saying(Tone.NOT_UNDERSTOOD))
    assert not sounding(plays, 2.6 + len(tone(Tone.NOT_UNDERSTOOD)) / RATE)
    mouth.goes_on(6.0, quiet=True)
    assert plays.played == ["", "1", "", "2"]


def test_a_radio_that_never_stops_does_not_keep_it_from_being_heard(
    plays: Plays, mouth: Mouth
) -> None:
    mouth.gives_way()
    mouth.goes_on(9.0, quiet=False)
    assert plays.played == ["", "1"]
    plays.playback.at(13.0)
    mouth.goes_on(13.0, quiet=False)
    assert plays.played == ["", "1", "2"]
    plays.playback.at(13.5)
    mouth.gives_way()
    assert sounding(plays, 13.6)


def test_it_gives_way_twice_and_then_says_it_to_its_end(plays: Plays, mouth: Mouth) -> None:
    for at_s in (2.5, 12.5, 22.5):
        plays.playback.at(at_s)
        mouth.gives_way()
        if at_s < 22.5:
            plays.playback.at(at_s + 9.5)
            mouth.goes_on(at_s + 9.5, quiet=True)
    assert plays.played == ["", "1", "2", "3"]
    assert sounding(plays, 22.6)


def test_what_has_to_be_heard_is_heard_to_its_end_and_the_tone_comes_behind(
    plays: Plays, mouth: Mouth
) -> None:
    for at_s in (2.5, 12.5):
        plays.playback.at(at_s)
        mouth.gives_way()
        plays.playback.at(at_s + 9.5)
        mouth.goes_on(at_s + 9.5, quiet=True)
    whole = plays.playback.named("3")
    assert whole is not None
    mouth.say(Saying(Tone.NOT_UNDERSTOOD))
    assert plays.playback.named("3") == whole
    assert plays.playback.around(whole.end_s, 60.0, 0.0)[-1].name == ""


def test_words_wait_while_somebody_goes_on_and_the_tone_does_not(
    plays: Plays, mouth: Mouth
) -> None:
    """Two findings in a row: what the first led to is not said into the second."""
    plays.playback.at(20.0)
    mouth.is_spoken_to = lambda: True
    mouth.say(reading())
    assert plays.played == ["", "1", ""]
    mouth.goes_on(21.0, quiet=False)
    assert plays.played == ["", "1", ""]
    mouth.is_spoken_to = lambda: False
    mouth.goes_on(22.0, quiet=True)
    assert plays.played == ["", "1", "", "2"]
    mouth.is_spoken_to = lambda: True
    plays.playback.at(30.0)
    mouth.say(reading())
    mouth.say(Saying(Tone.SAVED))
    mouth.goes_on(60.0, quiet=True)
    assert plays.played == ["", "1", "", "2", "", ""]


def test_that_something_was_not_understood_does_not_take_the_place_of_what_matters(
    plays: Plays, mouth: Mouth
) -> None:
    mouth.gives_way()
    told = Saying(Tone.NOT_UNDERSTOOD, "not understood.")
    mouth.say(told)
    plays.playback.at(3.2)
    mouth.gives_way()
    mouth.is_spoken_to = lambda: True
    mouth.say(told)
    mouth.goes_on(8.0, quiet=True)
    assert mouth._said[plays.played[-1]] == reading()


def test_the_notes_tell_where_it_stopped(tmp_path: Path) -> None:
    """A recording that is heard again after a power cut has no echo behind that."""
    stream = tmp_path / "stream-20261129T101500.000Z.wav"
    plays = Plays()
    mouth = Mouth(Say.VALUES, plays, bundled_voice(), kept=beside(stream))
    plays.playback.at(1.0)
    mouth.say(reading())
    plays.playback.at(2.5)
    mouth.gives_way()
    plays.playback.at(4.0)
    mouth.goes_on(4.0, quiet=True)
    plays.playback.at(4.8)
    mouth.is_spoken_to = lambda: True
    mouth.say(reading())
    plays.playback.at(9.0)
    mouth.goes_on(9.0, quiet=True)
    played = Played.read(stream, bundled_voice())
    assert played is not None
    here, there = (each.playback.reference(0.0, 12 * RATE) for each in (plays, played))
    assert np.allclose(here, there, atol=1e-6)
    assert np.abs(here[round(4.2 * RATE) : round(4.8 * RATE)]).max() > 0.01


def test_who_speaks_up_over_a_radio_begins() -> None:
    """A radio was talking before the words began: one utterance, in which somebody nearer begins."""
    rng = np.random.default_rng(1)
    radio = rng.normal(0.0, 0.01, 2 * RATE).astype(np.float32)
    near = rng.normal(0.0, 0.05, RATE).astype(np.float32)
    begins, found = Begins(), list[int]()
    for at, block in enumerate(np.split(np.concatenate([radio, near, radio]), 250)):
        if begins.push(block, speaking=at > 10):
            found.append(at)
    assert found[0] == 11
    assert found[1:]
    assert all(100 <= at <= 110 for at in found[1:])
    assert begins.push(radio[:320], speaking=True, ended=True)


class Loud:
    """Voice wherever the sound is loud."""

    name = "loud"

    def probability(self, frame: Samples) -> float:
        return float(np.abs(frame).max() > 0.1)

    def reset(self) -> None:
        """Nothing to forget."""


def test_a_capture_tells_each_beginning_once(tmp_path: Path) -> None:
    sound = np.zeros(200 * FRAME, np.float32)
    for first in (20, 90, 150):
        sound[first * FRAME : (first + 20) * FRAME] = 0.5
    path = tmp_path / "three.wav"
    soundfile.write(path, sound, RATE)
    begun: list[float] = []
    with FileSource(path, fast=True) as source:
        capture = Capture(source, Endpointer(voice=Loud()), begins=lambda: begun.append(0.0))
        levels = [each for each in capture.events() if isinstance(each, Level)]
    assert len(begun) == 3
    assert levels


class Told:
    """As much of a mouth as is told how the stream goes on."""

    asks = False

    def __init__(self) -> None:
        self.is_spoken_to: Callable[[], bool] = lambda: False
        self.quiet: list[tuple[float, bool]] = []

    def overheard(self, heard: Any) -> Any:
        return heard

    def gives_way(self) -> None:
        self.quiet.append((-1.0, False))

    def goes_on(self, position_s: float, *, quiet: bool) -> None:
        self.quiet.append((position_s, quiet))


class Alone:
    """An inspection that nobody speaks to."""

    class affirming:  # noqa: N801
        asks = False

    class conversation:  # noqa: N801
        overheard = None


@pytest.mark.parametrize("cancels", [True, False])
def test_a_session_gives_way_only_where_it_does_not_hear_itself(
    cancels: bool, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    given: list[Any] = []

    class Captures:
        def __init__(self, *_: Any, begins: Any, **__: Any) -> None:
            given.append(begins)

        speaking = True

        def events(self) -> list[Level]:
            given[0]()
            return [Level(1.0, -20, -20, True), Level(1.1, -60, -60, False), Level(2.6, -60, -60, False)]  # fmt: skip

    monkeypatch.setattr(live_module, "Capture", Captures)
    live, mouth = LiveInspection(Alone()), Told()  # type: ignore[arg-type]
    live.speaks(mouth)  # type: ignore[arg-type]
    warmed: list[bool] = []
    monkeypatch.setattr(live, "warm", lambda: warmed.append(True))
    source: Any = SimpleNamespace(live=cancels)
    list(live_module.listen(source, live, echo=object() if cancels else None))  # type: ignore[arg-type]
    assert warmed == [True] * cancels  # once, while the sound is taken already
    assert ((-1.0, False) in mouth.quiet) is cancels
    assert mouth.is_spoken_to() is cancels
    assert [each for each in mouth.quiet if each[0] > 0] == [
        (1.0, False),
        (1.1, False),
        (2.6, True),
    ]
    assert 1.0 < QUIET_S < 2.0


def test_what_was_said_before_an_utterance_was_known_is_of_it() -> None:
    def before(*voice: float, power: float = 1.0, least: float = 0.1) -> int:
        return frames_before(voice, [power] * len(voice), least)

    silence, voice = (0.0,) * 30, (0.9,) * 5
    assert before() == before(*silence) == 0
    assert before(*silence, *voice) == 5 + 10  # and what is soft in front of it
    assert before(*voice) == 5  # no further than there is sound
    assert before(*silence, *voice, *silence[:8]) == 5 + 8 + 10  # between two words
    assert before(*silence, *voice, *silence[:8], *voice) == 5 + 8 + 5 + 10
    assert before(*voice, *silence) == 0  # another utterance
    assert before(*silence, *voice, *silence, *voice) == 5 + 10
    assert before(*silence, *voice, power=0.05) == 0  # a radio, or what is left of us
