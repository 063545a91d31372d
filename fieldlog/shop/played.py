"""What was played beside a recording: from it the far end of its echo can be made again.

The microphone is kept as it came in, our own voice in it. Whoever hears a recording again (after a power
cut) takes that out as the live session did.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from fieldlog.audio.playback import Playback
from fieldlog.audio.recorder import RUNNING
from fieldlog.audio.tones import Tone, tone
from fieldlog.audio.voice import Voice
from fieldlog.hearing import Heard
from fieldlog.model.finding import Finding
from fieldlog.shop.mouth import before_words, spoken_words
from fieldlog.shop.own_voice import TAIL_S, OwnWords, overheard

_ENDING = ".played.jsonl"


def beside(stream: Path) -> Path:
    """The notes of what was played while ``stream`` (finished or not) was recorded."""
    return stream.with_name(stream.name.removesuffix(RUNNING).removesuffix(".wav") + _ENDING)


@dataclass(frozen=True)
class Played:
    """All that was played while a stream was recorded."""

    playback: Playback
    words: dict[str, str]
    """Name of a sound -> its words."""

    @classmethod
    def read(cls, stream: Path, voice: Voice) -> Self | None:
        """What the notes beside ``stream`` say; None where there are none, a torn line is left out."""
        try:
            lines = beside(stream).read_text(encoding="utf-8").splitlines()
        except OSError:
            return None
        playback, words = Playback(kept=2 * len(lines) + 1), dict[str, str]()
        for number, line in enumerate(lines):
            try:
                row = json.loads(line)
                at_s, said = float(row["at_s"]), str(row["words"])
                which = Tone(row["tone"]) if row["tone"] else None
                behind = bool(row.get("behind"))
            except (ValueError, KeyError, TypeError, AttributeError):
                continue
            playback.at(at_s)
            if not behind:  # what was being said was out of date, or somebody began to speak
                playback.cut()
            if which is not None:
                playback.begins(tone(which), "")
            spoken = spoken_words(said, voice)
            if spoken is not None:
                playback.begins(before_words(spoken), str(number))
                words[str(number)] = said
        return cls(playback, words)

    def overheard(self, heard: Heard, findings: Sequence[Finding]) -> Heard:
        """``heard``, unless it is what was played; ``findings``: what may have been read back."""
        around = self.playback.around(heard.clip.start_s, heard.clip.end_s, TAIL_S)
        said = [
            OwnWords(each.start_s, each.end_s, self.words[each.name], tuple(findings))
            for each in around
            if each.name
        ]
        return overheard(heard, said)
