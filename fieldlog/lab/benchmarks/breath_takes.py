"""What the benchmark of one breath says: several findings, one and a tail, one alone, one cut by a pause.

Planning is pure; ``spoken`` makes the sound with the voices that are here and keeps it in a folder.
"""

from __future__ import annotations

import hashlib
import random
import tomllib
import zlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.audio.files import read_clip
from fieldlog.lab import speech_set
from fieldlog.lab.benchmarks.breath_sentences import sentences, tails
from fieldlog.lab.benchmarks.noise_mix import mix, rms
from fieldlog.lab.speech_set.items import write_sound
from fieldlog.lab.speech_set.noises import NOISES, workshop_noise
from fieldlog.lab.speech_set.phrases import Phrase, PhraseSource, in_part, part_of
from fieldlog.lab.speech_set.voices import Job, Voice, as_said, speak, trimmed
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.finding import Finding
from fieldlog.model.understanding import Decision, Kind

Samples = NDArray[np.float32]
Progress = Callable[[int, int], None]

SEED = 20_270_118
SENTENCE, TAIL, GAP, PAIR = "sentences", "tails", "gaps", "pairs"
SINGLE, SPLIT, TALK = "singles", "pauses", "talk"
KINDS = (SENTENCE, TAIL, GAP, PAIR, SINGLE, SPLIT, TALK)
JOINERS = ("and", "then", "but", "")
"""Words between the two of a pair that is one sentence."""
GAPS_S = (0.1, 0.2, 0.35, 0.5, 0.7, 1.0)
"""Silence between two findings that are spoken apart."""
PAUSES_S = (0.5, 1.0, 1.5, 2.0, 2.5)
NEGATIVES = Path(speech_set.__file__).with_name("negatives.toml")
_LEAD_S, _TRAIL_S = 0.5, 1.5
_HISS = 2e-4
"""RMS (full scale 1) behind everything: no microphone gives digital silence."""
_MOST_WORDS = 7
_LOUD = 0.3
_DRAWS, _FEW = 12, 2
"""Phrases drawn for each component; where only a few pairs are wanted."""
SENTENCE_VOICES, TAIL_VOICES = 5, 3
"""Different voices for each, at most."""


@dataclass(frozen=True, slots=True)
class Take:
    """One recording: ``texts`` spoken one after the other with ``pause_s`` of silence between."""

    kind: str
    said: tuple[str, ...]
    """The findings in it, in the words of the grammar; none in talk and in what takes one back."""
    texts: tuple[str, ...]
    pause_s: float
    joiner: str
    """How the parts hang together, as the page names it."""
    voice: Voice
    half: str = ""
    """The finding that its tail changes or limits: never right by itself."""


@dataclass(frozen=True, slots=True)
class Plan:
    """How much is said."""

    kinds: frozenset[str] = frozenset(KINDS)
    pairs: int = 64
    """Pairs of drawn findings; half as many phrases, and sentences that are no finding, with a pause."""
    sentences: int | None = None
    """Of sentences and of tails so many; None: all that are written."""
    voices: int = SENTENCE_VOICES
    """At most so many for each sentence and tail."""
    seed: int = SEED


def planned(
    language: InspectionLanguage, voices: Sequence[Voice], part: str, plan: Plan
) -> list[Take]:
    """What is said. The same arguments give the same takes.

    Sentences and tails go round the voices. Each pair, and each split phrase, has
    one voice, and the slow voices speak less often; a pair is said as one sentence, with each gap,
    and each of its findings singly.
    """
    takes = _lines(voices, part, plan)
    if plan.kinds <= {SENTENCE, TAIL}:
        return [take for take in takes if take.kind in plan.kinds]
    seed, pairs = plan.seed, plan.pairs
    rng = random.Random(f"{seed} {part}")
    found = _phrases(language, part, seed, _FEW if pairs < 10 else _DRAWS)
    speakers = [voice for voice in voices for _ in range(voice.share)]
    rng.shuffle(speakers)
    for number, both in enumerate(_pairs(found, language, pairs)):
        voice = speakers[number % len(speakers)]
        # The joiners go on by one each time round the voices, so that each voice has each of them.
        word = JOINERS[(number + number // len(speakers)) % len(JOINERS)]
        text = " ".join(each for each in (both[0], word, both[1]) if each)
        takes.append(Take(PAIR, both, (text,), 0.0, f'"{word}"' if word else "nothing", voice))
        takes += [Take(GAP, both, both, gap_s, f"{gap_s:.2f} s", voice) for gap_s in GAPS_S]
        takes += [Take(SINGLE, (one,), (one,), 0.0, "", voice) for one in both]
    splits = [cut for phrase in found if (cut := halves_of(phrase, language)) is not None]
    paused: list[tuple[str, tuple[str, ...], tuple[str, str]]] = [
        (SPLIT, (f"{head} {rest}",), (head, rest)) for head, rest in splits[: pairs // 2]
    ]
    paused += [(TALK, (), halves) for halves in _talk(part, rng)[: pairs // 2]]
    for number, (kind, said, texts) in enumerate(paused):
        voice = speakers[number % len(speakers)]
        takes += [Take(kind, said, texts, pause, f"{pause:.1f} s", voice) for pause in PAUSES_S]
    return [take for take in takes if take.kind in plan.kinds]


def _lines(voices: Sequence[Voice], part: str, plan: Plan) -> list[Take]:
    """The written sentences and tails, each by several voices; of a smaller plan the same takes."""
    in_turn = list(voices)
    random.Random(f"{plan.seed} {part} voices").shuffle(in_turn)
    takes = []
    first = 0
    for kind, lines, most in (
        (SENTENCE, sentences(part), SENTENCE_VOICES),
        (TAIL, tails(part), TAIL_VOICES),
    ):
        for number, line in enumerate(lines[: plan.sentences]):
            for turn in range(min(plan.voices, most, len(in_turn))):
                voice = in_turn[(first + number * most + turn) % len(in_turn)]
                takes.append(Take(kind, line.holds, (line.say,), 0.0, "", voice, line.half))
        first += len(lines) * most
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
        both = language.understand(f"{first} {second}")
        if both.parts or both.decision is Decision.REFUSE:
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
            Job(_with_commas(text), voice, 1.0, 0.0, SEED, _file(folder, text, voice, ".wav"))
            for text, voice in batch
        ]
        speak(jobs)
        for (text, voice), job in zip(batch, jobs, strict=True):
            write_sound(_file(folder, text, voice), _LOUD * trimmed(job.path))
            job.path.unlink()
        progress(first + len(batch), len(absent))


def _with_commas(text: str) -> str:
    """``as_said`` of each stretch between commas."""
    return ", ".join(as_said(each) for each in text.split(", "))


def sound_of(take: Take, folder: Path, snr_db: float | None = None) -> Samples:
    """The recording of a take that was ``spoken``: float32 at ``RATE``, silence round it.

    With ``snr_db`` a workshop noise lies over all of it, so much below the level of the words.
    """
    words = [read_clip(_file(folder, text, take.voice)).samples for text in take.texts]
    parts: list[Samples] = [np.zeros(round(_LEAD_S * RATE), np.float32)]
    for number, samples in enumerate(words):
        if number:
            parts.append(np.zeros(round(take.pause_s * RATE), np.float32))
        parts.append(samples)
    parts.append(np.zeros(round(_TRAIL_S * RATE), np.float32))
    sound = np.concatenate(parts)
    hiss = np.random.default_rng(SEED).normal(0.0, _HISS, len(sound)).astype(np.float32)
    mixed: Samples = sound + hiss
    if snr_db is None:
        return mixed
    seed = zlib.crc32(f"{take.voice.name} {take.texts} {take.pause_s}".encode())
    noise = workshop_noise(NOISES[seed % len(NOISES)], len(mixed) / RATE, seed)
    return mix(mixed, noise[: len(mixed)], snr_db, speech_rms=rms(np.concatenate(words)))


def _file(folder: Path, text: str, voice: Voice, kind: str = ".flac") -> Path:
    name = hashlib.sha256(f"{voice.name} {voice.setting} {text}".encode()).hexdigest()[:20]
    return folder / f"{name}{kind}"
