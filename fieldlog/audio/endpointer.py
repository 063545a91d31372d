"""One stream of sound cut into utterances: pre-roll, hangover, maximum length, mandatory flush.

However the stream is cut into blocks, the utterances are the same, sample for sample: frames are
made inside. An utterance is always a copy of what came in, so
``stream[start_s * RATE : end_s * RATE]`` is exactly ``clip.samples``, and utterances never overlap.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.bounds import Bounds, BoundsSettings, Change
from fieldlog.audio.clip import FRAME, FRAME_S, RATE, Clip, SoundFlag
from fieldlog.audio.convert import sound_flags
from fieldlog.audio.files import open_audio
from fieldlog.audio.vad import VoiceActivity, voice_activity

Samples = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class EndpointSettings:
    """Seconds, unless said otherwise. ``docs/audio.md`` has the figures behind the defaults."""

    pre_roll_s: float = 0.32
    """Kept before the first voiced frame: soft consonants are voiced late."""
    trail_s: float = 0.32
    """Kept after the last voiced frame: a faint ending in noise is not cut."""
    hangover_s: float = 0.77
    """Silence that ends an utterance; longer than a speaker's pause before a number."""
    pause_s: float = 0.256
    """Silence after which ``draft`` offers the utterance so far; at most ``trail_s``."""
    longest_s: float = 30.0
    """An utterance that lasts longer is cut at its quietest place and flagged."""
    least_voice_s: float = 0.16
    """Less voice than this is a click, not an utterance."""
    voice: float = 0.5
    """Probability from which a frame counts as voiced."""

    def bounds(self) -> BoundsSettings:
        """The same in frames."""
        return BoundsSettings(
            on=self.voice,
            hangover_frames=_frames(self.hangover_s),
            pause_frames=min(_frames(self.pause_s), _frames(self.hangover_s) - 1),
            least_voiced_frames=_frames(self.least_voice_s),
            most_frames=max(4, _frames(self.longest_s - self.pre_roll_s)),
            cut_search_frames=max(2, _frames(self.longest_s / 6)),
        )


class Endpointer:
    """Cuts a stream of mono float32 at ``RATE`` into clips. Feed blocks of any size, then flush."""

    def __init__(
        self, settings: EndpointSettings | None = None, voice: VoiceActivity | None = None
    ) -> None:
        """``voice`` defaults to the best that works here; give one to be pure and repeatable."""
        self.settings = settings or EndpointSettings()
        self.warning = ""
        """What the user must be told about the voice activity in use; empty when all is well."""
        if voice is None:
            chosen = voice_activity()
            voice, self.warning = chosen.activity, chosen.warning
        self._voice = voice
        self._bounds_settings = self.settings.bounds()
        self.reset()

    def reset(self) -> None:
        """Forget everything: the next sample is number 0 of a new stream."""
        self._voice.reset()
        self._bounds = Bounds(self._bounds_settings)
        self._partial = np.empty(0, dtype=np.float32)
        self._frames: deque[Samples] = deque()
        self._voiced: deque[float] = deque()
        self._first = 0
        self._count = 0
        self._end_sample = 0
        self._begin_sample = 0
        self._marks: list[tuple[int, SoundFlag]] = []
        self._continues = False
        self.probability = 0.0
        self.delay_s = 0.0

    @property
    def speaking(self) -> bool:
        """Whether an utterance is open."""
        return self._bounds.speaking

    @property
    def position_s(self) -> float:
        """Seconds of sound taken so far."""
        return (self._count * FRAME + len(self._partial)) / RATE

    @property
    def quiet_s(self) -> float:
        """How long the open utterance has been silent; 0.0 out of speech."""
        if not self.speaking:
            return 0.0
        return (self._count - 1 - self._bounds.last_kept) * FRAME_S

    def mark(self, flag: SoundFlag) -> None:
        """Flag the sound around now (``overflow``, ...): the utterance that holds it carries it."""
        self._marks.append((self._count * FRAME + len(self._partial), flag))

    def process(self, block: Samples) -> list[Clip]:
        """Take the next samples; returns the utterances that ended in them (mostly none)."""
        self._partial = np.concatenate([self._partial, np.asarray(block, dtype=np.float32)])
        clips: list[Clip] = []
        used = 0
        while len(self._partial) - used >= FRAME:
            frame = self._partial[used : used + FRAME]
            used += FRAME
            clip = self._take(frame)
            if clip is not None:
                clips.append(clip)
        if used:
            self._partial = self._partial[used:].copy()
        return clips

    def flush(self) -> list[Clip]:
        """The stream ends here: returns what is still open, the last partial frame included."""
        clips: list[Clip] = []
        tail = len(self._partial)
        if tail:
            padded = np.zeros(FRAME, dtype=np.float32)
            padded[:tail] = self._partial
            clip = self._take(padded)
            if clip is not None:
                clips.append(clip)
        end = self._count * FRAME - (FRAME - tail if tail else 0)
        change = self._bounds.flush()
        if change is not None:
            clip = self._finish(change)
            if clip is not None:
                clips.append(clip)
        if tail:
            clips = [_shorten(clip, end) for clip in clips]
        self.reset()
        return clips

    def end_now(self) -> list[Clip]:
        """End the open utterance at once (the session heard a complete phrase in the draft)."""
        change = self._bounds.flush()
        clip = None if change is None else self._finish(change)
        return [] if clip is None else [clip]

    def wait(self, draft: Clip, seconds: float) -> None:
        """End the utterance that ``draft`` was of after ``seconds`` of silence, not the usual hangover.

        Counts only while nothing was said since that draft. Silence that lasts longer already ends it
        with the next frame.
        """
        now = self.draft()
        if now is not None and is_draft(draft, now, self.settings):
            self._bounds.wait(_frames(seconds))

    def draft(self) -> Clip | None:
        """The open utterance once it has been silent for ``pause_s``, else None.

        When no more speech comes, the clip that ends it later holds these samples and at most some
        more silence (``is_draft``), so what was heard in the draft need not be heard again.
        """
        if not self.speaking or self.quiet_s < self.settings.pause_s - FRAME_S / 2:
            return None
        return self._clip(self._begin_sample, self._speech_end(), settle=False)

    def _take(self, frame: Samples) -> Clip | None:
        self.probability = self._voice.probability(frame)
        self._frames.append(frame.copy())
        self._voiced.append(self.probability)
        self._count += 1
        change = self._bounds.push(self.probability)
        clip = None
        if change is Change.BEGIN:
            wanted = self._bounds.begin * FRAME - round(self.settings.pre_roll_s * RATE)
            self._begin_sample = max(wanted, self._end_sample, self._first * FRAME, 0)
        elif change in (Change.END, Change.DROP, Change.CUT):
            assert change is not None
            clip = self._finish(change)
        self._forget()
        return clip

    def _speech_end(self) -> int:
        """Sample at which the utterance ends: after the last kept frame and the trail."""
        wanted = (self._bounds.last_kept + 1) * FRAME + round(self.settings.trail_s * RATE)
        return min(wanted, self._count * FRAME)

    def _finish(self, change: Change) -> Clip | None:
        if change is Change.DROP:
            self._continues = False
            return None
        if change is Change.CUT:
            end = self._bounds.cut_at * FRAME
            clip = self._clip(self._begin_sample, end, extra={SoundFlag.CUT})
            self._begin_sample = end
        else:
            end = self._speech_end()
            clip = self._clip(self._begin_sample, end)
        self._continues = change is Change.CUT
        self._end_sample = end
        self.delay_s = self._count * FRAME_S - (self._bounds.last_kept + 1) * FRAME_S
        return clip

    def _clip(
        self, begin: int, end: int, *, extra: set[SoundFlag] | None = None, settle: bool = True
    ) -> Clip:
        held = np.concatenate(list(self._frames))
        base = self._first * FRAME
        samples = held[begin - base : end - base].copy()
        flags = sound_flags(samples) | (extra or set())
        if self._continues:
            flags |= {SoundFlag.CUT}
        flags |= {flag for at, flag in self._marks if begin - FRAME <= at <= end + FRAME}
        if settle:
            self._marks = [(at, flag) for at, flag in self._marks if at > end]
        first, last = begin // FRAME - self._first, -(-end // FRAME) - self._first
        return Clip(samples, begin / RATE, flags, tuple(self._voiced)[first:last])

    def _forget(self) -> None:
        """Drop frames that no utterance can need any more, so memory stays flat."""
        if self._bounds.speaking:
            needed = self._begin_sample // FRAME
        else:
            bounds = self._bounds_settings
            back = round(self.settings.pre_roll_s * RATE) // FRAME + 1
            needed = self._count - back - bounds.onset_frames - 1 - bounds.rise_frames
        while self._first < needed and self._frames:
            self._frames.popleft()
            self._voiced.popleft()
            self._first += 1
        if not self._bounds.speaking:
            self._marks = [(at, flag) for at, flag in self._marks if at >= self._first * FRAME]


def utterances(
    source: Path | str | Iterable[Samples],
    settings: EndpointSettings | None = None,
    voice: VoiceActivity | None = None,
) -> Iterator[Clip]:
    """The utterances of a file (any kind ``open_audio`` reads) or of blocks at ``RATE``.

    Bounded memory whatever the length. Raises ``AudioError`` for a file that cannot be used.
    """
    endpointer = Endpointer(settings, voice)
    if isinstance(source, (Path, str)):
        with open_audio(source) as audio:
            for clip in _cut(audio.blocks(1.0), endpointer):
                yield replace(clip, flags=clip.flags | audio.flags)
    else:
        yield from _cut(source, endpointer)


def is_draft(draft: Clip, clip: Clip, settings: EndpointSettings | None = None) -> bool:
    """Whether nothing was said between ``draft`` and ``clip``, a later state of an utterance or its end."""
    settings = settings or EndpointSettings()
    more = len(clip.samples) - len(draft.samples)
    silent = settings.trail_s - settings.pause_s + FRAME_S / 2
    same_place = abs(draft.start_s - clip.start_s) < 1e-6 and draft.flags == clip.flags
    return same_place and 0 <= more <= round(silent * RATE)


def join(first: Clip, second: Clip) -> Clip:
    """Two utterances of one stream as one, for a phrase that paused half-way.

    What lay between them is replaced by silence (it held no speech); flags are united.
    """
    gap = max(0, round((second.start_s - first.end_s) * RATE))
    silent = np.zeros(gap, dtype=np.float32)
    samples = np.concatenate([first.samples, silent, second.samples])
    as_it_came = None
    if first.as_it_came is not None or second.as_it_came is not None:
        before, behind = (each.uncancelled(lead=False).samples for each in (first, second))
        as_it_came = np.concatenate([before, silent, behind])
    flags = first.flags | second.flags | {SoundFlag.JOINED}
    known = bool(first.voice) and bool(second.voice)
    silence = (0.0,) * max(0, -(-len(samples) // FRAME) - len(first.voice) - len(second.voice))
    voice = (*first.voice, *silence, *second.voice) if known else ()
    return Clip(samples, first.start_s, flags, voice, as_it_came)


def joinable(first: Clip, second: Clip, *, gap_s: float = 1.5, longest_s: float = 30.0) -> bool:
    """Whether two utterances are near enough, and short enough together, to be one phrase."""
    gap = second.start_s - first.end_s
    return -1e-6 <= gap <= gap_s and second.end_s - first.start_s <= longest_s


def _cut(blocks: Iterable[Samples], endpointer: Endpointer) -> Iterator[Clip]:
    for block in blocks:
        yield from endpointer.process(block)
    yield from endpointer.flush()


def _shorten(clip: Clip, end: int) -> Clip:
    """Take off the zeros that filled the last frame."""
    over = round(clip.start_s * RATE) + len(clip.samples) - end
    if over <= 0:
        return clip
    return replace(clip, samples=clip.samples[:-over])


def _frames(seconds: float) -> int:
    return max(1, round(seconds / FRAME_S))
