"""How well utterances are cut: one utterance per spoken phrase, its whole length inside, how late.

Run ``python -m fieldlog.lab endpointing --speech DIR --noise FILE``. Each file of DIR must hold
one phrase. What counts as spoken is taken from the clean file: from its first to its last voiced
frame (probability 0.5). A random half (``--half tune``) was used to choose the settings; the other
half is what is reported.
"""

from __future__ import annotations

import json
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import click
import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import FRAME, FRAME_S, RATE, Clip
from fieldlog.audio.endpointer import Endpointer, EndpointSettings
from fieldlog.audio.files import read_clip
from fieldlog.audio.vad import VoiceActivity, voice_activity
from fieldlog.errors import AudioError
from fieldlog.lab.benchmarks.noise_mix import excerpt, mix

Samples = NDArray[np.float32]

SEED = 20_260_301


@dataclass(frozen=True, slots=True)
class Row:
    """One noise level. Shares are of files; seconds are medians and 95th percentiles."""

    noise: str
    files: int
    exactly_one_and_whole: float
    """Share with exactly one utterance that covers the spoken part."""
    missed: float
    split: float
    extra: float
    """Share with a further utterance where nothing was spoken."""
    start_cut: float
    end_cut: float
    end_known_after_s: float
    """Median, from the last voiced frame of the clean file to the end being known."""
    end_known_after_p95_s: float
    kept_after_speech_s: float
    """Median sound kept behind the last voiced frame."""
    kept_after_speech_p95_s: float
    real_time_factor: float


@dataclass(frozen=True, slots=True)
class _Cut:
    clip: Clip
    known_s: float


def spoken_part(sound: Samples, voice: VoiceActivity) -> tuple[float, float] | None:
    """Start and end (s) of the voiced frames of a clean file; None when there are none."""
    voice.reset()
    frames = sound[: len(sound) // FRAME * FRAME].reshape(-1, FRAME)
    voiced = [i for i, frame in enumerate(frames) if voice.probability(frame) >= 0.5]
    return (voiced[0] * FRAME_S, (voiced[-1] + 1) * FRAME_S) if voiced else None


def cut(sound: Samples, endpointer: Endpointer) -> list[_Cut]:
    """The utterances of ``sound`` with the position at which each was known to have ended."""
    found = []
    for at in range(0, len(sound), FRAME):
        block = sound[at : at + FRAME]
        found += [_Cut(c, (at + len(block)) / RATE) for c in endpointer.process(block)]
    return found + [_Cut(c, len(sound) / RATE) for c in endpointer.flush()]


def measure(
    files: Sequence[Path],
    noise: Samples | None,
    snr_db: float | None,
    settings: EndpointSettings,
    voice: VoiceActivity,
) -> Row:
    """One row over ``files``; the noise excerpts depend on ``SEED`` and the file names only."""
    endpointer = Endpointer(settings, voice)
    counts = dict.fromkeys(("whole", "missed", "split", "extra", "start", "end"), 0)
    delays, kept = [], []
    seconds = spent = 0.0
    used = 0
    for path in files:
        clean = read_clip(path).samples
        spoken = spoken_part(clean, voice)
        if spoken is None:
            continue
        used += 1
        sound = clean
        if noise is not None and snr_db is not None:
            rng = np.random.default_rng([SEED, *path.name.encode()])
            sound = mix(clean, excerpt(noise, len(clean), rng), snr_db)
        endpointer.reset()  # the voice activity has just heard the clean file
        started = time.perf_counter()
        found = cut(sound, endpointer)
        spent += time.perf_counter() - started
        seconds += len(sound) / RATE
        start, end = spoken
        hits = [c for c in found if c.clip.end_s >= start and c.clip.start_s <= end]
        counts["missed"] += not hits
        counts["split"] += len(hits) > 1
        counts["extra"] += len(found) > len(hits)
        if len(hits) != 1:
            continue
        clip = hits[0].clip
        counts["start"] += clip.start_s > start + 1e-6
        counts["end"] += clip.end_s < end - 1e-6
        whole = clip.start_s <= start + 1e-6 and clip.end_s >= end - 1e-6
        counts["whole"] += whole and len(found) == 1
        delays.append(hits[0].known_s - end)
        kept.append(clip.end_s - end)
    share = {name: count / max(1, used) for name, count in counts.items()}
    return Row(
        noise="clean" if snr_db is None else f"{snr_db:g} dB",
        files=used,
        exactly_one_and_whole=share["whole"],
        missed=share["missed"],
        split=share["split"],
        extra=share["extra"],
        start_cut=share["start"],
        end_cut=share["end"],
        end_known_after_s=float(np.median(delays)) if delays else float("nan"),
        end_known_after_p95_s=float(np.percentile(delays, 95)) if delays else float("nan"),
        kept_after_speech_s=float(np.median(kept)) if kept else float("nan"),
        kept_after_speech_p95_s=float(np.percentile(kept, 95)) if kept else float("nan"),
        real_time_factor=spent / max(seconds, 1e-9),
    )


def halves(files: Sequence[Path]) -> tuple[list[Path], list[Path]]:
    """The files in two random halves (tune, test) that depend on ``SEED`` and the names only."""
    ordered = sorted(files)
    order = np.random.default_rng(SEED).permutation(len(ordered))
    middle = len(ordered) // 2
    return [ordered[i] for i in order[:middle]], [ordered[i] for i in order[middle:]]


@click.command()
@click.option("--speech", type=click.Path(path_type=Path, exists=True), required=True)
@click.option("--noise", type=click.Path(path_type=Path, exists=True), required=True)
@click.option("--half", type=click.Choice(["tune", "test", "all"]), default="test")
@click.option("--snr", "ratios", type=float, multiple=True, default=(12.0, 6.0))
@click.option("--hangover", type=float, default=EndpointSettings().hangover_s, show_default=True)
@click.option("--limit", type=int, default=0, help="Only the first N files (0: all).")
@click.option("--json", "as_json", is_flag=True)
def endpointing(
    speech: Path,
    noise: Path,
    half: str,
    ratios: tuple[float, ...],
    hangover: float,
    limit: int,
    as_json: bool,
) -> None:
    """Measure how utterances are cut, clean and in noise.

    \b
    Example:
      python -m fieldlog.lab endpointing --speech orders/audio --noise kitchen.flac
    """
    files = sorted(path for path in speech.iterdir() if path.suffix in (".flac", ".wav"))
    if not files:
        raise AudioError("holds no .flac or .wav files", where=str(speech), todo="name another")
    tune, test = halves(files)
    files = {"tune": tune, "test": test, "all": files}[half][: limit or None]
    sound = read_clip(noise, longest_s=3600.0).samples
    chosen = voice_activity()
    if chosen.warning:
        click.echo(chosen.warning, err=True)
    settings = EndpointSettings(hangover_s=hangover)
    levels: list[float | None] = [None, *ratios]
    rows = []
    for level in levels:
        rows.append(measure(files, sound, level, settings, chosen.activity))
        click.echo(f"{rows[-1].noise} done", err=True)
    if as_json:
        click.echo(json.dumps([asdict(row) for row in rows], indent=1))
        return
    names = list(asdict(rows[0]))
    for name in names:
        values = [asdict(row)[name] for row in rows]
        texts = [
            v if isinstance(v, str) else f"{v:d}" if isinstance(v, int) else f"{v:.3f}"
            for v in values
        ]
        click.echo(f"{name:26}" + "".join(f"{text:>10}" for text in texts))


if __name__ == "__main__":
    endpointing()
