"""The voice that reads back: stretches of words rendered once, in a pack, spliced into a sentence.

The pack is one archive (``fieldlog/audio/voice_pack/pack.zip``, made by ``python -m fieldlog.lab voice``): an
Ogg Opus file for each stretch and ``index.json`` with their words. The longest stretch that fits is
taken, its edges faded into the next one; a stop is a pause. Nothing is synthesised here: what the pack
cannot say in full is not said at all (``Unsayable``).
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.errors import AudioError

Samples = NDArray[np.float32]

FOLDER = Path(__file__).resolve().parent / "voice_pack"
PACK = FOLDER / "pack.zip"
INDEX = "index.json"
LEADS_ON, GOES_ON, FALLS = "", ",", "."
"""How a stretch ends: straight into the next word, before a short pause, at an end."""
_PAUSE_S = {"": 0.0, ",": 0.2, ".": 0.4, "?": 0.4}
_SILENT = 0.004
"""RMS (full scale 1) of what is left of a voice that nobody hears any more: 26 dB below the words of the pack."""
_RINGS = 3 * RATE // 100
"""Samples kept behind the last that is louder, half of them faded."""
_FADE = RATE // 100
"""Samples over which one stretch fades into the next."""
_BEST = {
    "": (LEADS_ON, GOES_ON, FALLS),
    ",": (GOES_ON, LEADS_ON, FALLS),
    ".": (FALLS, GOES_ON, LEADS_ON),
    "?": (FALLS, GOES_ON, LEADS_ON),
}
"""Stop behind a stretch -> the renderings of it that may stand there, best first."""

Sentence = Sequence[tuple[tuple[str, ...], str]]
"""Stretches of words, each with the stop behind it (``fieldlog.words.aloud.phrases``)."""


class Unsayable(Exception):
    """The pack does not hold these words."""


class Voice:
    """One pack, read as it is needed."""

    def __init__(self, path: Path = PACK) -> None:
        """Open the pack; raises ``AudioError`` where it is missing or no pack."""
        try:
            self._archive = zipfile.ZipFile(path)
            names: dict[str, str] = json.loads(self._archive.read(INDEX))
        except (OSError, KeyError, ValueError, zipfile.BadZipFile) as error:
            raise AudioError(
                f"the voice cannot be read ({error})",
                where=str(path),
                todo="install fieldlog again, or listen with --say tones",
            ) from error
        self._names = names
        """ "front brake pads|," -> the file of it."""
        texts = {name.rpartition("|")[0] for name in names}
        self._longest = max((text.count(" ") + 1 for text in texts), default=0)
        self._texts = frozenset(texts)
        self._known: dict[str, Samples] = {}

    @property
    def texts(self) -> frozenset[str]:
        """Every stretch of words that it holds."""
        return self._texts

    def says(self, sentence: Sentence) -> tuple[tuple[str, str], ...]:
        """The stretches of the pack that say ``sentence``, each with the stop behind it.

        Raises ``Unsayable`` with the first word that it does not hold.
        """
        found: list[tuple[str, str]] = []
        for words, stop in sentence:
            at = 0
            while at < len(words):
                taken = self._longest_at(words, at)
                at += taken
                ending = stop or "." if at == len(words) else ""
                found.append((" ".join(words[at - taken : at]), ending))
        return tuple(found)

    def say(self, sentence: Sentence) -> Samples:
        """``sentence`` as mono float32 at ``RATE``; raises ``Unsayable``."""
        out = np.zeros(0, np.float32)
        pause = 0.0
        for text, stop in self.says(sentence):
            sound, before = self._sound(text, stop), pause
            pause = _PAUSE_S[stop]
            out = spliced(out, ended(sound) if pause else sound, before)
        return out

    def _longest_at(self, words: Sequence[str], at: int) -> int:
        for count in range(min(self._longest, len(words) - at), 0, -1):
            if " ".join(words[at : at + count]) in self._texts:
                return count
        raise Unsayable(words[at])

    def _sound(self, text: str, stop: str) -> Samples:
        name = next(
            self._names[key] for end in _BEST[stop] if (key := f"{text}|{end}") in self._names
        )
        if name not in self._known:
            sound, _ = soundfile.read(io.BytesIO(self._archive.read(name)), dtype="float32")
            self._known[name] = np.asarray(sound, np.float32)
        return self._known[name]


def ended(sound: Samples) -> Samples:
    """``sound`` without the silence that it was rendered with: a stop is as long as the stop, whatever stands there.

    Before, "confirm" was followed by 0.7 s of nothing (median behind a comma 0.55 s, ad-hoc over 26 read-backs).
    """
    frame = RATE // 100
    power = np.square(sound[: len(sound) // frame * frame]).reshape(-1, frame).mean(axis=1)
    loud = np.flatnonzero(power > _SILENT**2)
    if not len(loud):
        return sound
    kept = sound[: (int(loud[-1]) + 1) * frame + _RINGS].copy()
    fading = min(_RINGS // 2, len(kept))
    kept[len(kept) - fading :] *= np.linspace(1.0, 0.0, fading, dtype=np.float32)
    return kept


def spliced(before: Samples, sound: Samples, pause_s: float) -> Samples:
    """``sound`` behind ``before``: after a pause, or faded into it."""
    if not len(before):
        return sound
    if pause_s:
        return np.concatenate([before, np.zeros(round(pause_s * RATE), np.float32), sound])
    shared = min(_FADE, len(before), len(sound))
    rising = np.linspace(0.0, 1.0, shared, dtype=np.float32)
    joint = before[-shared:] * (1.0 - rising) + sound[:shared] * rising
    return np.concatenate([before[:-shared], joint, sound[shared:]])


@lru_cache(maxsize=1)
def bundled_voice() -> Voice:
    """The voice of the package, opened once; raises ``AudioError``."""
    return Voice()
