"""What the benchmark of one breath says: pairs of findings, the same findings singly, split phrases.

Planning is pure; ``spoken`` makes the sound with the voices that are here and keeps it in a folder.
"""

from __future__ import annotations

import hashlib
import random
import tomllib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.audio.files import read_clip
from fieldlog.lab import speech_set
from fieldlog.lab.speech_set.items import write_sound
from fieldlog.lab.speech_set.phrases import Phrase, PhraseSource, in_part, part_of
from fieldlog.lab.speech_set.voices import Job, Voice, as_said, speak, trimmed
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model import Decision, Finding, Kind

Samples = NDArray[np.float32]
Progress = Callable[[int, int], None]

SEED = 20_270_118
PAIR, SINGLE, SPLIT, TALK = "pair", "single", "split", "talk"
JOINERS: tuple[tuple[str, float | None], ...] = (
    ("and", None), ("then", None), ("but", None), ("", None), ("", 0.0), ("", 0.2), ("", 0.35), ("", 0.5),
)  # fmt: skip
"""(word between the two, seconds of silence between two sentences spoken apart); None: one sentence."""
PAUSES_S = (0.5, 1.0, 1.5, 2.0, 2.5)
NEGATIVES = Path(speech_set.__file__).with_name("negatives.toml")
_LEAD_S, _TRAIL_S = 0.5, 1.5
_HISS = 2e-4
"""RMS (full scale 1) behind everything: no microphone gives digital silence."""
_MOST_WORDS = 7
_LOUD = 0.3
_DRAWS, _FEW = 12, 2
"""Phrases drawn for each component; where only a few pairs are wanted."""


@dataclass(frozen=True, slots=True)
class Take:
    """One recording: ``texts`` spoken one after the other with ``pause_s`` of silence between."""

    kind: str
    said: tuple[str, ...]
    """The findings in it, in the words of the grammar; none in talk."""
    texts: tuple[str, ...]
    pause_s: float
    joiner: str
    """How the parts hang together, as the page names it."""
    voice: Voice


def planned(
    language: InspectionLanguage, voices: Sequence[Voice], part: str, pairs: int, seed: int = SEED
) -> list[Take]:
    """``pairs`` pairs, each of their findings singly; half as many phrases, and as many sentences that
    are no finding, with each of the pauses inside.

    The same arguments give the same takes; each pair, and each split phrase, has one voice,
    and the slow voices speak less often.
    """
    rng = random.Random(f"{seed} {part}")
    found = _phrases(language, part, seed, _FEW if pairs < 10 else _DRAWS)
    speakers = [voice for voice in voices for _ in range(voice.share)]
    rng.shuffle(speakers)
    takes: list[Take] = []
    for number, (first, second) in enumerate(_pairs(found, language, pairs)):
        voice = speakers[number % len(speakers)]
        # The joiners go on by one each time round the voices, so that each voice has each of them.
        word, pause = JOINERS[(number + number // len(speakers)) % len(JOINERS)]
        if pause is None:
            texts: tuple[str, ...] = (" ".join(each for each in (first, word, second) if each),)
            joiner = f'"{word}"' if word else "nothing, one sentence"
        else:
            texts, joiner = (first, second), f"pause of {pause:g} s"
        takes.append(Take(PAIR, (first, second), texts, pause or 0.0, joiner, voice))
        takes += [Take(SINGLE, (one,), (one,), 0.0, "", voice) for one in (first, second)]
    splits = [cut for phrase in found if (cut := halves_of(phrase, language)) is not None]
    paused: list[tuple[str, tuple[str, ...], tuple[str, str]]] = [
        (SPLIT, (f"{head} {rest}",), (head, rest)) for head, rest in splits[: pairs // 2]
    ]
    paused += [(TALK, (), halves) for halves in _talk(part, rng)[: pairs // 2]]
    for number, (kind, said, texts) in enumerate(paused):
        voice = speakers[number % len(speakers)]
        takes += [Take(kind, said, texts, pause, f"{pause:.1f} s", voice) for pause in PAUSES_S]
    return takes


def findings_of(language: InspectionLanguage, words: str) -> Finding | None:
    """The finding that ``words`` are when they are accepted, else None."""
    understood = language.understand(words)
    is_finding = understood.decision is Decision.ACCEPT and understood.kind is Kind.FINDING
    return understood.finding if is_finding and understood.dialogue is None else None


def _phrases(language: InspectionLanguage, part: str, seed: int, draws: int) -> list[str]:
    def usable(phrase: Phrase) -> bool:
        return (
            phrase.usual
            and in_part(phrase, part)
            and len(phrase.words.split()) <= _MOST_WORDS
            and findings_of(language, phrase.words) is not None
        )

    return [
        phrase.words for phrase in PhraseSource(language, seed).pool(draws, 1) if usable(phrase)
    ]


def _talk(part: str, rng: random.Random) -> list[tuple[str, str]]:
    """What is said in a workshop and is no finding, each in two halves; near misses before the rest."""
    said = tomllib.loads(NEGATIVES.read_text(encoding="utf-8"))
    halves = []
    for kind in ("near", "chatter"):
        own = [words.split() for words in said[kind] if part_of(words) == part]
        rng.shuffle(own)
        halves += [(" ".join(w[: len(w) // 2]), " ".join(w[len(w) // 2 :])) for w in own]
    return halves


def _pairs(
    found: Sequence[str], language: InspectionLanguage, count: int
) -> Iterator[tuple[str, str]]:
    """Two of different components whose words together are no phrase of the language."""
    made = 0
    for first, second in zip(found[::2], found[1::2], strict=False):
        one, other = findings_of(language, first), findings_of(language, second)
        if one is None or other is None or one.component == other.component:
            continue
        if language.understand(f"{first} {second}").decision is Decision.REFUSE:
            yield first, second
            made += 1
        if made == count:
            return


def halves_of(words: str, language: InspectionLanguage) -> tuple[str, str] | None:
    """ "front pads two millimetres" before its value or its condition; None where that is unclear."""
    finding = findings_of(language, words)
    if finding is None:
        return None
    value = finding.quantity.words if finding.quantity else finding.condition or ""
    head = words.removesuffix(f" {value}")
    halves = (head, value)
    if head == words or len(head.split()) < 2:
        return None
    if any(language.understand(half).decision is Decision.ACCEPT for half in halves):
        return None
    return halves


def spoken(takes: Sequence[Take], folder: Path, progress: Progress = lambda done, of: None) -> None:
    """Say whatever of ``takes`` is not in ``folder`` yet. Raises ``AudioError``."""
    folder.mkdir(parents=True, exist_ok=True)
    wanted = {(text, take.voice): None for take in takes for text in take.texts}
    absent = [each for each in wanted if not _file(folder, *each).is_file()]
    progress(0, len(absent))
    for first in range(0, len(absent), 40):
        batch = absent[first : first + 40]
        jobs = [
            Job(as_said(text), voice, 1.0, 0.0, SEED, _file(folder, text, voice, ".wav"))
            for text, voice in batch
        ]
        speak(jobs)
        for (text, voice), job in zip(batch, jobs, strict=True):
            write_sound(_file(folder, text, voice), _LOUD * trimmed(job.path))
            job.path.unlink()
        progress(first + len(batch), len(absent))


def sound_of(take: Take, folder: Path) -> Samples:
    """The recording of a take that was ``spoken``: float32 at ``RATE``, silence round it."""
    parts: list[Samples] = [np.zeros(round(_LEAD_S * RATE), np.float32)]
    for number, text in enumerate(take.texts):
        if number:
            parts.append(np.zeros(round(take.pause_s * RATE), np.float32))
        parts.append(read_clip(_file(folder, text, take.voice)).samples)
    parts.append(np.zeros(round(_TRAIL_S * RATE), np.float32))
    sound = np.concatenate(parts)
    hiss = np.random.default_rng(SEED).normal(0.0, _HISS, len(sound)).astype(np.float32)
    mixed: Samples = sound + hiss
    return mixed


def _file(folder: Path, text: str, voice: Voice, kind: str = ".flac") -> Path:
    name = hashlib.sha256(f"{voice.name} {voice.setting} {text}".encode()).hexdigest()[:20]
    return folder / f"{name}{kind}"
