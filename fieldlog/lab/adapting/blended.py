"""Speaks what ``plan.py`` has planned: sentences as well as phrases, each take by another speaker."""

from __future__ import annotations

import random
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from fieldlog.audio.clip import RATE
from fieldlog.errors import AudioError
from fieldlog.lab.adapting.plan import Spoken, planned
from fieldlog.lab.adapting.takes import SHARD, Progress, Take, general, write_takes
from fieldlog.lab.speech_set.voices import TRAIN, Job, Voice, missing, speak, trimmed
from fieldlog.language.files import load_language

_NEEDED = ("espeak-ng", "flite", "kokoro english")


def record_blended(
    out: Path, sentences: Sequence[Path], seed: int, count: int, progress: Progress
) -> int:
    """Speak about ``count`` takes into ``out``; returns how many. Raises ``AudioError``.

    The natural voice speaks on the cores, or where ``neural_worker.DEVICE`` says.
    """
    for engine in _NEEDED:
        if reason := missing(engine):
            raise AudioError(f"this voice is needed: {reason}", where=engine)
    out.mkdir(parents=True, exist_ok=True)
    progress("texts", 0, 1)
    wanted = planned(load_language(), general(sentences, random.Random(seed)), count, seed)
    for first in range(0, len(wanted), SHARD):
        write_takes(out / f"blended-{first:05d}.npz", list(_said(wanted[first : first + SHARD])))
        progress("takes", min(first + SHARD, len(wanted)), len(wanted))
    return len(wanted)


def _said(wanted: Sequence[Spoken]) -> Iterator[Take]:
    with tempfile.TemporaryDirectory() as folder:
        jobs = [
            [
                Job(
                    text,
                    Voice(f"{one.engine} {one.setting}", one.engine, one.setting, TRAIN),
                    one.rate,
                    (one.seed % 51) / 25 - 1.0,
                    one.seed,
                    Path(folder) / f"{number}-{piece}.wav",
                )
                for piece, text in enumerate(one.texts)
            ]
            for number, one in enumerate(wanted)
        ]
        speak([job for each in jobs for job in each])
        for one, mine in zip(wanted, jobs, strict=True):
            parts = [trimmed(mine[0].path)]
            for gap_s, job in zip(one.gaps_s, mine[1:], strict=False):
                parts += [np.zeros(round(gap_s * RATE), np.float32), trimmed(job.path)]
            sound = (np.concatenate(parts) * 32_767).astype(np.int16)
            yield Take(one.kind, one.words, mine[0].voice.name, sound)
