"""Our own voice taken out of the microphone: WebRTC's echo canceller (AEC3) with the exact far end.

The canceller runs through, so that it stays adapted, but its output is heard only while something is
played and shortly after: what nobody plays over reaches the ear as it came in. On disk is always the
microphone as it came in.
"""

from __future__ import annotations

from collections import deque
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.begins import frames_before
from fieldlog.audio.clip import FRAME, LEAD_S, RATE, Clip
from fieldlog.audio.echo_path import without_played
from fieldlog.audio.playback import Playback
from fieldlog.audio.vad import voice_activity, voice_of

Samples = NDArray[np.float32]

TAIL_S = 0.6
"""Seconds behind a sound during which the room and the way to the loudspeaker may still give it back."""
_FRAME = RATE // 100
"""What the canceller takes at a time; it pads anything else with silence."""
_DELAY = 128
"""Samples by which its output lags behind its input (measured by correlation)."""
_FADE = RATE // 50
_BEFORE = 4 * RATE
"""Of what was played before an utterance shows the way of its echo."""
_FAINTER = 0.1
"""Of the power of an utterance: fainter by 10 dB is no beginning of it."""
_KEPT = 120 * RATE
"""Longer than any utterance is."""


class EchoCanceller:
    """Cleans one stream, in order; what it gives lies up to 18 ms behind what came in."""

    def __init__(self, playback: Playback, start_s: float = 0.0) -> None:
        """Of what ``playback`` says is played; ``start_s``: of the stream, where the first block begins.

        Raises ``ImportError`` without pywebrtc-audio.
        """
        import pywebrtc_audio

        self._playback = playback
        self._canceller: Any = pywebrtc_audio.EchoCanceller(sample_rate=RATE)
        self._taken = round(start_s * RATE)
        """Samples that came in; the buffers hold the last ones of them that were not given yet."""
        self._near = self._far = np.zeros(0, np.float32)
        self._fed = 0
        """Samples of ``_near`` that the canceller had, ``_cleaned`` is what it gave."""
        self._cleaned = np.zeros(0, np.float32)
        self._skip = _DELAY
        self._quiet = RATE * 3600
        """Samples since something was played."""
        self._activity = voice_activity().activity
        self._share = 0.0
        """How much of what was given last is the canceller's."""
        self._given = self._taken
        self._for_ear: deque[tuple[int, Samples, Samples]] = deque()
        """Where something was played: from which sample of the stream, what that was, and the microphone as it
        came in."""
        self._clips: deque[tuple[int, int]] = deque([(-1, self._taken)], maxlen=2)
        """From where to where the last utterances went."""

    def clean(self, samples: Samples) -> Samples:
        """Take ``samples`` and give the next ones: unchanged where nothing is played."""
        start_s = self._taken / RATE
        self._taken += len(samples)
        self._playback.at(self._taken / RATE)
        far = self._playback.reference(start_s, len(samples))
        self._near = np.concatenate([self._near, samples.astype(np.float32, copy=False)])
        self._far = np.concatenate([self._far, far])
        self._feed((len(self._near) - self._fed) // _FRAME * _FRAME)
        return self._give(min(len(self._cleaned), self._fed))

    def flush(self) -> Samples:
        """What was not given yet, at the end of the stream."""
        missing = len(self._near) - len(self._cleaned)
        self._cleaned = np.concatenate([self._cleaned, self._near[len(self._near) - missing :]])
        return self._give(len(self._near))

    def _feed(self, count: int) -> None:
        if not count:
            return
        part = slice(self._fed, self._fed + count)
        near, far = (np.ascontiguousarray(each[part]) for each in (self._near, self._far))
        cleaned = np.asarray(self._canceller.process(near, far), np.float32)
        self._fed += count
        skipped = min(self._skip, len(cleaned))
        self._skip -= skipped
        self._cleaned = np.concatenate([self._cleaned, cleaned[skipped:]])

    def _give(self, count: int) -> Samples:
        near, far, cleaned = self._near[:count], self._far[:count], self._cleaned[:count]
        self._near, self._far = self._near[count:], self._far[count:]
        self._cleaned, self._fed = self._cleaned[count:], max(0, self._fed - count)
        share = self._shares(far)
        begin, self._given = self._given, self._given + count
        if not share.any():
            return near
        self._for_ear.append((begin, far, near))
        while self._for_ear[0][0] < begin - _KEPT:
            self._for_ear.popleft()
        return np.asarray(near * (1 - share) + cleaned * share)

    def for_the_ear(self, clip: Clip) -> Clip:
        """``clip``, cut from what ``clean`` gave, as it is to be heard.

        The canceller takes some of a voice with the echo that it speaks over: whether there is one, and
        where it ends, shows in its output, but which words they are is heard in the microphone, what was
        played taken out of that after the fact (``echo_path``). The microphone itself goes along
        (``Clip.as_it_came``): whoever weighs the words hears that too. It may begin earlier than it was cut:
        where somebody is heard so, whose beginning the canceller took.
        """
        begin, end = round(clip.start_s * RATE), round(clip.start_s * RATE) + len(clip.samples)
        if self._clips[-1][0] == begin:  # its draft came before
            self._clips.pop()
        spoken = self._clips[-1][1]
        self._clips.append((begin, end))
        parts = [part for part in self._for_ear if begin - _BEFORE <= part[0] < end]
        if not any(at + len(near) > begin for at, _, near in parts):
            return clip
        first = min(begin, parts[0][0])
        played, came = np.zeros(end - first, np.float32), np.zeros(end - first, np.float32)
        came[begin - first :] = clip.samples
        for at, far, near in parts:
            till = min(end, at + len(near))
            played[at - first : till - first] = far[: till - at]
            came[at - first : till - first] = near[: till - at]
        cleared = without_played(came, played)
        voice = self._before(cleared, begin - first, max(0, spoken - first), clip.voice)
        early = begin - first - len(voice) * FRAME
        lead = min(round(LEAD_S * RATE), early - max(0, spoken - first)) // FRAME * FRAME
        return replace(
            clip,
            samples=cleared[early:],
            start_s=(first + early) / RATE,
            voice=voice + clip.voice,
            as_it_came=came[early - max(0, lead) :],
        )

    def _before(
        self, cleared: Samples, begin: int, spoken: int, voice: tuple[float, ...]
    ) -> tuple[float, ...]:
        """Of each frame before ``begin``, from ``spoken`` on, that belongs to an utterance of that ``voice`` how likely it
        holds speech: the canceller takes beginnings.
        """
        count = max(0, begin - spoken) // FRAME
        if not count or not voice:
            return ()
        heard = cleared[begin % FRAME :]
        before = voice_of(heard[: begin // FRAME * FRAME], self._activity)[-count:]
        frames = heard[: len(heard) // FRAME * FRAME].reshape(-1, FRAME)
        power = np.mean(np.square(frames, dtype=np.float64), axis=1)[begin // FRAME - count :]
        loud = [
            float(each) for each, chance in zip(power[count:], voice, strict=False) if chance > 0.5
        ]
        least = float(np.mean(loud)) * _FAINTER if loud else np.inf
        early = frames_before(before, power[:count].tolist(), least)
        return before[count - early :]

    def _shares(self, far: Samples) -> Samples:
        """For each sample how much of the canceller's is heard: all while something is played."""
        if not len(far):
            return far
        last = np.where(far != 0.0, np.arange(len(far)), -1 - self._quiet)
        quiet = np.arange(len(far)) - np.maximum.accumulate(last)
        self._quiet = int(quiet[-1])
        wanted = np.where(quiet < TAIL_S * RATE, 1.0, 0.0)
        if self._share == wanted[0] == wanted.min() == wanted.max():
            return np.asarray(wanted, np.float32)
        share = np.empty(len(far), np.float32)
        at = self._share
        for n, want in enumerate(wanted):
            at = min(want, at + 1.0 / _FADE) if at < want else max(want, at - 1.0 / _FADE)
            share[n] = at
        self._share = at
        return share
