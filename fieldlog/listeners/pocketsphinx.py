"""pocketsphinx with its own US English model: small, and an opinion independent of Whisper's.

It follows the language as one finite network (``fieldlog.grammar.fsg``). Words that its dictionary
lacks take their pronunciation from ``grammars/additions.dic``; words in neither are reported all
at once before any audio is opened. Its scores do not separate right from wrong (cmusphinx/pocketsphinx#75)
and are kept as evidence only.

Evidence of each hypothesis: ``prob`` (posterior inside the network, of the best one only),
``finished`` (1 when the words are a whole phrase of the language, else 0: the best path may end in
the middle of a phrase).
"""

from __future__ import annotations

import math
import time
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any

from fieldlog.audio.clip import Clip
from fieldlog.errors import GrammarError, ModelError
from fieldlog.grammar.files import load_additions
from fieldlog.grammar.fsg import FiniteNetwork, finite_network
from fieldlog.grammar.language import Language
from fieldlog.grammar.lexicon import Lexicon
from fieldlog.listeners.pcm import is_silent, pcm16
from fieldlog.model.hearing import Hearing, Hypothesis

EXTRA = "fieldlog[listeners]"
"""What brings the library."""

NBEST = 5
"""Hypotheses kept."""

_NBEST_TRIED = 200
"""The decoder lists the same words again and again with other pauses; this many are looked at."""


class PocketsphinxListener:
    """pocketsphinx held to one language."""

    name = "pocketsphinx"

    def __init__(self, model: Path | None = None, additions: Lexicon | None = None) -> None:
        """Name another acoustic model folder with ``model`` (``mdef`` in it, ``*.dict`` beside).

        ``additions`` replaces the shipped pronunciation additions. Nothing is loaded yet.
        """
        self.model = model
        self._additions = additions
        self._decoder: Any = None
        self._language: Language | None = None

    def load(self, language: Language) -> None:
        """Load the model (once) and the network of ``language``.

        Raises ``ModelError`` (library or model) or ``GrammarError`` naming every word that has no
        pronunciation.
        """
        language.jsgf()  # refuses at once, with its place, what no finite network can follow
        network = finite_network(language.word_graph())
        if self._decoder is None:
            self._decoder = _decoder(self.model)
        self._pronounce(language)
        self._follow(network)
        self._language = language

    def can_say(self, word: str) -> bool:
        """Whether ``word`` has a pronunciation, in the dictionary or in the additions."""
        if self._decoder is None:
            self._decoder = _decoder(self.model)
        return word in self._lexicon.entries or self._decoder.lookup_word(word) is not None

    def hear(self, clip: Clip) -> Hearing:
        """Hypotheses for ``clip``, best first; the last word may be missing (see ``finished``)."""
        began = time.perf_counter()
        if self._decoder is None or self._language is None:
            raise ModelError("nothing is loaded", where=self.name, todo="call load() first")
        if is_silent(clip):
            return Hearing(self.name, (), 0.0)
        decoder = self._decoder
        decoder.reinit_feat()  # else what it keeps of the clip before changes the scores of this one
        decoder.start_utt()
        try:
            decoder.process_raw(pcm16(clip), full_utt=True)
        finally:
            decoder.end_utt()
        found = _hypotheses(decoder, self._language)
        return Hearing(self.name, found, (time.perf_counter() - began) * 1000.0)

    def close(self) -> None:
        """Free the decoder; calling it twice is harmless."""
        self._decoder = self._language = None

    @property
    def _lexicon(self) -> Lexicon:
        if self._additions is None:
            self._additions = load_additions()
        return self._additions

    def _pronounce(self, language: Language) -> None:
        """Add pronunciations from the additions; raises ``GrammarError`` for what is in neither."""
        missing = sorted(word for word in language.words() if not self.can_say(word))
        if missing:
            raise GrammarError(
                f"pocketsphinx cannot say {', '.join(missing)}",
                where=language.name,
                todo=f"add {'it' if len(missing) == 1 else 'them'} to grammars/additions.dic",
            )
        for word in sorted(language.words() & self._lexicon.entries.keys()):
            for number, phones in enumerate(self._lexicon.entries[word]):
                entry = word if number == 0 else f"{word}({number + 1})"
                if self._decoder.lookup_word(entry) is None:
                    self._decoder.add_word(entry, phones, False)
                elif number == 0 and self._decoder.lookup_word(entry) != phones:
                    other = f"{word}(9)"
                    if self._decoder.lookup_word(other) is None:
                        self._decoder.add_word(other, phones, False)

    def _follow(self, network: FiniteNetwork) -> None:
        arcs: list[tuple[Any, ...]] = [
            (start, end, math.exp(weight), word) for start, end, weight, word in network.arcs
        ]
        arcs += [(s, network.states, math.exp(weight)) for s, weight in network.finals.items()]
        fsg = self._decoder.create_fsg("language", network.start, network.states, arcs)
        self._decoder.add_fsg("language", fsg)
        self._decoder.activate_search("language")


def _library() -> Any:
    try:
        import pocketsphinx
    except ImportError as error:
        raise ModelError(
            f"pocketsphinx cannot be imported ({error})",
            where="pocketsphinx",
            todo=f"pip install '{EXTRA}', or use --listener whisper",
        ) from None
    return pocketsphinx


def _decoder(model: Path | None) -> Any:
    pocketsphinx = _library()
    # Without the second pass over the lattice ("bestpath") more orders come out right: with a
    # network there is no language model for it to rescore with (docs/listeners.md).
    settings: Mapping[str, Any] = {
        "lm": None,
        "loglevel": "FATAL",
        "samprate": 16000,
        "bestpath": False,
    }
    if model is not None:
        settings = {**settings, "hmm": str(model), "dict": str(_dictionary(model))}
    try:
        return pocketsphinx.Decoder(**settings)
    except (RuntimeError, ValueError) as error:
        raise ModelError(
            f"the acoustic model cannot be loaded ({error})",
            where=str(model) if model else "pocketsphinx",
            todo="name a folder with a complete pocketsphinx acoustic model, or none",
        ) from None


def pronunciations(words: Collection[str]) -> dict[str, tuple[str, ...]]:
    """The ``words`` that the bundled dictionary or the additions know, with all their pronunciations.

    Raises ``ModelError`` when the library or its dictionary is missing.
    """
    pocketsphinx = _library()
    file = _dictionary(Path(pocketsphinx.get_model_path()) / "en-us" / "en-us")
    found: dict[str, list[str]] = {}
    for line in file.read_text("utf-8").splitlines():
        word, _, phones = line.partition(" ")
        word = word.partition("(")[0]
        if word in words:
            found.setdefault(word, []).append(phones.strip())
    for word, more in load_additions().entries.items():
        if word in words:
            found.setdefault(word, []).extend(more)
    return {word: tuple(dict.fromkeys(spoken)) for word, spoken in found.items()}


def _dictionary(model: Path) -> Path:
    """The dictionary of a model folder; raises ``ModelError`` saying what is missing."""
    if not model.is_dir():
        raise ModelError("there is no such folder", where=str(model), todo="check --model")
    parts = ["mdef", "means", "variances", "transition_matrices"]
    sizes = {name: _size(model / name) for name in parts}
    if sizes["mdef"] is None:
        raise ModelError(
            "no acoustic model here ('mdef' is missing)",
            where=str(model),
            todo="name the folder that holds mdef, means and variances",
        )
    # The library ends the whole process over a broken file, so what can be seen is looked at first.
    for name, size in sizes.items():
        if not size:
            raise ModelError(
                f"'{name}' is {'missing' if size is None else 'empty'}",
                where=str(model),
                todo="copy or unpack the model again",
            )
    found = sorted([*model.glob("*.dict"), *model.glob("*.dic"), *model.parent.glob("*.dict")])
    found = [path for path in found if path.name != "noisedict"]
    if not found:
        raise ModelError(
            "no pronunciation dictionary here",
            where=str(model),
            todo="put the model's *.dict file in the folder",
        )
    return found[0]


def _size(path: Path) -> int | None:
    return path.stat().st_size if path.is_file() else None


def _hypotheses(decoder: Any, language: Language) -> tuple[Hypothesis, ...]:
    best = decoder.hyp()
    if best is None or not best.hypstr:
        return ()
    scores = {best.hypstr: _log(best.score)}
    for number, other in enumerate(decoder.nbest()):
        if number >= _NBEST_TRIED or len(scores) >= NBEST:
            break
        if other is not None and other.hypstr:
            scores.setdefault(other.hypstr, _log(other.score))
    return tuple(
        Hypothesis(
            text,
            score,
            {"finished": float(bool(language.meaning(text)))}
            | ({"prob": float(best.prob)} if text == best.hypstr else {}),
        )
        for text, score in scores.items()
    )


def _log(value: float) -> float:
    return math.log(max(float(value), 1e-300))
