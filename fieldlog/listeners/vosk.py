"""Vosk: hears while you speak, with any model folder that takes a grammar at run time.

What the library does and what is done about it: its grammar is a bigram
model over the words, so every hypothesis is parsed again; words that the model lacks are dropped
with a log line, so they are looked up first and reported all at once; a result is fetched whenever
``AcceptWaveform`` says that one is due, not only at the end; its confidences are evidence, never
a reason to accept; it is given a path and nothing else, so that it never goes to the network; its
recogniser is made anew for every clip (of large grammars, where that takes long, after ten
minutes: until then it adapts to the voices it hears), and made to give a result at least every
30 s, which keeps memory flat.

Evidence of each hypothesis: ``confidence`` (mean over its words, 0..1, of the best one only),
``unknown`` (number of ``[unk]`` in it), ``start_s`` and ``end_s`` (first and last word, seconds
from the start of the clip, where the model gives word times).
"""

from __future__ import annotations

import json
import re
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fieldlog.audio.clip import RATE, Clip
from fieldlog.errors import GrammarError, ModelError
from fieldlog.grammar.language import Language
from fieldlog.listeners.pcm import is_silent, pcm16
from fieldlog.listeners.vosk_folder import GET, check_folder
from fieldlog.model.hearing import Hearing, Hypothesis

UNKNOWN = "[unk]"
ALTERNATIVES = 5
LONGEST_S = 30.0
"""Seconds after which a stream is made to give its result: memory grows between results (alphacep/vosk-api#209)."""

RENEWED_S = 600.0
"""Seconds of sound after which the recogniser of a large grammar is made anew (alphacep/vosk-api#209)."""

SMALL_GRAMMAR = 5_000
"""Phrases up to which a recogniser is made in some 10 ms, so that each clip gets a new one."""

BLOCK = 8_000
"""Bytes given to the library at a time (250 ms)."""

FILLERS = frozenset({"the", "huh", "ah", "oh", "um", "uh", "hm", "hmm", "a"})
"""What the models make of silence and breath; a result of nothing else is none, unless the
language has it."""


@dataclass(frozen=True, slots=True)
class Partial:
    """What a stream has heard so far of the utterance under way; it may still change."""

    text: str


class VoskListener:
    """Vosk held to the words and word pairs of one language."""

    name = "vosk"

    def __init__(self, model: Path | None = None) -> None:
        """``model`` is the folder; there is no default, and nothing is ever fetched for you."""
        self.model = model
        self._library: Any = None
        self._model: Any = None
        self._grammar = ""
        self._small = True
        self._language: Language | None = None
        self._stream: VoskStream | None = None
        self._heard_s = 0.0

    def load(self, language: Language) -> None:
        """Check and load the folder (once) and prepare the grammar of ``language``.

        Raises ``ModelError`` (one clear reason) or ``GrammarError`` naming every missing word.
        """
        self.open()
        missing = sorted(word for word in language.words() if not self.can_say(word))
        if missing:
            raise GrammarError(
                f"the model cannot say {', '.join(missing)}",
                where=str(self.model),
                todo="say it in words the model knows ('swing arm'), or use a larger model",
            )
        phrases = [p for p in language.phrases() if p != UNKNOWN or self.can_say(UNKNOWN)]
        self._grammar = json.dumps(phrases, ensure_ascii=False)
        self._small = len(phrases) <= SMALL_GRAMMAR
        self._language = language
        self._stream = None

    def open(self) -> None:
        """Check and load the model folder, once; raises ``ModelError`` with one clear reason."""
        if self._model is None:
            if self.model is None:
                raise ModelError("no model folder is named", where=self.name, todo=GET)
            folder = check_folder(self.model)
            self._library = _library()
            self._model = _open(self._library, folder)

    def can_say(self, word: str) -> bool:
        """Whether the model has ``word``, by the library's own look-up."""
        if self._model is None:
            raise ModelError("nothing is loaded", where=self.name, todo="call load() first")
        return int(self._model.vosk_model_find_word(word)) >= 0

    def recogniser(self, phrases: Iterable[str]) -> Any:
        """The library's own, held to those of ``phrases`` whose words the model has; nothing need be loaded.

        Raises ``ModelError`` as ``open`` does.
        """
        self.open()
        known = [each for each in phrases if all(self.can_say(word) for word in each.split())]
        grammar = json.dumps([*known, UNKNOWN], ensure_ascii=False)
        return self._library.KaldiRecognizer(self._model, RATE, grammar)

    def hear(self, clip: Clip) -> Hearing:
        """Hypotheses for ``clip``, best first."""
        began = time.perf_counter()
        stream = self._renewed(clip.duration_s)
        if is_silent(clip):
            return Hearing(self.name, (), 0.0)
        hearings = list(stream.accept_all(pcm16(clip)))
        hearings.append(stream.finish())
        hypotheses = _joined([h.hypotheses for h in hearings if h.hypotheses])
        return Hearing(self.name, hypotheses, (time.perf_counter() - began) * 1000.0)

    def _renewed(self, duration_s: float) -> VoskStream:
        """The stream for the next clip: a new one, or the one in use until ``RENEWED_S``."""
        self._heard_s += duration_s
        if self._stream is None or self._small or self._heard_s > RENEWED_S:
            self._stream = self.stream()
            self._heard_s = duration_s
        return self._stream

    def stream(self, start_s: float = 0.0) -> VoskStream:
        """Hear sound as it arrives; ``start_s`` is when it begins."""
        if self._model is None or self._language is None:
            raise ModelError("nothing is loaded", where=self.name, todo="call load() first")
        recogniser = self._library.KaldiRecognizer(self._model, RATE, self._grammar)
        recogniser.SetWords(True)
        recogniser.SetMaxAlternatives(ALTERNATIVES)
        return VoskStream(recogniser, self._language, start_s)

    def close(self) -> None:
        """Free the model; calling it twice is harmless."""
        self._stream = self._model = self._language = self._library = None
        self._grammar = ""


class VoskStream:
    """One stretch of sound being heard. Times of results count from the start of the stream."""

    def __init__(self, recogniser: Any, language: Language, start_s: float) -> None:
        """``recogniser`` is the library's, already given its grammar."""
        self._recogniser = recogniser
        self._language = language
        self._pending = b""
        self._since_result = 0
        self.start_s = start_s

    def accept(self, data: bytes) -> Partial | Hearing:
        """Take 16-bit samples at ``RATE``; a ``Hearing`` when an utterance ended, else a partial.

        An odd byte is kept for the next call. Without an end, a result is forced after
        ``LONGEST_S``.
        """
        data = self._pending + data
        even = len(data) - len(data) % 2
        data, self._pending = data[:even], data[even:]
        if not data:
            return Partial(self._partial())
        ended = bool(self._recogniser.AcceptWaveform(data))
        self._since_result += len(data)
        if ended:
            return self._hearing(self._recogniser.Result())
        if self._since_result >= LONGEST_S * RATE * 2:
            result = self._hearing(self._recogniser.FinalResult())
            self._recogniser.Reset()
            return result
        return Partial(self._partial())

    def accept_all(self, data: bytes) -> Iterator[Hearing]:
        """Take any number of samples in blocks; yields the utterances that ended in them."""
        for start in range(0, len(data), BLOCK):
            answer = self.accept(data[start : start + BLOCK])
            if isinstance(answer, Hearing):
                yield answer

    def finish(self) -> Hearing:
        """The sound is over: what was heard since the last result. The stream can begin anew."""
        result = self._hearing(self._recogniser.FinalResult())
        self._recogniser.Reset()
        self._pending = b""
        return result

    def _partial(self) -> str:
        return _text(parsed(self._recogniser.PartialResult()).get("partial"))

    def _hearing(self, result: str) -> Hearing:
        self._since_result = 0
        return Hearing(VoskListener.name, read_result(result, self._language), 0.0)


def read_result(result: str, language: Language) -> tuple[Hypothesis, ...]:
    """The library's JSON -> distinct hypotheses, best first; what it leaves out or garbles is no evidence (pure)."""
    data = parsed(result)
    alternatives = data.get("alternatives", [data])
    found: dict[str, Hypothesis] = {}
    for alternative in alternatives if isinstance(alternatives, list) else ():
        if not isinstance(alternative, dict):
            continue
        text = _text(alternative.get("text"))
        if not text or text in found or _only_fillers(text, language):
            continue
        words = [word for word in alternative.get("result") or () if isinstance(word, dict)]
        evidence = {"unknown": float(text.split().count(UNKNOWN))}
        if words and (begin := _number(words[0].get("start"))) is not None:
            evidence["start_s"] = begin
        if words and (end := _number(words[-1].get("end"))) is not None:
            evidence["end_s"] = end
        told = [_number(word.get("conf")) for word in words]
        confidences = [each for each in told if each is not None]
        if confidences:
            evidence["confidence"] = sum(confidences) / len(confidences)
        found[text] = Hypothesis(text, _number(alternative.get("confidence")) or 0.0, evidence)
    return tuple(found.values())


_DECIMAL_COMMA = re.compile(r"(:\s*-?\d+),(\d+)(?=\s*[,}\]])")


def parsed(result: str) -> dict[str, Any]:
    """The library's JSON; empty for what is none. Under some locales it writes decimals with a comma."""
    for text in (result, _DECIMAL_COMMA.sub(r"\1.\2", result)):
        try:
            data = json.loads(text)
        except ValueError:
            continue
        return data if isinstance(data, dict) else {}
    return {}


def _text(value: object) -> str:
    return " ".join(value.split()) if isinstance(value, str) else ""


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) else None


def _only_fillers(text: str, language: Language) -> bool:
    words = [word for word in text.split() if word != UNKNOWN]
    return all(word in FILLERS for word in words) and not language.meaning(text)


def _again(before: tuple[Hypothesis, ...], now: tuple[Hypothesis, ...]) -> bool:
    """Whether a result came twice: the same words at the same times."""
    one, other = before[0], now[0]
    when = [(each.evidence.get("start_s"), each.evidence.get("end_s")) for each in (one, other)]
    return one.text == other.text and when[0] == when[1] and None not in when[0]


def _joined(parts: list[tuple[Hypothesis, ...]]) -> tuple[Hypothesis, ...]:
    """One utterance that the library cut in several: the best of each, others one at a time."""
    parts = [part for at, part in enumerate(parts) if not at or not _again(parts[at - 1], part)]
    if len(parts) <= 1:
        return parts[0] if parts else ()
    best = [part[0] for part in parts]
    ways = [best]
    for place, part in enumerate(parts):
        ways += [[*best[:place], other, *best[place + 1 :]] for other in part[1:]]
    joined: dict[str, Hypothesis] = {}
    for way in ways:
        text = " ".join(h.text for h in way)
        unknown = sum(h.evidence.get("unknown", 0.0) for h in way)
        score = sum(h.score for h in way)
        joined.setdefault(text, Hypothesis(text, score, {"unknown": unknown}))
    first, *rest = joined.values()
    return (first, *sorted(rest, key=lambda h: -h.score))[:ALTERNATIVES]


def _library() -> Any:
    try:
        import vosk
    except (ImportError, OSError, TypeError) as error:
        raise ModelError(
            f"vosk cannot be imported here ({error})",
            where="vosk",
            todo="pip install 'vosk>=0.3.44,<0.4' where it has a wheel, or use --listener whisper",
        ) from None
    vosk.SetLogLevel(-1)
    return vosk


def _open(library: Any, folder: Path) -> Any:
    """The library's model; it gets a path as text and nothing else, so it asks no network."""
    try:
        return library.Model(model_path=str(folder))
    except SystemExit as error:
        raise ModelError(
            f"the library gave up (exit {error.code})", where=str(folder), todo=GET
        ) from None
    except Exception as error:  # the binding raises plain Exception for everything
        raise ModelError(
            f"the model cannot be loaded ({error})",
            where=str(folder),
            todo="copy or unpack the model again; it needs 300 MB of free memory",
        ) from None
