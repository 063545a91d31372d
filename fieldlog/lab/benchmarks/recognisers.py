"""The recognisers that are compared, each ready to be built in a process of its own."""

from __future__ import annotations

import time
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

from fieldlog.audio.clip import Clip
from fieldlog.errors import ModelError
from fieldlog.grammar.language import Language
from fieldlog.grammar.sample import Sampler
from fieldlog.grammar.tagged import TaggedLanguage
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.listeners.base import Listener
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.understanding import Decision
from fieldlog.quantities.normalise import normalise

PHRASES = 20_000
"""Phrases drawn from the grammar for the nearest-phrase recogniser."""


class NearestPhrase:
    """Plain Whisper, then the nearest phrase: what one would build in an afternoon.

    The transcription is normalised; if the grammar takes it, that is the answer; otherwise the
    nearest of ``PHRASES`` random phrases of the grammar by rapidfuzz (cutoff 70 of 100).
    """

    name = "nearest phrase"

    def __init__(self, model: Path | None = None) -> None:
        """``model`` as for ``WhisperListener``."""
        from fieldlog.listeners.whisper.listener import WhisperListener

        self._whisper = WhisperListener(model, adapt=False)
        self._language: Language | None = None
        self._phrases: list[str] = []

    def load(self, language: Language) -> None:
        """Load the weights and draw the phrases."""
        self._whisper.load(language)
        self._language = language
        if isinstance(language, TaggedLanguage | InspectionLanguage):
            sampler = Sampler(language.grammar.rules, language.grammar.public, seed=1)
            self._phrases = sorted({sampler.random_phrase() for _ in range(PHRASES)})
        else:
            self._phrases = language.phrases()

    def hear(self, clip: Clip) -> Hearing:
        """One hypothesis, or none below the cutoff."""
        from rapidfuzz import fuzz, process

        began = time.perf_counter()
        if self._language is None:
            raise ModelError("nothing is loaded", where=self.name, todo="call load() first")
        text = normalise(self._whisper.transcribe(clip)).text
        found: tuple[Hypothesis, ...] = ()
        if text and self._language.understand(text).decision is not Decision.REFUSE:
            found = (Hypothesis(text, 0.0),)
        elif text:
            best = process.extractOne(text, self._phrases, scorer=fuzz.ratio, score_cutoff=70)
            if best is not None:
                found = (Hypothesis(best[0], best[1] - 100.0),)
        return Hearing(self.name, found, (time.perf_counter() - began) * 1000)

    def close(self) -> None:
        """Free the weights."""
        self._whisper.close()


@dataclass(frozen=True, slots=True)
class Recogniser:
    """How to build one recogniser: ``module:class`` and, where it takes one, a model folder."""

    name: str
    target: str
    model: Path | None = None

    def build(self) -> Listener:
        """The listener, not loaded; raises ``ModelError`` when it cannot be had here."""
        module, attribute = self.target.split(":")
        try:
            maker = getattr(import_module(module), attribute)
        except ImportError as error:
            raise ModelError(
                f"cannot be used here ({error})", where=self.name, todo="see fieldlog ready"
            ) from error
        made: Listener = maker() if self.model is None else maker(self.model)
        return made


def as_bundled(model: Path | None = None) -> Listener:
    """Our own listener on the bundled weights, without the shop additions: what these are worth."""
    from fieldlog.listeners.whisper.listener import WhisperListener

    made = WhisperListener(model, adapt=False)
    made.name = BUNDLED.name
    return made


WHISPER = Recogniser("whisper", "fieldlog.listeners.whisper.listener:WhisperListener")
BUNDLED = Recogniser("whisper as bundled", "fieldlog.lab.benchmarks.recognisers:as_bundled")
POCKETSPHINX = Recogniser("pocketsphinx", "fieldlog.listeners.pocketsphinx:PocketsphinxListener")
NEAREST = Recogniser("nearest phrase", "fieldlog.lab.benchmarks.recognisers:NearestPhrase")


def vosk(model: Path) -> Recogniser:
    """Vosk with a model folder the user names."""
    return Recogniser("vosk", "fieldlog.listeners.vosk:VoskListener", model)
