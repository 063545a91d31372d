"""A live session with everything on, timed on the sound's own timeline: delay, memory, queue."""

from __future__ import annotations

import resource
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.capture import Draft, Spoken
from fieldlog.audio.clip import FRAME_S, RATE, Clip
from fieldlog.audio.echo import EchoCanceller
from fieldlog.audio.endpointer import EndpointSettings
from fieldlog.audio.loudspeaker import Loudspeaker
from fieldlog.audio.recorder import Recorder
from fieldlog.audio.source import Block, FileSource
from fieldlog.audio.voice import bundled_voice
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.context import Context
from fieldlog.model.hearing import Hearing
from fieldlog.shop.ears import Ears
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.live import LiveInspection, Told, listen
from fieldlog.shop.mouth import Mouth
from fieldlog.shop.saying import Say, saying
from fieldlog.shop.workshop import Workshop

PERIOD_S = 0.01
"""How often the stand-in of a loudspeaker fetches what is to be played."""


class PacedOutput:
    """As much of sounddevice as the loudspeaker uses: plays into nothing, and notes when sound began."""

    def __init__(self) -> None:
        """Nothing was played yet."""
        self.began: list[float] = []
        """Readings of the monotonic clock at the first sample of each stretch of sound."""
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    def OutputStream(  # noqa: N802
        self,
        *,
        samplerate: int,
        channels: int,
        dtype: str,
        callback: Callable[[NDArray[np.float32], int, object, object], None],
    ) -> PacedOutput:
        """The stream, which is this object itself."""
        frames = round(samplerate * PERIOD_S)

        def play() -> None:
            out, silent = np.zeros((frames, channels), np.float32), True
            while not self._stop.wait(PERIOD_S):
                callback(out, frames, None, None)
                sounds = bool(out.any())
                if sounds and silent:
                    self.began.append(time.monotonic())
                silent = not sounds

        self._thread = threading.Thread(target=play, daemon=True)
        return self

    def start(self) -> None:
        """Begin to play."""
        assert self._thread is not None
        self._thread.start()

    def close(self) -> None:
        """Stop."""
        self._stop.set()


class Timed(FileSource):
    """A recording at the pace of speech in blocks of a microphone's length, which knows when it began."""

    began = 0.0

    def blocks(self) -> Iterator[Block]:
        """See ``FileSource``."""
        self.began = time.monotonic()
        return super().blocks()


@dataclass(frozen=True, slots=True)
class Waited:
    """One utterance: how long a person waited behind it, and for what; seconds, in order."""

    end_s: float
    """End of its speech, in seconds of the sound."""
    fades_s: float
    """From the last frame that is voice to where the endpointer takes the voice to have faded."""
    silence_s: float
    """Silence that had to last."""
    queued_s: float
    """From there until whoever hears was free: mostly for what it heard at the first silence."""
    again_s: float
    """Hearing that was done only then: nothing had been heard ahead, or the microphone once more."""
    record_s: float
    """Judged, written, committed."""
    sounds_s: float
    """From there to the first sample of the tone or the words."""
    events: tuple[str, ...]
    ahead_s: float = 0.0
    """Hearing that was done within the silence: nobody waits for it."""
    goes_on: bool = False
    """Whether whoever speaks only paused: that was no end of what they said."""

    @property
    def delay_s(self) -> float:
        """From the end of the speech to the first sample of the tone or the words."""
        return float(sum(getattr(self, name) for name in STAGES))


STAGES = ("fades_s", "silence_s", "queued_s", "again_s", "record_s", "sounds_s")


class Watched(LiveInspection):
    """Knows when each utterance was taken, and how long it was heard before and behind its end."""

    def __init__(self, inspecting: Inspecting, ears: Ears) -> None:
        """See ``LiveInspection``."""
        super().__init__(inspecting)
        self.began = self.ended = self.again_s = self.ahead_s = 0.0
        self._drafted_s = 0.0
        listener = ears.listener
        self._heard_s = 0.0
        hear = type(listener).hear

        def timed(clip: Clip) -> Hearing:
            began = time.monotonic()
            try:
                return hear(listener, clip)
            finally:
                self._heard_s += time.monotonic() - began

        listener.hear = timed  # type: ignore[method-assign]

    def draft(self, draft: Draft) -> float | None:
        """See ``LiveInspection``."""
        began = time.monotonic()
        seconds = super().draft(draft)
        self._drafted_s = time.monotonic() - began
        return seconds

    def spoken(self, spoken: Spoken) -> tuple[Told, ...]:
        """See ``LiveInspection``."""
        self.began, self._heard_s = time.monotonic(), 0.0
        told = super().spoken(spoken)
        self.ended, self.again_s, self.ahead_s = time.monotonic(), self._heard_s, self._drafted_s
        self._drafted_s = 0.0
        return told


def last_voice_s(clip: Clip) -> float:
    """When the speech of a clip ended: behind its last frame that is rather voice than not (pure)."""
    voiced = [n for n, chance in enumerate(clip.voice) if chance > 0.5]
    return clip.start_s + ((voiced[-1] + 1) * FRAME_S if voiced else clip.duration_s)


def in_a_phrase(end_s: float, phrases: Sequence[tuple[float, float]]) -> bool:
    """Whether somebody still says one of ``phrases`` (from, to) at that time (pure)."""
    return any(begin_s < end_s < to_s - 0.3 for begin_s, to_s in phrases)


def delays(
    sound: Path, ears: Ears, how: Say, phrases: Sequence[tuple[float, float]] = ()
) -> list[Waited]:
    """Hear one recording in real time with read-back, echo canceller and recording on.

    ``phrases``: from when to when each is said, where that is known; what is told in a pause within one is marked.
    What would have to wait behind words that are still being said is left out: a recording does not wait
    for its answers, as a person does.
    """
    language = ears.language
    assert isinstance(language, InspectionLanguage)
    output, found = PacedOutput(), list[Waited]()
    trail_s = EndpointSettings().trail_s
    with (
        tempfile.TemporaryDirectory(prefix="fieldlog-delay-") as folder,
        Workshop.open(Path(folder), language=language) as shop,
        Recorder(Path(folder) / "streams", "delay") as recorder,
        Timed(sound, block_s=0.02) as source,
        Loudspeaker(backend=output) as speaker,
    ):
        live = Watched(shop.inspecting(shop.begin(context=Context("US-VA")).id, ears), ears)
        mouth = Mouth(how, speaker, bundled_voice())
        live.speaks(mouth)
        for happening in listen(source, live, recorder, EchoCanceller(speaker.playback)):
            if not isinstance(happening, Told):
                continue
            before, busy = len(output.began), speaker.is_playing()
            mouth.tell(happening.events)
            told = saying(happening.events, how)
            if busy or (told.tone is None and not told.words):
                continue
            until = time.monotonic() + 2.0
            while len(output.began) == before and time.monotonic() < until:
                time.sleep(0.002)
            if len(output.began) == before:
                continue
            clip = happening.spoken.clip
            end_s, kept_s = last_voice_s(clip), clip.end_s - trail_s
            known = source.began + kept_s + happening.spoken.delay_s
            found.append(
                Waited(
                    end_s=end_s,
                    fades_s=kept_s - end_s,
                    silence_s=happening.spoken.delay_s,
                    queued_s=live.began - known,
                    again_s=live.again_s,
                    record_s=live.ended - live.began - live.again_s,
                    sounds_s=output.began[before] - live.ended,
                    events=tuple(type(each).__name__ for each in happening.events),
                    ahead_s=live.ahead_s,
                    goes_on=in_a_phrase(end_s, phrases),
                )
            )
        live.finish(Path(folder))
    return found


@dataclass(frozen=True, slots=True)
class Stretch:
    """Ten minutes of an endless session."""

    minutes: float
    utterances: int
    findings: int
    resident_mb: float
    hearing_ms: float
    """Median time of taking an utterance: heard, judged, in the record."""
    worst_ms: float
    processor_ms: float
    """Median processor time of the thread that takes it, which no other program's work lengthens."""
    machine_s: float
    """Seconds of this machine for the ten minutes."""


class Endless:
    """Recordings one after the other with silence between, as fast as they are taken."""

    live = False
    name = "endless"

    def __init__(
        self, sounds: Sequence[NDArray[np.float32]], seconds: float, pause_s: float
    ) -> None:
        """``seconds`` of it in all."""
        self._sounds, self._seconds = sounds, seconds
        self._pause = np.zeros(round(pause_s * RATE), np.float32)
        self._stopped = False

    def __enter__(self) -> Endless:
        """Nothing to open."""
        return self

    def __exit__(self, *_: object) -> None:
        """Nothing to close."""

    def stop(self) -> None:
        """See ``AudioSource``."""
        self._stopped = True

    def blocks(self) -> Iterator[Block]:
        """See ``AudioSource``."""
        given = number = 0
        while given < self._seconds * RATE and not self._stopped:
            sound = self._sounds[number % len(self._sounds)]
            number += 1
            for part in (sound, self._pause):
                for at in range(0, len(part), 1600):
                    yield Block(part[at : at + 1600])
            given += len(sound) + len(self._pause)


def endure(
    sounds: Sequence[NDArray[np.float32]],
    hours: float,
    ears: Ears,
    tell: Callable[[Stretch], None],
    *,
    pause_s: float = 60.0,
    every_s: float = 600.0,
) -> list[Stretch]:
    """Hear so many simulated hours; a row for every ten minutes."""
    language = ears.language
    assert isinstance(language, InspectionLanguage)
    found = list[Stretch]()
    with (
        tempfile.TemporaryDirectory(prefix="fieldlog-endure-") as folder,
        Workshop.open(Path(folder), language=language) as shop,
        Recorder(Path(folder) / "streams", "endure") as recorder,
        Loudspeaker(backend=PacedOutput()) as speaker,
    ):
        inspecting = shop.inspecting(shop.begin(context=Context("US-VA")).id, ears)
        live, times, worked, count = _Stopwatch(inspecting), list[float](), list[float](), 0
        began, due = time.perf_counter(), every_s
        source = Endless(sounds, hours * 3600.0, pause_s)
        echo = EchoCanceller(speaker.playback)
        for happening in listen(source, live, recorder, echo):
            if isinstance(happening, Told):
                count += 1
                times.append(live.took_s * 1000)
                worked.append(live.worked_s * 1000)
            if speaker.playback.position_s >= due:
                now = time.perf_counter()
                findings = len(shop.store.inspection_record(inspecting.head.id).findings)
                row = Stretch(
                    due / 60.0, count, findings, resident_mb(),
                    float(np.median(times)) if times else 0.0, max(times, default=0.0),
                    float(np.median(worked)) if worked else 0.0, now - began,
                )  # fmt: skip
                found.append(row)
                tell(row)
                times, worked, began, due = [], [], now, due + every_s
        live.finish(Path(folder))
    return found


def resident_mb() -> float:
    """Memory of this process that is resident now, in MB; its peak where the system tells no more."""
    statm = Path("/proc/self/statm")
    if statm.exists():
        return int(statm.read_text().split()[1]) * resource.getpagesize() / 1e6
    unit = 1e6 if sys.platform == "darwin" else 1e3
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit


class _Stopwatch(LiveInspection):
    """Knows how long the last utterance took."""

    took_s = worked_s = 0.0

    def spoken(self, spoken: Spoken) -> tuple[Told, ...]:
        """See ``LiveInspection``."""
        began, worked = time.perf_counter(), time.thread_time()
        told = super().spoken(spoken)
        self.took_s, self.worked_s = time.perf_counter() - began, time.thread_time() - worked
        return told
