"""The embedded default recogniser: Whisper held to the grammar."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import Clip
from fieldlog.errors import ModelError
from fieldlog.grammar.language import Language
from fieldlog.listeners.pcm import finite, is_silent
from fieldlog.listeners.whisper.adapter import CUE
from fieldlog.listeners.whisper.decoder import Decoder, Sound
from fieldlog.listeners.whisper.encoder import Encoder
from fieldlog.listeners.whisper.features import MAX_FRAMES, log_mel, pad_features
from fieldlog.listeners.whisper.fingerprint import BASE
from fieldlog.listeners.whisper.folder import ModelFolder, open_folder
from fieldlog.listeners.whisper.search import Found, Result, SearchSettings, distinct, search
from fieldlog.listeners.whisper.threads import one_blas_thread
from fieldlog.listeners.whisper.times import STEP_S, word_times
from fieldlog.listeners.whisper.tokens import TokenGraph, vocabulary
from fieldlog.listeners.whisper.written import ENGLISH
from fieldlog.model.hearing import Hearing, Hypothesis

COMMON_TOKENS = 5000
"""The most frequent byte pairs, which share the probability with the grammar's own tokens."""
LEAD_FRAMES = 30
"""Silence before the clip (0.3 s): a word at the very first sample is heard better behind it."""
EXTRA_FRAMES = 100
"""Silence behind the clip at least (1 s)."""
ADAPTED_BONUS = 1.0
"""Bonus per token of adapted weights: their one way of writing needs less help to the end."""
LANGUAGES = "whisper-base"
"""What the listener is called with weights of many languages: nothing is known of how sure they are, so
that whatever they hear is asked about."""
TRAINED = "whisper-base-shop"
"""The same with what was trained for the language that is spoken; its levels are the language's own
(``doubt.files.rules_for``)."""
LARGEST_MARGIN = 8.0
"""Nats; the search looks at nothing further below the best, so a larger margin means nothing."""


class WhisperListener:
    """Whisper with its decoder held to one language's word graph.

    Evidence of each hypothesis: ``bend`` (nats per token the grammar bent what was heard, 0 at
    best), ``margin`` (nats to the next different meaning or unfinished phrase, at most 8, of the
    best one only; for the others the negative distance to the best), ``tokens``, ``logprob``,
    ``worst`` (nats the grammar bent its worst token), ``tail`` (the same of its last token and end),
    ``unfinished`` (of the best one: nats to the best unfinished phrase alone, below 0 where that is better).
    """

    name = "whisper"

    def __init__(
        self,
        model: Path | None = None,
        beam: int = 8,
        threads: int = 2,
        settings: SearchSettings | None = None,
        *,
        adapt: bool = True,
        additions: Path | None = None,
    ) -> None:
        """Name another CTranslate2 Whisper folder with ``model``; nothing is loaded yet.

        ``adapt=False`` takes the bundled weights as they are, also for shop speech; ``additions``: those of
        Whisper base, which ``model`` then must be.
        """
        self.model = model
        self.adapt = adapt
        self.additions = additions
        self.threads = threads
        self.settings = None if settings is None else replace(settings, beam=beam)
        self.beam = beam
        self._folder: ModelFolder | None = None
        self._encoder: Encoder | None = None
        self._decoder: Decoder | None = None
        self._graph: TokenGraph | None = None
        self._language: Language | None = None
        self._opening: tuple[int, ...] = ()
        self._plain: tuple[Clip, str] | None = None
        """What was transcribed last."""
        self._speech = "en"
        self._adapting = False

    @property
    def adapted(self) -> bool:
        """Whether the weights that are loaded have the shop additions."""
        return self._folder is not None and self._folder.adapted

    def load(self, language: Language) -> None:
        """Load the weights (once) and prepare for ``language``; raises ``ModelError``.

        A language may carry a ``hint``: a text of its kind, given to Whisper as what was said
        before. It makes the trade's words likely; the grammar alone still decides what is possible.
        A language that says it is ``in_shop_words`` gets the shop additions to the weights, and
        their cue instead of its hint.
        """
        one_blas_thread()
        speech = str(getattr(language, "speech", "en"))
        model, known = self.model, "" if self.additions is None else BASE
        if speech != "en" and model is None:
            from fieldlog.listeners.whisper.languages import folder_of_parts

            model, self.name, known = folder_of_parts(), LANGUAGES, BASE
        ours = self.model is None or self.additions is not None
        adapt = self.adapt and ours and getattr(language, "in_shop_words", False)
        if (
            self._folder is None
            or self._encoder is None
            or (self._adapting, self._speech) != (adapt, speech)
        ):
            self.close()
            self._folder = open_folder(
                model, adapt=adapt, speech=speech, known=known, added=self.additions
            )
            self._speech, self._adapting = speech, adapt
            if known and self.additions is None and self.adapted:
                self.name = TRAINED
            self._encoder = Encoder(self._folder.path, self.threads, files=self._folder.files)
        folder = self._folder
        special = folder.special
        text = getattr(language, "hint", "")
        if self.adapted:
            text = getattr(language, "cue", "") or CUE.strip()
        hint = folder.encode(" " + text) if text else ()
        self._opening = (*((special.previous, *hint) if hint else ()), *special.prompt)
        wanted = {*self._opening, *special.closing}
        forms = getattr(language, "forms", None) or ENGLISH
        wanted |= vocabulary(language.words(), folder.encode, forms)
        tokens = np.unique(np.array([*range(COMMON_TOKENS), *wanted], dtype=np.intp))
        # A change of language (a question, its answer) keeps the layers: they are most of it.
        layers = None if self._decoder is None else self._decoder.layers
        self._decoder = None
        self._decoder = Decoder(folder.weights, tokens, layers, folder.heads)
        if layers is None:
            layers = self._decoder.layers
            self._folder = folder = replace(folder, weights=folder.weights.without_layers())
            self._decoder = Decoder(folder.weights, tokens, layers, folder.heads)
            self._folder = folder.settled()
        if self._graph is not None:
            self._graph.forget()
        self._graph = TokenGraph(language.word_graph(), folder.encode, self._decoder.column, forms)
        _ = self._graph.root  # the largest tree, made before anybody waits
        self._language = language

    def hear(self, clip: Clip) -> Hearing:
        """Hypotheses of distinct meaning for ``clip``, best first."""
        began = time.perf_counter()
        if self._encoder is None or self._language is None:
            raise ModelError("nothing is loaded", where=self.name, todo="call load() first")
        if is_silent(clip):
            return Hearing(self.name, (), _since(began))
        assert self._decoder is not None
        sound = self._decoder.listen(self._encoder.encode(self._features(clip)))
        result = self._decode(sound)
        found = distinct(result.found, self._language.meaning, behind=LARGEST_MARGIN)
        times = self._times(result, found[0]) if found else ()
        if self._graph is not None:
            self._graph.tidy(self._language.word_graph())
        hypotheses = tuple(hypotheses_of(found, result.rest))
        return Hearing(self.name, hypotheses, _since(began), times)

    def transcribe(self, clip: Clip) -> str:
        """Plain decoding of the same weights, no grammar: for remarks, never for findings.

        Weights that were not adapted get the whole window of 30 s they were trained on: behind less
        silence they repeat themselves.
        """
        if self._encoder is None or self._folder is None:
            raise ModelError("nothing is loaded", where=self.name, todo="call load() first")
        if is_silent(clip):
            return ""
        if (
            self._plain is None or self._plain[0] is not clip
        ):  # what fits no answer is heard once more without
            extra = EXTRA_FRAMES if self.adapted else MAX_FRAMES
            features = self._features(clip, extra)
            tokens = self._encoder.transcribe(features, self._folder.special.prompt)
            self._plain = clip, self._folder.decode(tokens)
        return self._plain[1]

    def close(self) -> None:
        """Free the weights; calling it twice is harmless."""
        if self._encoder is not None:
            self._encoder.close()
        self._folder = self._encoder = self._decoder = self._graph = self._language = None
        self._plain = None

    def _search_settings(self) -> SearchSettings:
        if self.settings is not None:
            return self.settings
        usual = SearchSettings(beam=self.beam)
        return replace(usual, bonus=ADAPTED_BONUS) if self.adapted else usual

    def _features(self, clip: Clip, extra: int = EXTRA_FRAMES) -> NDArray[np.float32]:
        assert self._encoder is not None
        longest = MAX_FRAMES * 160
        bands = log_mel(finite(clip)[:longest], self._encoder.bands)
        return pad_features(bands, extra, lead=LEAD_FRAMES)

    def _times(self, result: Result, best: Found) -> tuple[tuple[float, float], ...]:
        assert self._folder is not None
        if not self._folder.heads or result.memory is None:
            return ()
        # The row of a token looks for the next one: that of the opening's last wrote the first.
        looked = result.memory.looked_along(best.path)
        return tuple(word_times(looked, best.counts, LEAD_FRAMES * STEP_S / 2))

    def _decode(self, sound: Sound) -> Result:
        assert self._folder is not None
        assert self._decoder is not None
        assert self._graph is not None
        special = self._folder.special
        columns = self._decoder.column
        return search(
            self._decoder,
            sound,
            self._graph,
            np.array([columns[token] for token in self._opening], dtype=np.intp),
            np.array([columns[token] for token in special.closing], dtype=np.intp),
            self._search_settings(),
        )


def hypotheses_of(found: list[Found], rest: float) -> list[Hypothesis]:
    """Found word sequences with their evidence; ``rest`` bounds what was never finished."""
    result = []
    for index, item in enumerate(found):
        if index:
            margin = item.score - found[0].score
        else:
            other = max(rest, found[1].score) if len(found) > 1 else rest
            margin = max(0.0, min(LARGEST_MARGIN, item.score - other))
        evidence = {
            "bend": item.bend / item.tokens,
            "margin": float(margin),
            "tokens": float(item.tokens),
            "logprob": item.logprob,
            "worst": item.worst,
            "tail": item.tail,
        }
        if not index:
            evidence["unfinished"] = float(min(LARGEST_MARGIN, item.score - rest))
        result.append(Hypothesis(item.text, item.score, evidence))
    return result


def _since(began: float) -> float:
    return (time.perf_counter() - began) * 1000.0
