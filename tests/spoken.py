"""One spoken sentence and a small grammar that holds it, for tests of the commands."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from click.testing import CliRunner, Result
from numpy.typing import NDArray

from fieldlog.audio.clip import Clip
from fieldlog.cli import main
from fieldlog.model.hearing import Hearing, Hypothesis

WORDS = "front tread four thirty seconds"
GRAMMAR = """#JSGF V1.0;
grammar small;
public <finding> = (front | rear) {position} (tread | pads) {what} <number> {value} [thirty seconds];
<number> = two | three | four | five;
"""


def sentence() -> NDArray[np.float32]:
    """``WORDS`` with silence round it: 5 s, mono, 16 kHz (how it was made: see the folder)."""
    path = Path(__file__).parent / "data" / "speech" / "front-tread-four-thirty-seconds.flac"
    sound, rate = sf.read(path, dtype="float32", frames=5 * 16_000)
    assert rate == 16_000
    return np.asarray(sound, dtype=np.float32)


def spoken(path: Path, gain: float = 1.0) -> Path:
    """The sentence as an audio file of the kind that ``path`` names."""
    sf.write(path, sentence() * gain, 16_000)
    return path


def grammar(folder: Path) -> Path:
    """The small grammar as a file."""
    path = folder / "small.jsgf"
    path.write_text(GRAMMAR, encoding="utf-8")
    return path


def run(*arguments: str | Path) -> Result:
    """A command of fieldlog in this process; stdout and stderr apart."""
    return CliRunner().invoke(main, [str(each) for each in arguments], prog_name="fieldlog")


def hear(*arguments: str | Path, folder: Path) -> Result:
    """``fieldlog hear --json`` with the small grammar and the quickest listener."""
    return run(
        "hear", *arguments, "--grammar", grammar(folder), "--listener", "pocketsphinx", "--json"
    )


class Stub:
    """A listener that hears ``WORDS`` in every clip."""

    name = "stub"

    def load(self, language: object) -> None:
        """Nothing to load."""

    def hear(self, clip: Clip) -> Hearing:
        """The same for everything."""
        return Hearing("stub", (Hypothesis(WORDS, 0.0),), 1.0)

    def close(self) -> None:
        """Nothing to close."""


def stub_opener(name: str, model: Path | None) -> Stub:
    """Opens the stub in a worker process."""
    return Stub()


def stub_listener(monkeypatch: pytest.MonkeyPatch) -> None:
    """Puts the stub in place of every recogniser, accepted as it comes, for tests of the record."""
    monkeypatch.setattr("fieldlog.listeners.choose.open_listener", lambda *_, **__: Stub())
    monkeypatch.setattr(
        "fieldlog.doubt.decide.judge_for", lambda *_: lambda said, hearing, clip: said
    )
