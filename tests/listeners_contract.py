"""One suite for every listener: what ``fieldlog.listeners.base.Listener`` promises the rest.

``tests/test_listeners_contract.py`` runs it over each of them. A subclass says how to open its
listener, the language and a clip with what was said in it (None for listeners without ears).
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE, Clip
from fieldlog.errors import FieldlogError
from fieldlog.grammar import TaggedLanguage
from fieldlog.listeners.base import Listener
from fieldlog.model.hearing import Hearing
from fieldlog.model.understanding import Decision

DATA = Path(__file__).with_name("data")

SMALL = """#JSGF V1.0 UTF-8 en;
grammar small;
public <said> = [the] (battery | cell) {component} <number> volts
              | (rear | front) {position} tread <number> thirty seconds
              | can i get a small latte [with (soy | almond) milk];
<number> = ((two | three | four | twelve) [point <digit>]) {number};
<digit> = one | two | three | four | five | six | seven | eight | nine;
"""


def clip_of(name: str) -> Clip:
    """A clip of ``tests/data`` (16 kHz)."""
    samples, rate = soundfile.read(DATA / name, dtype="float32")
    assert rate == RATE
    return Clip(samples)


def sound(samples: NDArray[np.float64]) -> Clip:
    """Any samples as a clip."""
    return Clip(samples.astype(np.float32))


_CHANCE = np.random.default_rng(7)
ODD = {
    "empty": sound(np.zeros(0)),
    "one sample": sound(np.full(1, 0.3)),
    "50 ms": sound(_CHANCE.normal(0, 0.1, 800)),
    "digital silence": sound(np.zeros(2 * RATE)),
    "not a number": sound(np.full(RATE, np.nan)),
    "half not a number": sound(np.where(np.arange(RATE) % 2, np.nan, 0.1)),
    "infinite": sound(np.full(RATE, np.inf)),
    "too loud": sound(_CHANCE.normal(0, 30.0, RATE)),
    "constant": sound(np.full(RATE, 0.5)),
    "noise of 3 s": sound(_CHANCE.normal(0, 0.05, 3 * RATE)),
    "silence of 30 s": sound(_CHANCE.normal(0, 1e-4, 30 * RATE)),
}


class ListenerContract:
    """Inherit, and say how to ``open`` the listener."""

    language_text = SMALL
    clip_name: str | None = "speech/battery_twelve.flac"
    said = "battery twelve point six volts"

    @classmethod
    def open(cls) -> Listener:
        """A listener, not loaded; skips the test when it cannot run here."""
        raise AssertionError("a contract test says how to open its listener")

    @pytest.fixture(scope="class")
    @classmethod
    def language(cls) -> TaggedLanguage:
        return TaggedLanguage.from_text(cls.language_text)

    @pytest.fixture(scope="class")
    @classmethod
    def loaded(cls, language: TaggedLanguage) -> Iterator[Listener]:
        listener = cls.open()
        listener.load(language)
        yield listener
        listener.close()

    def test_it_is_a_listener_with_a_name(self) -> None:
        listener = self.open()
        assert isinstance(listener, Listener)
        assert listener.name
        listener.close()

    def test_hearing_before_loading_says_so(self) -> None:
        listener = self.open()
        with pytest.raises(FieldlogError, match=r"load\(\)"):
            listener.hear(ODD["noise of 3 s"])
        listener.close()

    @pytest.mark.parametrize("kind", list(ODD))
    def test_odd_sound_is_an_answer_not_an_error(self, loaded: Listener, kind: str) -> None:
        hearing = loaded.hear(ODD[kind])
        assert isinstance(hearing, Hearing)
        assert hearing.listener
        assert hearing.latency_ms >= 0

    @pytest.mark.parametrize("kind", ["empty", "one sample", "digital silence"])
    def test_nothing_is_heard_where_nothing_is(self, loaded: Listener, kind: str) -> None:
        assert loaded.hear(ODD[kind]).hypotheses == ()

    def test_it_hears_what_was_said(self, loaded: Listener, language: TaggedLanguage) -> None:
        if self.clip_name is None:
            pytest.skip(f"{loaded.name} has no ears of its own; see its own tests")
        hearing = loaded.hear(clip_of(self.clip_name))
        assert [h.text for h in hearing.hypotheses][:1] == [self.said]
        assert language.understand(hearing.hypotheses[0].text).decision is Decision.ACCEPT

    def test_hypotheses_are_distinct_plain_words_best_first(
        self, loaded: Listener, language: TaggedLanguage
    ) -> None:
        if self.clip_name is None:
            pytest.skip(f"{loaded.name} has no ears of its own; see its own tests")
        hypotheses = loaded.hear(clip_of(self.clip_name)).hypotheses
        texts = [h.text for h in hypotheses]
        assert len(set(texts)) == len(texts)
        for hypothesis in hypotheses:
            assert hypothesis.text == " ".join(hypothesis.text.split())
            assert all(isinstance(value, float) for value in hypothesis.evidence.values())
            language.understand(hypothesis.text)  # whatever it is, the parser decides

    def test_an_odd_clip_does_not_spoil_the_next(self, loaded: Listener) -> None:
        if self.clip_name is None:
            pytest.skip(f"{loaded.name} has no ears of its own; see its own tests")
        clip = clip_of(self.clip_name)
        before = [h.text for h in loaded.hear(clip).hypotheses][:1]
        for kind in ("empty", "not a number", "too loud"):
            loaded.hear(ODD[kind])
        assert [h.text for h in loaded.hear(clip).hypotheses][:1] == before

    def test_another_language_can_be_loaded(self, language: TaggedLanguage) -> None:
        listener = self.open()
        listener.load(language)
        listener.load(language)
        assert listener.hear(ODD["digital silence"]).hypotheses == ()
        listener.close()

    def test_closing_twice_is_harmless_and_hearing_afterwards_is_not_loaded(
        self, language: TaggedLanguage
    ) -> None:
        listener = self.open()
        listener.load(language)
        listener.close()
        listener.close()
        with pytest.raises(FieldlogError, match=r"load\(\)"):
            listener.hear(ODD["noise of 3 s"])
