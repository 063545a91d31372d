"""Saying aloud what happened: the tone, then the words, on the one stream of the loudspeaker."""

from __future__ import annotations

import json
import re
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
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
from fieldlog.words.telling import Telling, told_in, translated

Samples = NDArray[np.float32]

_BETWEEN = np.zeros(RATE // 10, np.float32)
"""Silence between a tone and the words behind it."""
QUIET_S = 1.5
"""Seconds behind the end of an utterance, itself known by a silence, until what was broken off is said again:
time for whoever was not understood to say it again."""
_WAITS_S = 10.0
"""What was broken off so long ago is said all the same, to its end, whoever talks meanwhile."""
_BREAKS = 2
"""So often one thing gives way to who begins to speak; then it is said to its end: a radio that talks would
else keep it from ever being heard."""


class Plays(Protocol):
    """What sounds are played on."""

    playback: Playback

    def play(self, samples: Samples, name: str = "") -> None:
        """Play mono float32 at ``RATE`` behind what waits already; never waits itself."""
        ...

    def cut(self) -> None:
        """Stop what is played under a name; what has none is played to its end."""
        ...


class SpeaksIn(Protocol):
    """A language whose words the pack does not hold: they are said by the other voice alone."""

    @property
    def told(self) -> Telling:
        """How it tells."""

    @property
    def speech(self) -> str:
        """Its code, ISO 639-1: the voice that says it."""

    def aloud(self, told: str) -> str:
        """The words of what was told, figures and units spoken out."""


class Speaks(Protocol):
    """Another voice, for words that the pack does not hold."""

    def say(self, words: str, voice: str = "") -> Samples | None:
        """Mono float32 at ``RATE``, in the ``voice`` of a language; None where it cannot."""
        ...


def sound_of(said: Saying, voice: Voice | None, other: Speaks | None = None) -> Samples:
    """A tone and the words behind it; the tone alone where no voice has the words."""
    parts = [] if said.tone is None else [tone(said.tone)]
    words = spoken_words(said.words, voice, other)
    if words is not None:
        parts.append(before_words(words) if parts else words)
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


def before_words(words: Samples) -> Samples:
    """``words`` behind the silence that is between a tone and them."""
    return np.concatenate([_BETWEEN, words])


_STOP = re.compile(r"([,.?:;])(?=\s|$)")


def _in_words(told: str, language: SpeaksIn) -> str:
    """What was told, each stretch between its stops in words that the language itself says."""
    said = ""
    for n, part in enumerate(_STOP.split(told)):
        if n % 2:
            said += "," if part in ":;" else part
        elif part.strip():
            said += f" {language.aloud(part.strip())}"
    return said.strip()


@dataclass(frozen=True, slots=True)
class _Words:
    """What is being said, or was broken off."""

    said: Saying
    sound: Samples
    name: str
    """Of its sound on the loudspeaker."""
    breaks: int = 0
    """How often it was broken off already."""


class Mouth:
    """Tells on a loudspeaker, and knows afterwards what was its own voice.

    Who begins to speak is given way to (``gives_way``, called by the thread that captures); where nothing
    came of what they said, it is said again (``goes_on``).
    """

    def __init__(
        self,
        how: Say,
        plays: Plays,
        voice: Voice | None,
        *,
        other: Speaks | None = None,
        kept: Path | None = None,
        language: SpeaksIn | None = None,
    ) -> None:
        """``kept``: a file that says what was played when, a JSON object a line.

        ``language``: another than the reference, which ``other`` alone says.
        """
        self._language = language
        self._how, self._plays, self._voice, self._other = how, plays, voice, other
        self._kept = kept
        self._said: dict[str, Saying] = {}
        self._lock = threading.Lock()
        self._now: _Words | None = None
        """What was said last, which may have ended."""
        self._broken_off: _Words | None = None
        self._broken_off_s = 0.0
        self.is_spoken_to: Callable[[], bool] = lambda: False
        """Whether somebody speaks now, as far as is known; set by a session that does not hear itself."""

    @property
    def asks(self) -> bool:
        """Whether it says enough for *affirm* to be asked for."""
        speaks = self._voice if self._language is None else self._other
        return self._how in (Say.VALUES, Say.EVERYTHING) and speaks is not None

    def tell(self, events: Sequence[Event]) -> None:
        """Sound and say what one utterance led to."""
        with told_in(None if self._language is None else self._language.told):
            said = saying(events, self._how)
        if self._language is not None:
            said = replace(said, words=_in_words(said.words, self._language))
        self.say(said)

    def lost(self) -> None:
        """The microphone is gone."""
        if self._how is Say.NOTHING:
            return
        with told_in(None if self._language is None else self._language.told):
            words = "" if self._how is Say.TONES else aloud(translated(spoken.NO_MICROPHONE))
        sound = self._words(words)  # with no name: nothing hears it
        parts = [tone(Tone.LOST), *([] if sound is None else [before_words(sound)])]
        self._plays.play(np.concatenate(parts))

    def overheard(self, heard: Heard) -> Heard:
        """``heard``, unless it is what we were saying ourselves (``own_voice``)."""
        around = self._plays.playback.around(heard.clip.start_s, heard.clip.end_s, TAIL_S)
        return overheard(heard, [self._spoken(sound) for sound in around if sound.name])

    def say(self, said: Saying) -> None:
        """Sound and say that."""
        words = self._words(said.words)
        if said.tone is None and words is None:
            return
        with self._lock:
            behind = False
            if said.tone is Tone.NOT_UNDERSTOOD:  # whatever it was, nobody heard the end of this
                behind = not self._break_off() and self._is_saying()
            else:  # what was being said is old: whoever spoke went on
                self._broken_off = None
            if not behind:
                self._plays.cut()
                self._now = None
            if said.tone is not None:
                self._plays.play(tone(said.tone))
            waits = not behind and self.is_spoken_to()  # they go on: words have to wait
            self._note(Saying(said.tone) if waits else said, behind=behind)
            if words is None:
                return
            new = _Words(said, before_words(words), "")
            if waits:
                self._broken_off = self._broken_off or new
                self._broken_off_s = self._plays.playback.position_s
            else:
                self._begin(new)

    def gives_way(self) -> None:
        """Somebody begins to speak: what is being said stops at once."""
        with self._lock:
            if self._break_off():
                self._plays.cut()
                self._note(Saying(None))

    def goes_on(self, position_s: float, *, quiet: bool) -> None:
        """The stream has come so far, and all that was said is told; ``quiet``: nobody speaks for ``QUIET_S``.

        What was broken off, with nothing told since but that something was not understood, is said again.
        """
        with self._lock:
            off, waited_s = self._broken_off, position_s - self._broken_off_s
            if off is None or waited_s < QUIET_S or self._is_saying():
                return
            if not quiet:
                if waited_s < _WAITS_S:
                    return
                off = replace(off, breaks=_BREAKS)
            self._broken_off = None
            self._note(Saying(None, off.said.words))
            self._begin(off)

    def _words(self, words: str) -> Samples | None:
        if self._language is None:
            return spoken_words(words, self._voice, self._other)
        if not words or self._other is None:
            return None
        return self._other.say(words, self._language.speech)

    def _begin(self, words: _Words) -> None:
        name = str(len(self._said) + 1)
        self._said[name] = words.said
        self._now = replace(words, name=name)
        self._plays.play(words.sound, name)

    def _break_off(self) -> bool:
        """Whether something was being said that gives way; it is remembered."""
        now = self._now
        if now is None or now.breaks >= _BREAKS or not self._is_saying():
            return False
        if self._broken_off is None:  # else "not understood" would take the place of what matters
            self._broken_off = replace(now, breaks=now.breaks + 1)
        self._broken_off_s = self._plays.playback.position_s
        self._now = None
        return True

    def _is_saying(self) -> bool:
        if self._now is None:
            return False
        sound = self._plays.playback.named(self._now.name)
        return sound is None or sound.end_s > self._plays.playback.position_s

    def _note(self, said: Saying, *, behind: bool = False) -> None:
        """``behind``: it waits for what is being said, which else ends here."""
        if self._kept is None:
            return
        at_s = self._plays.playback.position_s
        row = {"at_s": at_s, "tone": said.tone, "words": said.words, "behind": behind}
        try:
            with self._kept.open("a", encoding="utf-8") as file:
                file.write(json.dumps(row) + "\n")
        except OSError:
            self._kept = None  # a note for later; the session goes on without it

    def _spoken(self, sound: Sounding) -> OwnWords:
        said = self._said[sound.name]
        return OwnWords(sound.start_s, sound.end_s, said.words, said.findings, said.asks)
