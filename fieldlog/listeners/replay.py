"""Recorded hypotheses played back, and the recorder that writes them (JSON lines).

A record is found by the SHA-256 of the clip's 16-bit samples, so it does not matter what file the
clip came from. The same pipeline can so be run again, on any machine, without the recogniser.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from fieldlog.audio.clip import Clip
from fieldlog.errors import ModelError
from fieldlog.grammar.language import Language
from fieldlog.listeners.base import Listener
from fieldlog.listeners.pcm import pcm16
from fieldlog.model.hearing import Hearing, Hypothesis


def clip_key(clip: Clip) -> str:
    """SHA-256 of the clip's samples as 16-bit integers, in hexadecimal."""
    return hashlib.sha256(pcm16(clip)).hexdigest()


class ReplayListener:
    """Answers each clip with what was recorded for it; nothing for a clip it does not know."""

    name = "replay"

    def __init__(self, records: Mapping[str, Hearing]) -> None:
        """``records``: clip key -> what was heard."""
        self._records = dict(records)
        self._language: Language | None = None

    @classmethod
    def from_file(cls, path: Path) -> ReplayListener:
        """Read a recording; raises ``ModelError`` naming the line that cannot be used."""
        try:
            lines = path.read_text(encoding="utf-8").splitlines()
        except (OSError, UnicodeDecodeError) as error:
            raise ModelError(
                f"the recording cannot be read ({error})", where=str(path), todo="check the path"
            ) from None
        return cls(read_records(lines, str(path)))

    def load(self, language: Language) -> None:
        """Make ready; the recording holds words, not models."""
        self._language = language

    def hear(self, clip: Clip) -> Hearing:
        """What was recorded for this clip."""
        if self._language is None:
            raise ModelError("nothing is loaded", where=self.name, todo="call load() first")
        return self._records.get(clip_key(clip)) or Hearing(self.name, (), 0.0)

    def close(self) -> None:
        """Forget the language; calling it twice is harmless."""
        self._language = None


class RecordingListener:
    """Another listener, with everything it hears appended to a file."""

    def __init__(self, listener: Listener, path: Path) -> None:
        """Record what ``listener`` hears to ``path``."""
        self.listener = listener
        self.path = path
        self.name = listener.name

    def load(self, language: Language) -> None:
        """Load the listener behind."""
        self.listener.load(language)

    def hear(self, clip: Clip) -> Hearing:
        """Hear, and keep what was heard; raises ``ModelError`` when it cannot be written."""
        hearing = self.listener.hear(clip)
        try:
            with self.path.open("a", encoding="utf-8") as file:
                file.write(record_line(clip, hearing) + "\n")
        except OSError as error:
            raise ModelError(
                f"the recording cannot be written ({error.strerror})",
                where=str(self.path),
                todo="name a file in a folder that can be written to",
            ) from None
        return hearing

    def close(self) -> None:
        """Close the listener behind."""
        self.listener.close()


def record_line(clip: Clip, hearing: Hearing) -> str:
    """One line of a recording (pure)."""
    return json.dumps(
        {
            "clip": clip_key(clip),
            "start_s": round(clip.start_s, 3),
            "duration_s": round(clip.duration_s, 3),
            "listener": hearing.listener,
            "latency_ms": round(hearing.latency_ms, 3),
            "hypotheses": [
                {"text": h.text, "score": h.score, "evidence": dict(h.evidence)}
                for h in hearing.hypotheses
            ],
        },
        ensure_ascii=False,
    )


def read_records(lines: Iterable[str], file: str = "<recording>") -> dict[str, Hearing]:
    """Lines of a recording -> clip key -> hearing; of two records for one clip the later counts.

    Raises ``ModelError`` naming the first line that is no record.
    """
    records: dict[str, Hearing] = {}
    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        try:
            key, hearing = _record(json.loads(line))
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise ModelError(
                f"not a recorded hearing ({error!r})",
                where=f"{file}:{number}",
                todo="record it again",
            ) from None
        records[key] = hearing
    return records


def _record(data: Any) -> tuple[str, Hearing]:
    hypotheses = tuple(
        Hypothesis(
            str(h["text"]),
            float(h["score"]),
            {str(name): float(value) for name, value in h["evidence"].items()},
        )
        for h in data["hypotheses"]
    )
    return str(data["clip"]), Hearing(str(data["listener"]), hypotheses, float(data["latency_ms"]))
