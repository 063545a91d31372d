"""Recorded hypotheses played back.

A record is found by the SHA-256 of the clip's 16-bit samples, so it does not matter what file the
clip came from. The same pipeline can so be run again, on any machine, without the recogniser.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping

from fieldlog.audio.clip import Clip
from fieldlog.errors import ModelError
from fieldlog.grammar.language import Language
from fieldlog.listeners.pcm import pcm16
from fieldlog.model.hearing import Hearing


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
