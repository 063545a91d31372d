"""One long recording in which nobody states a finding: talk, bodies, noise, silence (seeded).

Made of the negatives of a speech set's test part. The plan says what sounds when and is pure; the
recording is written scene by scene, so that its length does not matter for memory.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.audio.files import read_clip
from fieldlog.errors import UsageError
from fieldlog.grammar.language import Language
from fieldlog.lab.benchmarks.noise_mix import excerpt, rms
from fieldlog.lab.speech_set.items import KITCHEN, Item, SpeechSet
from fieldlog.lab.speech_set.noises import NOISES, radio, workshop_noise
from fieldlog.model.understanding import Decision

Samples = NDArray[np.float32]

SEED = 20_261_125
HALF, CHATTER = "half", "chatter"
LEVELS_DB = (-45.0, -38.0, -32.0, -26.0, -20.0)
"""RMS of the noises in dB below full scale; speech of the set lies at -30 to -20."""
_SCENE_S = (20.0, 60.0)
_SCENES = (("talk in noise", 0.5), ("talk", 0.3), ("noise", 0.15), ("silence", 0.05))
_PAUSE_S = (0.0, 2.0)
_ON_S, _OFF_S = (4.0, 20.0), (2.0, 8.0)
_RAMP_S = 0.3
_HISS = 3e-4
_RADIO_TALKS = 12


@dataclass(frozen=True, slots=True)
class Piece:
    """One utterance of the set in the recording; seconds from its start."""

    start_s: float
    end_s: float
    item: Item


@dataclass(frozen=True, slots=True)
class Spell:
    """A stretch of noise; seconds from the start, RMS in dB below full scale."""

    start_s: float
    end_s: float
    noise: str
    level_db: float
    seed: int


@dataclass(frozen=True, slots=True)
class Scene:
    """A stretch of the recording with what sounds in it. ``hiss``: not digitally silent."""

    start_s: float
    end_s: float
    kind: str
    hiss: bool
    pieces: tuple[Piece, ...]
    spells: tuple[Spell, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """The whole recording, before it is made."""

    seconds: float
    seed: int
    scenes: tuple[Scene, ...]
    left_out: tuple[str, ...]
    """Half sentences that the grammar takes as whole phrases now."""

    @property
    def pieces(self) -> list[Piece]:
        """All utterances in order."""
        return [piece for scene in self.scenes for piece in scene.pieces]

    @property
    def spells(self) -> list[Spell]:
        """All stretches of noise in order."""
        return [spell for scene in self.scenes for spell in scene.spells]


def usable(items: Sequence[Item], language: Language) -> tuple[list[Item], list[str]]:
    """The negatives, and the words of half sentences that ``language`` takes as whole ones.

    Only half sentences are ever left out: a set may be older than the grammar. Chatter that the
    grammar takes is a fault to be counted.
    """
    found, left_out = [], []
    for item in items:
        if item.is_negative:
            whole = language.understand(item.words).decision is Decision.ACCEPT
            if item.kind == HALF and whole:
                left_out.append(item.words)
            else:
                found.append(item)
    return found, left_out


def planned(
    items: Sequence[Item], noises: Sequence[str], seconds: float, seed: int, language: Language
) -> Plan:
    """What sounds when. Raises ``UsageError`` when there is no negative among ``items``.

    Every utterance comes once before any comes again. Two half sentences never follow each other:
    together they may be a phrase somebody could have meant.
    """
    negatives, left_out = usable(items, language)
    if not any(item.kind != HALF for item in negatives):
        raise UsageError(
            "the set's test part has no chatter", todo="make one: python -m fieldlog.lab speech-set"
        )
    rng = np.random.default_rng(seed)
    turns, waiting = _in_turn(negatives, rng), list[Item]()
    scenes: list[Scene] = []
    at = 0.0
    # Kinds of scene come in shuffled rounds of twenty, so that a short recording has them all.
    kinds = _rounds(rng)
    while at < seconds - 1e-6:
        end = min(seconds, at + float(rng.uniform(*_SCENE_S)))
        kind = next(kinds)
        pieces = _pieces(turns, waiting, at, end, rng) if kind.startswith("talk") else ()
        noisy = kind.endswith("noise") and noises
        spells = _spells(noises, at, end, rng) if noisy else ()
        hiss = kind != "silence" or bool(rng.random() < 0.5)
        scenes.append(Scene(at, end, kind, hiss, pieces, spells))
        at = end
    return Plan(seconds, seed, tuple(scenes), tuple(left_out))


def noises_of(opened: SpeechSet) -> list[str]:
    """The noises that can be made from the set: synthesised ones, radio, kitchen if recorded."""
    found = [*NOISES]
    if any(item.kind == CHATTER for item in opened.part("test")):
        found.append("radio")
    if (opened.folder / KITCHEN).is_file():
        found.append("kitchen")
    return found


def write_recording(
    plan: Plan, opened: SpeechSet, path: Path, progress: Callable[[float], None]
) -> None:
    """The recording as 16-bit FLAC at 16 kHz; ``progress`` gets the seconds that are made."""
    with soundfile.SoundFile(
        path, "w", samplerate=RATE, channels=1, format="FLAC", subtype="PCM_16"
    ) as file:
        for scene in plan.scenes:
            file.write(np.clip(sound_of(scene, opened, plan.seed), -1.0, 1.0))
            progress(scene.end_s)


def sound_of(scene: Scene, opened: SpeechSet, seed: int) -> Samples:
    """The samples of one scene."""
    begin = round(scene.start_s * RATE)
    sound = np.zeros(round(scene.end_s * RATE) - begin, dtype=np.float32)
    if scene.hiss:
        rng = np.random.default_rng([seed, begin])
        sound += (_HISS * rng.standard_normal(len(sound))).astype(np.float32)
    for piece in scene.pieces:
        _add(sound, opened.clean(piece.item), round(piece.start_s * RATE) - begin)
    for spell in scene.spells:
        length = round((spell.end_s - spell.start_s) * RATE)
        noise = _noise(spell, opened, length)
        gain = 10.0 ** (spell.level_db / 20.0) / max(rms(noise), 1e-9)
        swell = np.minimum(np.arange(length), np.arange(length)[::-1]) / (_RAMP_S * RATE)
        shaped = (gain * np.minimum(swell, 1.0) * noise).astype(np.float32)
        _add(sound, shaped, round(spell.start_s * RATE) - begin)
    return sound


def _add(sound: Samples, what: Samples, at: int) -> None:
    there = what[: len(sound) - at]
    sound[at : at + len(there)] += there


def _noise(spell: Spell, opened: SpeechSet, length: int) -> Samples:
    rng = np.random.default_rng(spell.seed)
    if spell.noise == "radio":
        # The set's own radio says phrases of the grammar too; here nobody may say one.
        talks = [item for item in opened.part("test") if item.kind == CHATTER]
        picked = [talks[int(n)] for n in rng.integers(0, len(talks), _RADIO_TALKS)]
        return radio([opened.clean(item) for item in picked], length / RATE, spell.seed)[:length]
    if spell.noise == "kitchen":
        recorded = read_clip(opened.folder / KITCHEN, longest_s=3600.0).samples
        return excerpt(recorded, length, rng)
    return excerpt(workshop_noise(spell.noise, length / RATE + 0.1, spell.seed), length, rng)


def _rounds(rng: np.random.Generator) -> Iterator[str]:
    many = [kind for kind, share in _SCENES for _ in range(round(20 * share))]
    # The first four are one of each.
    yield from (kind for kind, _ in _SCENES)
    while True:
        yield from (many[int(n)] for n in rng.permutation(len(many)))


def _in_turn(items: Sequence[Item], rng: np.random.Generator) -> Iterator[Item]:
    """Endless: shuffled rounds of all items, no two half sentences one after the other."""
    before = ""
    held: list[Item] = []
    while True:
        for n in rng.permutation(len(items)):
            waiting = [*held, items[int(n)]]
            held = []
            for item in waiting:
                if item.kind == HALF and before == HALF:
                    held.append(item)
                else:
                    before = item.kind
                    yield item


def _pieces(
    turns: Iterator[Item],
    waiting: list[Item],
    start: float,
    end: float,
    rng: np.random.Generator,
) -> tuple[Piece, ...]:
    """Utterances with pauses between them; the first that has no room waits for the next scene."""
    pieces: list[Piece] = []
    at = start
    while True:
        item = waiting.pop() if waiting else next(turns)
        if at + item.duration_s > end:
            if item.duration_s <= _SCENE_S[0]:
                waiting.append(item)
            return tuple(pieces)
        pieces.append(Piece(at, at + item.duration_s, item))
        at += item.duration_s + float(rng.uniform(*_PAUSE_S))


def _spells(
    noises: Sequence[str], start: float, end: float, rng: np.random.Generator
) -> tuple[Spell, ...]:
    """One machine that runs, stops and runs again, each time at another level."""
    spells = []
    kind = noises[int(rng.integers(len(noises)))]
    at = start + float(rng.uniform(0.0, _OFF_S[0]))
    while at < end - 1.0:
        stop = min(end, at + float(rng.uniform(*_ON_S)))
        level = LEVELS_DB[int(rng.integers(len(LEVELS_DB)))]
        spells.append(Spell(at, stop, kind, level, int(rng.integers(2**31))))
        at = stop + float(rng.uniform(*_OFF_S))
    return tuple(spells)
