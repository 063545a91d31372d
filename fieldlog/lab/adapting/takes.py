"""Takes: dry recordings to train on, spoken by voices and about phrases of the training part only.

A folder of takes is a set of ``.npz`` shards: ``kind``, ``words``, ``voice``, ``length`` (samples) of
each take and one run of 16-bit ``audio`` at 16 kHz.
"""

from __future__ import annotations

import random
import re
import tempfile
import tomllib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from zipfile import BadZipFile

import numpy as np
from numpy.typing import NDArray

import fieldlog.lab.speech_set as speech_set
from fieldlog.audio.clip import RATE
from fieldlog.doubt.twins import TWINS
from fieldlog.errors import AudioError, UsageError
from fieldlog.grammar.sample import Sampler
from fieldlog.lab.speech_set.phrases import Phrase, PhraseSource, in_part, part_of
from fieldlog.lab.speech_set.voices import (
    TRAIN,
    VOICES,
    Job,
    Voice,
    as_said,
    missing,
    speak,
    trimmed,
)
from fieldlog.language.files import load_language

Progress = Callable[[str, int, int], None]

GENERAL = "general"
"""Kind of a sentence that has nothing to do with motorcycles."""
ANSWER = "answer"
"""Kind of a short answer to a question: a place, a unit, a value alone."""
TRADE = frozenset(
    {"phrase", "incomplete", "half", ANSWER, "sentence", "repair", "tail", "side", "pause"}
)
SHARD = 200
_LONGEST_S = 13.0

LANGUAGES = ("en-us", "en-gb-scotland", "en-029", "en-us-nyc", "en-gb-x-gbclan", "en-gb-x-gbcwmd")
VARIANTS = (
    "m2", "m3", "m4", "m5", "m6", "m7", "f1", "f2", "f3", "f5", "klatt", "klatt2", "max",
    "michael", "steph", "john", "linda", "Denis", "Alex",
)  # fmt: skip
NATURAL_STYLES = (
    "af_alloy", "af_aoede", "af_jessica", "af_kore", "af_nova", "af_river", "af_sarah", "af_sky",
    "am_adam", "am_echo", "am_eric", "am_fenrir", "am_liam", "bf_alice", "bf_isabella", "bf_lily",
    "bm_daniel", "bm_lewis",
)  # fmt: skip
_OFTEN = {"dialogue": 30, "correction": 2}
"""How many takes there may be of a phrase of this group: there are few commands, and one of them heard
as a finding is worse than one finding heard as another."""
_TWINS = 3
"""The same for a phrase with a number that has a twin ("fifteen", "fifty")."""
_TWIN_WORDS = frozenset(word for pair in TWINS for word in pair if " " not in word)
_ANSWERS = 400
_MIXED = 0.4
"""Share of the natural takes whose voice is half of one style and half of another."""


@dataclass(frozen=True, slots=True)
class Take:
    """One dry recording."""

    kind: str
    words: str
    """Words of the grammar, or a sentence as it is written."""
    voice: str
    sound: NDArray[np.int16]

    @property
    def natural(self) -> bool:
        """Whether a natural voice speaks (of those that are trained on)."""
        return self.voice.startswith("kokoro")


def record(
    out: Path, sentences: Sequence[Path], seed: int, natural: int, others: int, progress: Progress
) -> int:
    """Speak takes into ``out``; returns how many. Raises ``AudioError`` and ``UsageError``."""
    for engine in ("espeak-ng", "flite", "kokoro english"):
        if reason := missing(engine):
            raise AudioError(f"this voice is needed: {reason}", where=engine)
    out.mkdir(parents=True, exist_ok=True)
    progress("phrases", 0, 1)
    rng = random.Random(seed)
    texts = trade_texts(seed) + answers(seed)
    talk = negatives() + general(sentences, rng)
    done = 0
    for name, count, pick in (("natural", natural, _natural), ("others", others, _other)):
        chosen = rng.sample(texts, min(len(texts), round(0.85 * count)))
        chosen += talk[: round(0.15 * count)]
        rng.shuffle(chosen)
        for first in range(0, len(chosen), SHARD):
            shard = list(_spoken(chosen[first : first + SHARD], pick, rng))
            write_takes(out / f"{name}-{first:05d}.npz", shard)
            done += len(shard)
            progress(f"{name} takes", done, natural + others)
    return done


def trade_texts(seed: int) -> list[tuple[str, str]]:
    """(kind, words) of the training part: phrases in usual and in clumsy ways, and half ones.

    What is worse to mishear than others is there several times.
    """
    source = PhraseSource(load_language(), seed)
    mine = [phrase for phrase in source.pool(160, 9000) if in_part(phrase, TRAIN)]
    halves = [h for h in source.halves(mine, 3000) if part_of(h.words) == TRAIN]
    return [(phrase.kind, phrase.words) for phrase in (*said_often(mine), *halves)]


def said_often(phrases: Iterable[Phrase]) -> list[Phrase]:
    """``phrases``, each as many times as it may be spoken."""
    return [phrase for phrase in phrases for _ in range(_takes_of(phrase))]


def answers(seed: int) -> list[tuple[str, str]]:
    """(kind, words) of short answers to questions, of the training part where there are many."""
    grammar = load_language().answer_grammar
    few = Sampler(grammar.rules, ["answer.place"], seed).covering(_ANSWERS)
    many = Sampler(grammar.rules, grammar.public, seed).covering(_ANSWERS)
    return [(ANSWER, words) for words in (*few, *few, *(w for w in many if part_of(w) == TRAIN))]


def negatives() -> list[tuple[str, str]]:
    """The training part of the set's speech that is not meant for the listener."""
    path = Path(speech_set.__file__).with_name("negatives.toml")
    said = tomllib.loads(path.read_text(encoding="utf-8"))
    return [(kind, w) for kind in ("chatter", "near") for w in said[kind] if part_of(w) == TRAIN]


def general(files: Sequence[Path], rng: random.Random) -> list[tuple[str, str]]:
    """Sentences of 3 to 14 plain words out of text files, in random order.

    They keep the weights from forgetting the rest of the language.
    """
    found = []
    for file in files:
        try:
            text = file.read_text(encoding="utf-8", errors="ignore")
        except OSError as error:
            raise UsageError(f"cannot be read ({error})", where=str(file)) from error
        for piece in re.split(r"[%\n]\n|(?<=[.!?])\s", text):
            sentence = " ".join(piece.split())
            plain = re.fullmatch(r"[A-Z][A-Za-z' ,]+[.!?]", sentence)
            if plain and 3 <= len(sentence.split()) <= 14 and not re.search("[A-Z]{2}", sentence):
                found.append((GENERAL, sentence))
    rng.shuffle(found)
    return found


def shards(folder: Path) -> list[Path]:
    """The files of takes in ``folder``, in order; additions that a training wrote beside them are none.

    Raises ``UsageError`` for one that cannot be read.
    """
    found = []
    for path in sorted(folder.glob("*.npz")):
        try:
            with np.load(path, allow_pickle=False) as one:
                if "words" in one.files and "audio" in one.files:
                    found.append(path)
        except (OSError, ValueError, BadZipFile) as error:
            raise UsageError(
                f"cannot be read ({error})",
                where=str(path),
                todo="move it out of the folder of takes",
            ) from error
    return found


def takes(folder: Path) -> list[Take]:
    """Every take of ``folder`` that is not longer than nine seconds; raises ``UsageError``."""
    found = []
    for path in shards(folder):
        with np.load(path, allow_pickle=False) as shard:
            audio, lengths = shard["audio"], shard["length"]
            ends = np.cumsum(lengths)
            rows = zip(shard["kind"], shard["words"], shard["voice"], lengths, ends, strict=True)
            for kind, words, voice, length, end in rows:
                if length <= _LONGEST_S * RATE:
                    sound = audio[end - length : end]
                    found.append(Take(str(kind), str(words), str(voice), sound))
    if not found:
        raise UsageError(
            "holds no takes",
            where=str(folder),
            todo="make some: python -m fieldlog.lab adapt --help",
        )
    return found


def _takes_of(phrase: Phrase) -> int:
    with_twin = not _TWIN_WORDS.isdisjoint(phrase.words.split())
    return max(_OFTEN.get(phrase.group, 1), _TWINS if with_twin else 1)


def _natural(rng: random.Random) -> Voice:
    style = rng.choice(NATURAL_STYLES)
    if rng.random() < _MIXED:
        style += "~" + rng.choice([other for other in NATURAL_STYLES if other[1] == style[1]])
    return Voice(f"kokoro {style}", "kokoro english", style, TRAIN)


def _other(rng: random.Random) -> Voice:
    draw = rng.random()
    if draw < 0.65:
        setting = "+".join(rng.choice(list(product(LANGUAGES, VARIANTS))))
        return Voice(f"espeak {setting}", "espeak-ng", setting, TRAIN)
    return Voice("flite rms", "flite", "rms", TRAIN)


def _spoken(
    texts: Sequence[tuple[str, str]],
    pick: Callable[[random.Random], Voice],
    rng: random.Random,
) -> Iterator[Take]:
    with tempfile.TemporaryDirectory() as folder:
        jobs = []
        for number, (kind, words) in enumerate(texts):
            said = as_said(words) if kind in TRADE else words
            path = Path(folder) / f"{number}.wav"
            rate, pitch = rng.uniform(0.8, 1.25), rng.uniform(-1.0, 1.0)
            jobs.append(Job(said, pick(rng), rate, pitch, rng.randrange(2**31), path))
        speak(jobs)
        for (kind, words), job in zip(texts, jobs, strict=True):
            sound = (trimmed(job.path) * 32_767).astype(np.int16)
            yield Take(kind, words, job.voice.name, sound)


def write_takes(path: Path, shard: Sequence[Take]) -> None:
    """One shard of a folder of takes."""
    np.savez(
        path,
        kind=np.array([take.kind for take in shard]),
        words=np.array([take.words for take in shard]),
        voice=np.array([take.voice for take in shard]),
        length=np.array([len(take.sound) for take in shard]),
        audio=np.concatenate([take.sound for take in shard]),
    )


def kept_apart() -> None:
    """Raise ``UsageError`` when a voice of the speech set would be trained on."""
    tested = {voice.setting for voice in VOICES}
    mine = {"+".join(pair) for pair in product(LANGUAGES, VARIANTS)} | set(NATURAL_STYLES)
    mine.add("rms")
    if both := sorted(tested & mine):
        raise UsageError(f"trained on and in the set: {', '.join(both)}", where="voices")
