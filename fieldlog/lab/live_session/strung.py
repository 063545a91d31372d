"""Phrases of the speech set one behind the other, as recordings that are spoken into a live session."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import soundfile as sf

from fieldlog.audio.clip import RATE
from fieldlog.lab.speech_set.items import SpeechSet

SEED = 20261130
TOGETHER = 20
"""Phrases of a recording, which is a session of its own."""
PAUSE_S = 1.3
"""Between two of them, beside the silence (1.5 s) that the set has around each: no two may be one phrase."""
SAID = ("phrase", "incomplete")
"""Kinds of what is meant for the listener: whoever says it waits for the tone."""


def strung(
    folder: Path, count: int, out: Path
) -> Iterator[tuple[Path, tuple[tuple[float, float], ...]]]:
    """``count`` of the test part, in an order drawn once, as FLAC files in ``out``.

    With each from when to when (s) something is said in it. Raises ``UsageError`` where ``folder`` is no set.
    """
    speech = SpeechSet(folder)
    items = [each for each in speech.part("test") if each.kind in SAID]
    drawn = np.random.default_rng(SEED).permutation(len(items))[:count]
    pause = np.zeros(round(PAUSE_S * RATE), np.float32)
    for first in range(0, len(drawn), TOGETHER):
        sounds, said, at = [pause], [], PAUSE_S
        for item in (items[int(number)] for number in drawn[first : first + TOGETHER]):
            sound = speech.clean(item)
            sounds += [sound, pause]
            said.append((at + item.speech_start_s, at + item.speech_end_s))
            at += len(sound) / RATE + PAUSE_S
        path = out / f"{first:04}.flac"
        sf.write(path, np.concatenate(sounds), RATE)
        yield path, tuple(said)
