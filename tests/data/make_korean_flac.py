"""Made korean.flac: three findings, one second of silence between them (espeak-ng 1.51, ko+f4),
and korean_one.flac: the first of them.

    python tests/data/make_korean_flac.py

Needs espeak-ng; the tests need only the file. Synthetic Korean is heard badly by the model, so the
three phrases are ones that it does hear: the test is of the adapter, not of the model.
"""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path

import numpy as np
import soundfile
import soxr

PHRASES = ("브레이크 패드 마모", "브레이크 패드 오 밀리미터", "배터리 마모")
RATE = 16_000


def spoken(text: str) -> np.ndarray:
    """``text`` in espeak-ng's Korean at 16 kHz."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "spoken.wav"
        command = ["espeak-ng", "-v", "ko+f4", "-s", "160", "-p", "60", "-w", str(file), text]
        subprocess.run(command, check=True)
        samples, rate = soundfile.read(file, dtype="float32")
    resampled: np.ndarray = soxr.resample(samples, rate, RATE)
    return resampled


def main() -> None:
    """Write the files beside this script."""
    silence = np.zeros(RATE, dtype=np.float32)
    parts = [silence[: RATE // 4]]
    for phrase in PHRASES:
        parts += [spoken(phrase), silence]
    for name, kept in (("korean.flac", parts), ("korean_one.flac", parts[:2])):
        file = Path(__file__).with_name(name)
        soundfile.write(file, np.concatenate(kept) * 0.5, RATE, subtype="PCM_16")


if __name__ == "__main__":
    main()
