"""Where utterances begin and end, decided from frame probabilities alone (pure, counts frames).

A state machine with two states. Out of speech: ``onset_frames`` voiced frames among the last
``onset_frames + 1`` begin an utterance, at the first of them or as far before as the voice can be
followed back without a break (``rise_frames`` at most). In speech: a frame is *kept* while the
voice fades without a break (probability at least ``fade``), and after a break when the voice
clearly comes back (``back_frames`` voiced frames in a row). ``hangover_frames`` after the last kept
frame the utterance ends there. So a faint tail is followed down, and a clatter behind it is not
taken for more speech. Who knows what was said may let the silence that lasts now be shorter or longer
(``wait``).
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from enum import StrEnum


class Change(StrEnum):
    """What one frame brought."""

    BEGIN = "begin"
    PAUSE = "pause"
    """The first silence: the utterance may be over (encoding can start)."""
    END = "end"
    CUT = "cut"
    """Maximum length reached: cut at ``Bounds.cut_at``, speech goes on."""
    DROP = "drop"
    """It ended, with too few voiced frames to be speech."""


@dataclass(frozen=True, slots=True)
class BoundsSettings:
    """All in frames of 32 ms, probabilities 0..1."""

    on: float = 0.5
    """A frame at least this likely is voiced."""
    fade: float = 0.15
    """A frame at least this likely continues speech that has not broken off."""
    fade_gap_frames: int = 3
    """So many frames below ``fade`` are not yet a break (stop consonants are silent)."""
    back_frames: int = 2
    onset_frames: int = 4
    rise_frames: int = 20
    hangover_frames: int = 24
    pause_frames: int = 10
    least_voiced_frames: int = 5
    most_frames: int = 937
    cut_search_frames: int = 156
    """The cut at maximum length lies in the last so many frames."""


class Bounds:
    """Fed one probability per frame; tells when an utterance begins, pauses, ends, must be cut."""

    def __init__(self, settings: BoundsSettings) -> None:
        """Start out of speech with an unknown background."""
        self._settings = settings
        self._recent: deque[float] = deque(maxlen=settings.onset_frames + 1 + settings.rise_frames)
        self._speech: list[float] = []
        """Probabilities since the begin of the utterance; empty out of speech."""
        self.speaking = False
        self.begin = 0
        """Frame at which the current (or last) utterance begins."""
        self.last_kept = 0
        """Last frame that belongs to speech."""
        self.cut_at = 0
        """First frame that belongs to the next utterance after ``CUT``."""
        self._voiced = 0
        self._run = 0
        """Voiced frames in a row."""
        self._now = 0
        self._wait: int | None = None
        """Frames to wait in this silence instead of the hangover."""

    def push(self, probability: float) -> Change | None:
        """Take the next frame."""
        now = self._now
        self._now += 1
        return self._inside(now, probability) if self.speaking else self._outside(now, probability)

    def wait(self, frames: int) -> None:
        """Let the silence that lasts now end the utterance after ``frames`` of it; the next one may not."""
        self._wait = frames

    def flush(self) -> Change | None:
        """The stream ends here: an open utterance ends too."""
        return self._end() if self.speaking else None

    def _outside(self, now: int, probability: float) -> Change | None:
        self._recent.append(probability)
        settings = self._settings
        recent = list(self._recent)
        last = len(recent) - settings.onset_frames - 1
        voiced = [i for i in range(max(0, last), len(recent)) if recent[i] >= settings.on]
        if len(voiced) < settings.onset_frames:
            return None
        first = self._risen(recent, voiced[0])
        self._speech = recent[first:]
        self.begin = now - len(self._speech) + 1
        self.last_kept = now
        self._voiced = len(voiced)
        self._run = 0
        self.speaking = True
        self._recent.clear()
        return Change.BEGIN

    def _risen(self, recent: list[float], onset: int) -> int:
        """Where the voice that is clear at ``onset`` began faintly."""
        first = onset
        for i in range(onset - 1, -1, -1):
            if first - i > self._settings.fade_gap_frames + 1:
                break
            if recent[i] >= self._settings.fade:
                first = i
        return first

    def _inside(self, now: int, probability: float) -> Change | None:
        settings = self._settings
        self._speech.append(probability)
        self._run = self._run + 1 if probability >= settings.on else 0
        if self._run:
            self._voiced += 1
        unbroken = now - self.last_kept <= settings.fade_gap_frames + 1
        if (unbroken and probability >= settings.fade) or self._run >= settings.back_frames:
            self.last_kept = now
            self._wait = None
        quiet = now - self.last_kept
        if quiet >= (settings.hangover_frames if self._wait is None else self._wait):
            return self._end()
        if len(self._speech) >= settings.most_frames:
            return self._cut(now)
        return Change.PAUSE if quiet == settings.pause_frames else None

    def _end(self) -> Change:
        self.speaking = False
        self._wait = None
        self._speech = []
        self._recent.clear()
        return Change.END if self._voiced >= self._settings.least_voiced_frames else Change.DROP

    def _cut(self, now: int) -> Change:
        """Cut where a run of three frames is least like speech, late rather than early."""
        first = len(self._speech) - self._settings.cut_search_frames
        at = min(
            range(max(1, first), len(self._speech) - 1),
            key=lambda i: (round(sum(self._speech[i - 1 : i + 2]), 2), -i),
        )
        self.cut_at = self.begin + at
        self._speech = self._speech[at:]
        self.begin = self.cut_at
        self.last_kept = max(self.last_kept, self.begin)
        self._voiced = sum(p >= self._settings.on for p in self._speech)
        return Change.CUT
