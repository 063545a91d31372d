"""Every component, characteristic, unit and condition of the catalogue, said once and heard.

The speech set draws phrases; this says each entry on purpose, in clean sound, by the quick voices of
the test part in turn, so that nothing of the catalogue is left unheard.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import cycle
from pathlib import Path

import numpy as np

from fieldlog.audio.clip import RATE, Clip
from fieldlog.errors import AudioError
from fieldlog.lab.benchmarks.calibrate_evidence import TEST, Line
from fieldlog.lab.benchmarks.hearing_reach import Reach, reach
from fieldlog.lab.speech_set.phrases import PhraseSource
from fieldlog.lab.speech_set.voices import Job, Voice, as_said, available, speak, trimmed
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.listeners.base import Listener

SEED = 20_261_125
QUICK = ("espeak-ng", "flite")
_BATCH = 100
_LEAD_S, _TAIL_S = 0.3, 0.6
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Every:
    """What came of it."""

    phrases: int
    voices: tuple[str, ...]
    unsaid: tuple[str, ...]
    """Entries for which no phrase was found."""
    reached: list[Reach]


def phrases(language: InspectionLanguage, seed: int = SEED) -> tuple[list[str], list[str]]:
    """(a phrase for every condition and every unit of the catalogue, entries that have none)."""
    source = PhraseSource(language, seed)
    found: list[str] = []
    unsaid: list[str] = []

    def take(words: str, entry: str) -> None:
        if words:
            found.append(words)
        else:
            unsaid.append(entry)

    for component in language.catalogue.heard:
        for name, condition, _ in component.judged():
            one = component.characteristic(name)
            take(
                source.about(component, one, condition=condition),
                f"{component.name}, {name}: {condition}",
            )
        for one in component.characteristics:
            if not one.units and not one.conditions:
                take(source.about(component, one), f"{component.name}, {one.name}")
            for unit in one.units:
                take(
                    source.about(component, one, unit=unit),
                    f"{component.name}, {one.name} in {unit}",
                )
    return list(dict.fromkeys(found)), unsaid


def hear_every(
    listener: Listener,
    language: InspectionLanguage,
    progress: Progress = lambda done, of: None,
    voices: Sequence[Voice] | None = None,
) -> Every:
    """Say and hear everything; ``listener`` is loaded. Raises ``AudioError`` without a voice."""
    usable, left_out = available() if voices is None else (list(voices), {})
    speakers = [voice for voice in usable if voice.part == TEST and voice.engine in QUICK]
    if voices is not None:
        speakers = list(voices)
    if not speakers:
        raise AudioError(
            "no quick voice can speak here",
            where="every",
            todo="; ".join(sorted(set(left_out.values()))) or "install espeak-ng or flite",
        )
    wanted, unsaid = phrases(language)
    lines: list[Line] = []
    for line in _heard(wanted, speakers, listener):
        lines.append(line)
        progress(len(lines), len(wanted))
    names = tuple(voice.name for voice in speakers)
    return Every(len(wanted), names, tuple(unsaid), reach(lines, language))


def _heard(wanted: Sequence[str], speakers: Sequence[Voice], listener: Listener) -> Iterator[Line]:
    turns = cycle(speakers)
    with tempfile.TemporaryDirectory() as folder:
        for first in range(0, len(wanted), _BATCH):
            batch = wanted[first : first + _BATCH]
            jobs = [
                Job(as_said(words), next(turns), 1.0, 0.0, SEED, Path(folder) / f"{number}.wav")
                for number, words in enumerate(batch)
            ]
            speak(jobs)
            for words, job in zip(batch, jobs, strict=True):
                silence = (round(_LEAD_S * RATE), round(_TAIL_S * RATE))
                sound = np.pad(0.3 * trimmed(job.path), silence).astype(np.float32)
                job.path.unlink()
                hearing = listener.hear(Clip(sound))
                name = f"{job.voice.name}: {words}"
                seconds = round(len(sound) / RATE, 3)
                yield Line(name, TEST, "phrase", "clean", words, (), seconds, hearing, {})
