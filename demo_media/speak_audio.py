"""Speak the demo's scenario: synthetic voice, shop noise under a part of it, FLAC and a manifest.

Run ``python demo_media/speak_audio.py`` from the checkout, with ``flite`` on the path (a Debian
package of that name): it rewrites ``demo_media/*.flac`` and ``demo_media/manifest.json``; run
``draw_photos.py`` after it, since the photos' times hang on the spoken marks. Everything is seeded:
the same tools give the same bytes.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

HERE = Path(__file__).resolve().parent
RATE = 16_000
LEAD_IN_S = 1.0
PAUSE_S = (1.6, 2.6)
STRETCH = 1.1  # unhurried, as somebody speaks who wants a number to be heard
LEVEL = 0.09  # RMS of speech, full scale 1.0: a voice at half a metre
THINKS = " ... "  # in a line's words: the speaker stops in the middle of the phrase
THINKS_S = 1.5

Samples = NDArray[np.float64]


def speak(words: str, voice: str) -> Samples:
    """One line by flite, at ``RATE``, at ``LEVEL``, with a pause wherever ``THINKS`` stands."""
    first, *further = (_stretch(said, voice) for said in words.split(THINKS))
    thinks = np.zeros(int(THINKS_S * RATE))
    return np.concatenate([first, *(piece for said in further for piece in (thinks, said))])


def _stretch(words: str, voice: str) -> Samples:
    """Words in one go, trimmed of silence at both ends."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "said.wav"
        pace = f"duration_stretch={STRETCH}"
        command = ["flite", "-voice", voice, "--setf", pace, "-t", words, "-o", str(out)]
        subprocess.run(command, check=True)
        samples, rate = soundfile.read(out, dtype="float64")
    samples = soxr.resample(samples, rate, RATE)
    loud = np.flatnonzero(np.abs(samples) > 0.01 * np.abs(samples).max())
    samples = samples[max(0, loud[0] - 400) : loud[-1] + 1_200]
    return samples * (LEVEL / np.sqrt(np.mean(samples**2)))


def compressor(rng: np.random.Generator, length: int) -> Samples:
    """A piston compressor: 24 strokes a second, valve clatter, motor hum and rushing air."""
    time = np.arange(length) / RATE
    strokes = np.maximum(0, np.sin(2 * np.pi * 24.0 * time)) ** 6
    air = np.convolve(rng.normal(0, 1, length + 31), np.ones(32) / 32, mode="valid")
    clatter = rng.normal(0, 1, length) * strokes
    hum = sum(np.sin(2 * np.pi * 49.0 * n * time) / n for n in (1, 2, 3, 5))
    noise = 0.7 * air / air.std() + 0.5 * clatter / clatter.std() + 0.5 * hum
    return noise / np.sqrt(np.mean(noise**2))


def build(
    part: dict[str, Any], lines: list[dict[str, Any]], seed: int
) -> tuple[Samples, list[Any]]:
    """One part's sound and, per line, where it lies in it (seconds from the part's start)."""
    rng = np.random.default_rng(seed)
    pieces = [np.zeros(int(LEAD_IN_S * RATE))]
    rows = []
    at = len(pieces[0])
    noise_at = None
    for number, line in enumerate(lines):
        said = speak(line["words"], part["voice"])
        if number == part.get("noise_from"):
            noise_at = at - RATE // 2
        rows.append(
            {"id": line["id"], "words": line["words"], "start_s": round(at / RATE, 3),
             "end_s": round((at + len(said)) / RATE, 3), "expect": line["expect"]}
        )  # fmt: skip
        pause = np.zeros(int(rng.uniform(*PAUSE_S) * RATE))
        pieces += [said, pause]
        at += len(said) + len(pause)
    sound = np.concatenate(pieces)
    sound += rng.normal(0, 0.0008, len(sound))
    if noise_at is not None:
        gain = LEVEL / 10 ** (part["signal_to_noise_db"] / 20)
        sound[noise_at:] += gain * compressor(rng, len(sound) - noise_at)
    return sound, rows


def main() -> None:
    """Write every part and the manifest that says what is in it and what must come out."""
    scenario = tomllib.loads((HERE / "scenario.toml").read_text(encoding="utf-8"))
    manifest: dict[str, Any] = {key: scenario[key] for key in ("vehicle", "inspection", "camera")}
    manifest["parts"] = []
    spoken_at: dict[str, float] = {}
    for number, part in enumerate(scenario["part"], start=1):
        lines = [line for line in scenario["say"] if line["part"] == number]
        sound, rows = build(part, lines, seed=4_000 + number)
        soundfile.write(HERE / part["file"], np.clip(sound, -1, 1), RATE, subtype="PCM_16")
        manifest["parts"].append(
            {"file": part["file"], "begins_s": part["begins_s"], "voice": f"flite {part['voice']}",
             "noise": part.get("noise"), "utterances": rows}
        )  # fmt: skip
        for row in rows:
            spoken_at[row["id"]] = part["begins_s"] + row["end_s"]
        print(f"{part['file']}: {len(rows)} utterances, {len(sound) / RATE:.1f} s")
    manifest["photos"] = [
        {"file": photo["file"], "shows": photo["shows"], "belongs_to": photo["belongs_to"],
         "at_s": round(spoken_at[photo["after"]] + photo["seconds"], 2)}
        for photo in scenario["photo"]
    ]  # fmt: skip
    text = json.dumps(manifest, indent=1, ensure_ascii=False) + "\n"
    (HERE / "manifest.json").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
