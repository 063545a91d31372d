"""Rendered units as one pack: silence cut off, one loudness, Ogg Opus, an index."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.audio.files import read_clip
from fieldlog.audio.voice import INDEX
from fieldlog.errors import AudioError
from fieldlog.lab.voice.render import path_of
from fieldlog.lab.voice.texts import Unit

Samples = NDArray[np.float32]

_FRAME = RATE // 200
_QUIET_DB = -38.0
"""Frames so far below the loudest one are silence, at either end."""
_BEFORE, _BEHIND = round(0.012 * RATE), round(0.03 * RATE)
_EDGE = round(0.006 * RATE)
_LOUD = 0.09
"""RMS of the loud half of every unit."""
_HIGHEST = 0.8
_QUICKER = 1.22
"""Words by themselves are said slower than in a sentence: so many times quicker, pitch kept."""
_WINDOW = round(0.03 * RATE)
_SEARCH = round(0.008 * RATE)
_DATE = (2026, 1, 1, 0, 0, 0)
"""Of every file in the archive: the same units make the same bytes."""


def write_pack(units: Sequence[Unit], folder: Path, out: Path) -> str:
    """Write ``out`` from the rendered units of ``folder``; what came of it in one line."""
    out.parent.mkdir(parents=True, exist_ok=True)
    names: dict[str, str] = {}
    seconds = 0.0
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        for number, unit in enumerate(units):
            path = path_of(folder, unit)
            if not path.exists():
                raise AudioError(f"{unit[0]!r} is not rendered", todo="give --kokoro-styles")
            sound = levelled(quicker(trimmed(read_clip(path).samples), _QUICKER))
            seconds += len(sound) / RATE
            names["|".join(unit)] = name = f"{number:04d}.opus"
            archive.writestr(zipfile.ZipInfo(name, _DATE), encoded(sound))
        index = json.dumps(names, indent=0, ensure_ascii=False)
        archive.writestr(zipfile.ZipInfo(INDEX, _DATE), index, zipfile.ZIP_DEFLATED)
    return f"{len(names)} units, {seconds / 60:.1f} min, {out.stat().st_size / 1e6:.1f} MB: {out}"


def trimmed(sound: Samples) -> Samples:
    """Without the silence at its ends, a little of it kept, its edges faded."""
    frames = sound[: len(sound) // _FRAME * _FRAME].reshape(-1, _FRAME)
    power = np.sqrt(np.mean(np.square(frames), axis=1))
    loud = np.flatnonzero(power > power.max() * 10 ** (_QUIET_DB / 20))
    begin = max(0, loud[0] * _FRAME - _BEFORE)
    cut = sound[begin : (loud[-1] + 1) * _FRAME + _BEHIND].copy()
    ramp = np.linspace(0.0, 1.0, _EDGE, dtype=np.float32)
    cut[:_EDGE] *= ramp
    cut[-_EDGE:] *= ramp[::-1]
    return cut


def quicker(sound: Samples, times: float) -> Samples:
    """The same in less time at the same pitch: windows laid closer together, each where it fits best
    (waveform-similarity overlap-add, Verhelst and Roelands 1993).
    """
    half = _WINDOW // 2
    window = np.hanning(2 * half + 1)[:-1]
    padded = np.concatenate([np.zeros(half + _SEARCH), sound, np.zeros(2 * _WINDOW)])
    count = int(len(sound) / times / half) + 1
    out = np.zeros((count + 2) * half)
    at = _SEARCH
    for n in range(count):
        out[n * half : n * half + 2 * half] += padded[at : at + 2 * half] * window
        wanted = padded[at + half : at + 3 * half]  # what would go on from here
        near = min(round((n + 1) * half * times) + _SEARCH, len(padded) - 3 * half - _SEARCH)
        fits = np.correlate(padded[near - _SEARCH : near + _SEARCH + 2 * half], wanted, "valid")
        at = near - _SEARCH + int(np.argmax(fits))
    return np.asarray(out[half : half + round(len(sound) / times)], np.float32)


def levelled(sound: Samples) -> Samples:
    """At the loudness of all the others."""
    frames = sound[: len(sound) // _FRAME * _FRAME].reshape(-1, _FRAME)
    power = np.sqrt(np.mean(np.square(frames), axis=1))
    loud = float(np.sqrt(np.mean(np.square(np.sort(power)[len(power) // 2 :]))))
    scaled = sound * np.float32(_LOUD / loud)
    return np.asarray(scaled * min(1.0, _HIGHEST / float(np.abs(scaled).max())), np.float32)


def encoded(sound: Samples) -> bytes:
    """As Ogg Opus."""
    file = io.BytesIO()
    soundfile.write(file, sound, RATE, format="OGG", subtype="OPUS", compression_level=0.94)
    return file.getvalue()
