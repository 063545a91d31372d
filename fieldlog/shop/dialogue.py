"""A session as one hears it: each utterance, and behind it the tone and the words that answer it."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np
import soundfile

from fieldlog.audio.clip import RATE, Clip
from fieldlog.audio.voice import Voice
from fieldlog.errors import StoreError
from fieldlog.shop.events import Event
from fieldlog.shop.mouth import sound_of
from fieldlog.shop.saying import Say, saying

_BEFORE_S, _BEHIND_S = 0.4, 0.8


def write_dialogue(
    path: Path, turns: Iterable[tuple[Clip, tuple[Event, ...]]], voice: Voice, how: Say = Say.VALUES
) -> Path:
    """Write ``turns`` (what was said, what it led to) as Ogg Opus; raises ``StoreError``."""
    parts = [np.zeros(0, np.float32)]
    for clip, events in turns:
        answer = sound_of(saying(events, how), voice)
        parts += [clip.samples, _silence(_BEFORE_S), answer, _silence(_BEHIND_S)]
    try:
        soundfile.write(path, np.concatenate(parts), RATE, format="OGG", subtype="OPUS")
    except (OSError, soundfile.SoundFileError) as error:
        raise StoreError(f"the dialogue cannot be written ({error})", where=str(path)) from error
    return path


def _silence(seconds: float) -> np.ndarray[tuple[int], np.dtype[np.float32]]:
    return np.zeros(round(seconds * RATE), np.float32)
