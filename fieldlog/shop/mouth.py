"""Saying aloud what happened: the tone, then the words, on the one stream of the loudspeaker."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.audio.playback import Playback, Sounding
from fieldlog.audio.tones import Tone, tone
from fieldlog.audio.voice import Unsayable, Voice
from fieldlog.hearing import Heard
from fieldlog.shop.events import Event
from fieldlog.shop.own_voice import TAIL_S, OwnWords, overheard
from fieldlog.shop.saying import Say, Saying, saying
from fieldlog.words import spoken
from fieldlog.words.aloud import aloud, phrases

Samples = NDArray[np.float32]

_BETWEEN = np.zeros(RATE // 10, np.float32)
"""Silence between a tone and the words behind it."""


class Plays(Protocol):
    """What sounds are played on."""

    playback: Playback

    def play(self, samples: Samples, name: str = "") -> None:
        """Play mono float32 at ``RATE`` behind what waits already; never waits itself."""
        ...

    def cut(self) -> None:
        """Stop what is played under a name; what has none is played to its end."""
        ...


class Speaks(Protocol):
    """Another voice, for words that the pack does not hold."""

    def say(self, words: str) -> Samples | None:
        """Mono float32 at ``RATE``; None where it cannot."""
        ...


def sound_of(said: Saying, voice: Voice | None, other: Speaks | None = None) -> Samples:
    """A tone and the words behind it; the tone alone where no voice has the words."""
    parts = [] if said.tone is None else [tone(said.tone)]
    words = spoken_words(said.words, voice, other)
    if words is not None:
        parts += [_BETWEEN, words] if parts else [words]
    return np.concatenate(parts) if parts else np.zeros(0, np.float32)


def spoken_words(words: str, voice: Voice | None, other: Speaks | None = None) -> Samples | None:
    """``words`` in the voice of the pack, else in the ``other``; None: neither has them."""
    if not words:
        return None
    if voice is not None:
        try:
            return voice.say(tuple(phrases(words)))
        except Unsayable:
            pass
    return other.say(words) if other is not None else None


class Mouth:
    """Tells on a loudspeaker, and knows afterwards what was its own voice."""

    def __init__(
        self,
        how: Say,
        plays: Plays,
        voice: Voice | None,
        *,
        other: Speaks | None = None,
        kept: Path | None = None,
    ) -> None:
        """``kept``: a file that says what was played when, a JSON object a line."""
        self._how, self._plays, self._voice, self._other = how, plays, voice, other
        self._kept = kept
        self._said: dict[str, Saying] = {}

    @property
    def asks(self) -> bool:
        """Whether it says enough for *affirm* to be asked for."""
        return self._how in (Say.VALUES, Say.EVERYTHING) and self._voice is not None

    def tell(self, events: Sequence[Event]) -> None:
        """Sound and say what one utterance led to."""
        self.say(saying(events, self._how))

    def lost(self) -> None:
        """The microphone is gone."""
        words = "" if self._how in (Say.NOTHING, Say.TONES) else aloud(spoken.NO_MICROPHONE)
        if self._how is not Say.NOTHING:  # with no name: nothing hears it
            self._plays.play(sound_of(Saying(Tone.LOST, words), self._voice, self._other))

    def overheard(self, heard: Heard) -> Heard:
        """``heard``, unless it is what we were saying ourselves (``own_voice``)."""
        around = self._plays.playback.around(heard.clip.start_s, heard.clip.end_s, TAIL_S)
        return overheard(heard, [self._spoken(sound) for sound in around if sound.name])

    def say(self, said: Saying) -> None:
        """Sound and say that."""
        words = spoken_words(said.words, self._voice, self._other)
        if said.tone is None and words is None:
            return
        self._plays.cut()  # what was being said is old: whoever spoke went on
        if said.tone is not None:
            self._plays.play(tone(said.tone))
        if words is not None:
            name = str(len(self._said) + 1)
            self._said[name] = said
            self._plays.play(np.concatenate([_BETWEEN, words]), name)
        self._note(said)

    def _note(self, said: Saying) -> None:
        if self._kept is None:
            return
        row = {"at_s": self._plays.playback.position_s, "tone": said.tone, "words": said.words}
        try:
            with self._kept.open("a", encoding="utf-8") as file:
                file.write(json.dumps(row) + "\n")
        except OSError:
            self._kept = None  # a note for later; the session goes on without it

    def _spoken(self, sound: Sounding) -> OwnWords:
        said = self._said[sound.name]
        return OwnWords(sound.start_s, sound.end_s, said.words, said.findings, said.asks)
