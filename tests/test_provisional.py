"""Words on the screen while they are said: a Vosk model's, shown and never taken for anything."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from fieldlog.audio.capture import Level
from fieldlog.audio.clip import RATE
from fieldlog.cli.live_screen.drawing import lines_of
from fieldlog.cli.live_screen.state import Screen
from fieldlog.errors import ModelError
from fieldlog.grammar import TaggedLanguage
from fieldlog.listeners import provisional as module
from fieldlog.listeners.provisional import Provisional
from tests.listeners_contract import DATA, clip_of
from tests.spoken import run
from tests.test_listeners_contract import need_korean_model


def until(holds: Callable[[], bool], seconds: float = 60.0) -> bool:
    """Whether it holds before so long; a busy machine takes its time."""
    end = time.monotonic() + seconds
    while not holds() and time.monotonic() < end:
        time.sleep(0.01)
    return holds()


def test_words_come_while_they_are_said_and_go_with_the_utterance(
    capfd: pytest.CaptureFixture[str],
) -> None:
    language = TaggedLanguage.from_file(DATA / "korean.jsgf")
    sound = clip_of("korean_one.flac").samples
    told: list[str] = []
    phrases = [*language.phrases(), "motorcycle"]  # a word that the model lacks
    with Provisional(need_korean_model(), phrases, tell=told.append) as provisional:
        seen = list[str]()
        for at in range(0, len(sound), RATE // 10):
            provisional.take(sound[at : at + RATE // 10], True)
        assert until(lambda: provisional.text not in ("", *seen[-1:]) or bool(told)), told
        assert until(lambda: "마모" in provisional.text), provisional.text
        assert "브레이크" in provisional.text
        provisional.take(sound[:1600], False)
        assert until(lambda: provisional.text == "")
        for at in range(0, len(sound), RATE // 10):  # and the next utterance begins afresh
            provisional.take(sound[at : at + RATE // 10], True)
        assert until(lambda: "마모" in provisional.text)
        assert provisional.text.count("마모") == 1
    assert told == []
    assert capfd.readouterr() == ("", "")


def test_a_folder_that_holds_no_model_is_told_before_anything_begins(tmp_path: Path) -> None:
    with pytest.raises(ModelError):
        Provisional(tmp_path, [])


def test_a_recogniser_that_dies_costs_the_words_and_is_told_once(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(module, "check_folder", lambda folder: folder)
    told: list[str] = []
    with Provisional(tmp_path, ["x"], tell=told.append) as provisional:
        assert until(lambda: bool(told))
        for _ in range(300):  # nobody takes it any more, and nothing waits
            provisional.take(np.zeros(1600, np.float32), True)
        assert provisional.text == ""
    assert len(told) == 1
    assert "no words are shown while you speak" in told[0]


def test_the_screen_shows_them_as_they_come_and_drops_them(tmp_path: Path) -> None:
    def shown(screen: Screen) -> str:
        return "\n".join(line.plain for line in lines_of(screen, 60, 14))

    screen = Screen("inspection 1", "USB mic")
    speaking = Level(1.0, -20.0, -10.0, True)
    assert "… front pads two" in shown(screen.with_level(speaking, "front pads two"))
    assert "\x1b" not in shown(screen.with_level(speaking, "front\x1b[2Jpads"))
    newest = shown(screen.with_level(speaking, "well " * 40 + "two millimetres"))
    assert "two millimetres" in newest
    over = screen.with_level(speaking, "front pads").with_level(
        Level(2.0, -60.0, -50.0, False), "front pads"
    )
    assert "front pads" not in shown(over)


def test_a_words_model_that_is_none_is_told_before_anything_is_made(tmp_path: Path) -> None:
    record, silence = tmp_path / "record", tmp_path / "silence.wav"
    soundfile.write(silence, np.zeros(RATE, np.float32), RATE)
    result = run(
        *("listen", "--source", silence, "--fast"),
        *("--words-model", tmp_path, "--store", record),
    )
    assert result.exit_code == 4
    assert str(tmp_path) in result.stderr
    assert not record.exists()
