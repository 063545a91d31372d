"""Is it the voice that was heard before? Utterances cut as a session cuts them, in rooms and noise."""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from fieldlog.audio.clip import Clip
from fieldlog.audio.endpointer import utterances
from fieldlog.audio.vad import voice_activity
from fieldlog.lab.benchmarks.claim import share
from fieldlog.lab.speech_set.items import Item, SpeechSet
from fieldlog.listeners.timbre import FILE, Turning, Vector, cepstral_figures
from fieldlog.shop.whose_voice import ALIKE, FIRST, KnownVoices

EFFECTS = ("dry", "garage", "far")
"""Somebody walks about: near, in the room, from afar."""
LEVELS_DB = (None, 15.0, 10.0, 5.0)
NEURAL = ("kokoro", "piper")
"""Engines whose voices sound alike but for the voice; others are told apart by the engine."""


@dataclass
class Told:
    """What came of comparing at one level of noise."""

    level_db: float | None
    neural: bool
    own: list[float] = field(default_factory=list)
    others: list[float] = field(default_factory=list)
    unknown: int = 0
    """Clips of which nothing is told."""

    @property
    def equal_error(self) -> float:
        """Where as many of the own voice are below as of others above."""
        own, others = np.array(self.own), np.array(self.others)
        errors = [
            (
                abs(np.mean(own < at) - np.mean(others >= at)),
                np.mean(own < at) + np.mean(others >= at),
            )
            for at in (*self.own, *self.others)
        ]
        return float(min(errors)[1]) / 2 if errors else 1.0


def fitted(figures: Vector, voices: list[str]) -> Turning:
    """From the figures of clips (a row each) and whose they are."""
    mean, scale = figures.mean(axis=0), figures.std(axis=0) + 1e-6
    scaled = (figures - mean) / scale
    names, own = sorted(set(voices)), np.array(voices)
    within = np.mean([np.cov(scaled[own == name].T) for name in names], axis=0)
    within += 0.1 * np.eye(len(within)) * np.trace(within) / len(within)
    values, vectors = np.linalg.eigh(within)
    return Turning(mean, scale, np.asarray(vectors / np.sqrt(values)))


def write(turning: Turning, path: Path = FILE) -> None:
    """Some 10 kB."""
    np.savez(
        path,
        **{n: getattr(turning, n).astype(np.float32) for n in ("mean", "scale", "matrix")},
    )


def picked(voices: SpeechSet, part: str, count: int) -> dict[str, list[Item]]:
    """So many phrases of each voice of ``part``, in ``EFFECTS``, at random."""
    by: dict[str, list[Item]] = defaultdict(list)
    for item in voices.part(part):
        if item.kind == "phrase" and item.effect in EFFECTS:
            by[item.voice].append(item)
    return {
        voice: [items[int(n)] for n in np.random.default_rng(2).permutation(len(items))[:count]]
        for voice, items in by.items()
    }


def clip_of(voices: SpeechSet, item: Item, level_db: float | None) -> Clip | None:
    """The utterance as a session would cut it; None where nothing is found."""
    sound = voices.noisy(item, level_db)
    found = list(utterances([sound], voice=voice_activity().activity))
    return max(found, key=lambda clip: clip.duration_s, default=None)


def fit(voices: SpeechSet, count: int) -> Turning:
    """On the tune part, clean and at 15 dB."""
    rows: list[Vector] = []
    whose: list[str] = []
    for voice, items in picked(voices, "tune", count).items():
        for item in items:
            for level in (None, 15.0):
                clip = clip_of(voices, item, level)
                figures = None if clip is None else cepstral_figures(clip)
                if figures is not None:
                    rows.append(figures)
                    whose.append(voice)
    return fitted(np.array(rows), whose)


def compared(
    voices: SpeechSet, turning: Turning, count: int, took_ms: list[float]
) -> Iterator[Told]:
    """Each voice of the test part learnt at 15 dB from ``FIRST`` phrases, then held against all others."""
    chosen = picked(voices, "test", count)
    vectors = {
        (voice, at, level): _vector(voices, item, level, turning, took_ms)
        for voice, items in chosen.items()
        for at, item in enumerate(items)
        for level in LEVELS_DB
    }
    for level in LEVELS_DB:
        for neural in (False, True):
            told = Told(level, neural)
            names = [name for name in chosen if not neural or name.split()[0] in NEURAL]
            for name in names:
                known, learnt = KnownVoices(lambda clip: None), 0
                for at in range(len(chosen[name])):
                    vector = vectors[name, at, 15.0]
                    if vector is not None and learnt < FIRST:
                        known._learn(vector)
                        learnt += 1
                for other in names:
                    for at in range(2 * FIRST, len(chosen[other])):
                        vector = vectors[other, at, level]
                        if vector is None:
                            told.unknown += other == name
                        else:
                            (told.own if other == name else told.others).append(
                                known.likeness(vector)
                            )
            yield told


def _vector(
    voices: SpeechSet, item: Item, level: float | None, turning: Turning, took_ms: list[float]
) -> Vector | None:
    clip = clip_of(voices, item, level)
    if clip is None:
        return None
    began = time.process_time()
    figures = cepstral_figures(clip)
    vector = None if figures is None else turning.vector(figures)
    took_ms.append((time.process_time() - began) * 1000)
    return vector


def page(rows: Sequence[Told], took_ms: Sequence[float], command: str) -> str:
    """``docs/hearing/whose-voice.md``."""
    lines = [
        "# Whose voice it is",
        "",
        f"Printed by `{command}`. `fieldlog listen --mind-voices` asks about a finding in another voice than those before. Each voice",
        f"of the test part is learnt from {FIRST} phrases at 15 dB (near, in a room, from afar, mixed), then its other phrases and everybody else's are",
        f"held against it; likeness below {ALIKE} is asked about. The matrix is of the tune part's voices. No real persons: all voices are synthetic, and of",
        'one person at one loudness. "Neural": those of two engines alone, which are not told apart by the engine.',
        "",
        "| noise | voices | equal error | own voice asked about | others asked about | nothing told (too noisy or short) |",
        "|---|---|---|---|---|---|",
    ]
    for row in rows:
        noise = "none" if row.level_db is None else f"{row.level_db:.0f} dB"
        own, others = (
            share(sum(each < ALIKE for each in found), len(found))
            for found in (row.own, row.others)
        )
        lines.append(
            f"| {noise} | {'neural' if row.neural else 'all'} | {100 * row.equal_error:.1f} % | {own} of {len(row.own)} "
            f"| {others} of {len(row.others)} | {share(row.unknown, row.unknown + len(row.own))} |"
        )
    lines += [
        "",
        f"It takes {np.median(took_ms):.1f} ms of processor time for a clip (median; {np.quantile(took_ms, 0.95):.1f} at p95) and 48 numbers for a voice.",
    ]
    return "\n".join(lines) + "\n"
