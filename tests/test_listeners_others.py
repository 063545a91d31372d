"""Typed words, recordings, the worker process, and choosing a listener."""

from __future__ import annotations

import os
import signal
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from fieldlog.audio.clip import RATE, Clip
from fieldlog.errors import GrammarError, ModelError, UsageError
from fieldlog.grammar import TaggedLanguage
from fieldlog.grammar.language import Language
from fieldlog.language.files import load_language
from fieldlog.listeners.base import Listener
from fieldlog.listeners.choose import NAMES, available, open_listener
from fieldlog.listeners.replay import ReplayListener, clip_key
from fieldlog.listeners.typed import TypedListener
from fieldlog.listeners.worker import Crash, WorkerListener
from fieldlog.model.hearing import Hearing, Hypothesis
from tests.listeners_contract import SMALL

LANGUAGE = TaggedLanguage.from_text(SMALL)
CLIP = Clip(np.full(RATE, 0.25, dtype=np.float32))
OTHER = Clip(np.full(RATE, 0.5, dtype=np.float32), start_s=3.0)


# --- typed -----------------------------------------------------------------------------------


def test_typed_texts_are_heard_in_order_then_nothing() -> None:
    listener = TypedListener(["battery two volts", "  "])
    listener.load(LANGUAGE)
    listener.type("rear tread two thirty seconds")
    heard = [[h.text for h in listener.hear(CLIP).hypotheses] for _ in range(4)]
    assert heard == [["battery two volts"], [], ["rear tread two thirty seconds"], []]


# --- replay ----------------------------------------------------------------------------------


def test_what_was_recorded_is_played_back() -> None:
    heard = Hearing("typed", (Hypothesis("battery two volts", 0.0, {}),), 0.0)
    replay = ReplayListener({clip_key(CLIP): heard})
    replay.load(LANGUAGE)
    assert replay.hear(CLIP) == heard
    assert replay.hear(OTHER).hypotheses == ()


def test_a_clip_is_known_by_its_sound_alone() -> None:
    assert clip_key(CLIP) == clip_key(Clip(CLIP.samples, start_s=99.0))
    assert clip_key(CLIP) != clip_key(OTHER)


# --- worker ----------------------------------------------------------------------------------


class _Fragile:
    """Hears its own process number; dies, hangs or refuses when the clip tells it to."""

    name = "fragile"

    def load(self, language: Language) -> None:
        if "unsayable" in language.words():
            raise GrammarError("cannot say unsayable", where="fragile", todo="say it otherwise")
        if "fatal" in language.words():
            os.kill(os.getpid(), signal.SIGKILL)

    def hear(self, clip: Clip) -> Hearing:
        match clip.start_s:
            case 1.0:
                os.kill(os.getpid(), signal.SIGSEGV)
            case 2.0:
                sys.exit(7)
            case 3.0:
                raise ModelError("worn out", where=self.name, todo="rest")
        return Hearing(self.name, (Hypothesis(str(os.getpid()), 0.0),), 1.0)

    def close(self) -> None:
        pass


def open_fragile(_name: str, _model: Path | None) -> Listener:
    return _Fragile()


def _clip(start_s: float) -> Clip:
    return Clip(CLIP.samples, start_s)


def test_a_crash_costs_one_utterance_and_is_told() -> None:
    """kill -SEGV in the middle of a session: it goes on, restarted, and says so."""
    told: list[Crash] = []
    worker = WorkerListener("fragile", on_crash=told.append, opener=open_fragile)
    worker.load(LANGUAGE)
    first = worker.hear(_clip(0.0)).hypotheses[0].text
    assert first == str(worker.pid) != str(os.getpid())
    assert worker.hear(_clip(1.0)).hypotheses == ()
    assert [str(crash) for crash in told] == [
        "the recogniser crashed (signal 11) and was restarted; say it again"
    ]
    second = worker.hear(_clip(0.0)).hypotheses[0].text
    assert second not in (first, str(os.getpid()))
    assert worker.hear(_clip(2.0)).hypotheses == ()
    assert told[1].what == "exit 7"
    os.kill(int(worker.hear(_clip(0.0)).hypotheses[0].text), signal.SIGKILL)  # between utterances
    assert worker.hear(_clip(0.0)).hypotheses == ()
    assert worker.hear(_clip(0.0)).hypotheses
    assert worker.crashes == told
    assert len(told) == 3
    worker.close()
    assert worker.pid is None


def test_errors_cross_the_border_whole() -> None:
    worker = WorkerListener("fragile", opener=open_fragile)
    worker.load(LANGUAGE)
    with pytest.raises(ModelError) as caught:
        worker.hear(_clip(3.0))
    assert (caught.value.what, caught.value.where, caught.value.todo) == (
        "worn out",
        "fragile",
        "rest",
    )
    assert worker.hear(_clip(0.0)).hypotheses  # it was no crash
    worker.close()
    with pytest.raises(GrammarError, match="cannot say unsayable"):
        worker.load(TaggedLanguage.from_text("#JSGF V1.0;\ngrammar g;\npublic <a> = unsayable;"))
    assert worker.pid is None


def test_a_worker_that_keeps_crashing_is_given_up() -> None:
    worker = WorkerListener("fragile", opener=open_fragile)
    worker.load(LANGUAGE)
    assert worker.hear(_clip(1.0)).hypotheses == ()
    assert worker.hear(_clip(1.0)).hypotheses == ()
    with pytest.raises(ModelError, match="crashed 3 times in a row"):
        worker.hear(_clip(1.0))
    worker.close()
    with pytest.raises(ModelError, match="crashed while loading"):
        worker.load(TaggedLanguage.from_text("#JSGF V1.0;\ngrammar g;\npublic <a> = fatal;"))
    worker.close()


def test_a_worker_that_hangs_counts_as_crashed(monkeypatch: pytest.MonkeyPatch) -> None:
    worker = WorkerListener("fragile", opener=open_fragile)
    worker.load(LANGUAGE)
    os.kill(int(str(worker.pid)), signal.SIGSTOP)
    monkeypatch.setattr("fieldlog.listeners.worker.HEAR_S", 0.2)
    monkeypatch.setattr("fieldlog.listeners.worker.PER_SECOND_S", 0.1)
    began = time.monotonic()
    assert worker.hear(_clip(0.0)).hypotheses == ()
    assert time.monotonic() - began < 30
    assert worker.crashes[0].what == "no answer in 0.3 s"
    assert worker.hear(_clip(0.0)).hypotheses
    worker.close()


def test_our_own_language_can_be_sent_to_a_worker() -> None:
    import pickle

    from fieldlog.listeners.worker import pack

    inspection = load_language()
    inspection.understand("rear tread four thirty seconds")
    there = pickle.loads(pack(inspection))
    for text in ("rear tread four thirty seconds", "battery twelve point six volts", "nonsense"):
        assert there.understand(text) == inspection.understand(text)
    assert there.words() == inspection.words()


# --- choosing --------------------------------------------------------------------------------


def test_listeners_by_name() -> None:
    assert [open_listener(name).name for name in NAMES] == list(NAMES)
    assert isinstance(open_listener("vosk", isolated=True), WorkerListener)
    with pytest.raises(UsageError, match=r"no listener 'ear'.*whisper, vosk, pocketsphinx"):
        open_listener("ear")


def test_availability_says_what_is_missing_and_the_command(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """I4: with every optional library absent there is an answer, not a traceback."""
    assert {a.name for a in available()} == set(NAMES)
    monkeypatch.setattr("importlib.util.find_spec", lambda _: None)
    for answer in available():
        assert not answer.ready
        assert answer.todo.startswith("pip install")
    monkeypatch.undo()
    vosk = available(tmp_path / "none")[1]
    assert not vosk.ready
    assert "none" in vosk.detail
