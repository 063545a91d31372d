"""Sound from a phone through the capture: what is missing is told, and nothing said around it counts unasked."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from fractions import Fraction

import numpy as np
import pytest

from fieldlog.audio.capture import Capture, Spoken
from fieldlog.audio.clip import Clip, SoundFlag
from fieldlog.audio.endpointer import Endpointer
from fieldlog.audio.files import open_audio
from fieldlog.audio.health import Notice, Trouble
from fieldlog.config import demo_media
from fieldlog.doubt.gap import minding_gaps
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.hearing import Hearing
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding
from fieldlog.serve.phone.frames import read_frame, write_frame
from fieldlog.serve.phone.incoming import Incoming
from fieldlog.serve.phone.sound import PhoneStream, instant_of
from fieldlog.serve.phone.source import HIDDEN, PhoneSource

RATE = 16_000
TENTH = 1_600
BEGAN_MS = 1_773_500_000_000.0
AHEAD_S = 12.5


@pytest.fixture(scope="module")
def said() -> np.ndarray:
    """Two phrases, from 0.2 to 3.3 s and from 4.6 to 7.9 s, as a phone samples them."""
    with open_audio(demo_media() / "01-fluids-battery-drive.flac") as audio:
        whole = np.concatenate(list(audio.blocks(1.0)))
    part = whole[int(37.0 * RATE) : int(46.0 * RATE)]
    return (part[: len(part) // TENTH * TENTH] * 32_000).astype(np.int16)


def frames(said: np.ndarray, left_out: Sequence[int] = ()) -> Iterator[bytes]:
    """The page's frames; those ``left_out`` were never taken: the sound system's count jumps."""
    sequence = 0
    for n in range(len(said) // TENTH):
        if n not in left_out:
            at_ms = BEGAN_MS + n * 100.0
            yield write_frame(sequence, n * TENTH, at_ms, said[n * TENTH : (n + 1) * TENTH])
            sequence += 1


def heard(
    *streams: tuple[PhoneStream, Iterator[bytes]], stopped: bool | None = None
) -> list[Spoken | Notice]:
    """``stopped``: whether the last stream ended on purpose; None: it just ended."""
    source = PhoneSource()
    for stream, sent in streams:
        for data in sent:
            for block in stream.blocks(read_frame(data)):
                assert source.put(block)
    if stopped is not None:
        for block in streams[-1][0].ended(whole=stopped):
            assert source.put(block)
    source.stop()
    events = Capture(source, Endpointer()).events()
    return [each for each in events if isinstance(each, Spoken | Notice)]


def instant(at_ms: float) -> datetime:
    return instant_of(at_ms, AHEAD_S)


def spoken(events: list[Spoken | Notice]) -> list[Spoken]:
    return [each for each in events if isinstance(each, Spoken)]


def notices(events: list[Spoken | Notice]) -> list[Trouble]:
    return [each.trouble for each in events if isinstance(each, Notice)]


def test_whole_sound_has_no_flag_and_the_instants_of_the_phones_clock(said: np.ndarray) -> None:
    events = heard((PhoneStream("a", RATE, instant), frames(said)))
    first, second = spoken(events)
    assert notices(events) == []
    assert first.clip.flags == second.clip.flags == frozenset()
    began = datetime.fromtimestamp(BEGAN_MS / 1000 - AHEAD_S, UTC)
    assert abs(first.began - began - timedelta(seconds=first.clip.start_s)) < timedelta(
        seconds=0.01
    )


@pytest.mark.parametrize("left_out", [(15,), (15, 16, 17, 18, 19)])
def test_a_gap_flags_what_was_being_said_and_nothing_else(
    said: np.ndarray, left_out: tuple[int, ...]
) -> None:
    events = heard((PhoneStream("a", RATE, instant), frames(said, left_out)))
    assert notices(events) == [Trouble.GAP]
    *_, second = spoken(events)
    assert all(SoundFlag.GAP in each.clip.flags for each in spoken(events)[:-1])
    assert SoundFlag.GAP not in second.clip.flags
    whole = spoken(heard((PhoneStream("a", RATE, instant), frames(said))))[-1]
    assert abs(second.began - whole.began) < timedelta(seconds=0.05), "silence keeps its place"


def test_a_gap_of_minutes_parts_what_was_said_and_flags_both_sides(said: np.ndarray) -> None:
    stream = PhoneStream("a", RATE, instant)
    first = list(frames(said))[:20]
    later = [
        write_frame(
            20 + k, (n + 3000) * TENTH, BEGAN_MS + (n + 3000) * 100.0, said[n * TENTH :][:TENTH]
        )
        for k, n in enumerate(range(20, len(said) // TENTH))
    ]
    events = heard((stream, iter([*first, *later])))
    assert notices(events) == [Trouble.GAP]
    before, behind, *_ = spoken(events)
    assert SoundFlag.GAP in before.clip.flags
    assert SoundFlag.GAP in behind.clip.flags
    assert behind.began - before.began > timedelta(seconds=299)


def test_a_stream_that_goes_on_after_a_restart_begins_with_a_gap(said: np.ndarray) -> None:
    stream = PhoneStream("a", RATE, instant, begins=10)
    events = heard((stream, iter(list(frames(said))[10:])))
    assert notices(events) == [Trouble.GAP]
    assert SoundFlag.GAP in spoken(events)[0].clip.flags
    assert SoundFlag.GAP not in spoken(events)[-1].clip.flags


def test_another_run_of_the_microphone_ends_what_was_being_said(said: np.ndarray) -> None:
    cut = iter(list(frames(said))[:20])
    events = heard(
        (PhoneStream("a", RATE, instant), cut),
        (PhoneStream("b", RATE, instant, follows=True), frames(said)),
    )
    assert len(spoken(events)) == 3


def test_each_half_of_what_another_phone_came_into_is_a_half(said: np.ndarray) -> None:
    """The first is out of reach in the middle of a phrase, another is heard, then the first sends its rest."""
    sent, source = list(frames(said)), PhoneSource()
    first = Incoming(PhoneStream("a", RATE, instant), None)
    other = Incoming(PhoneStream("b", RATE, instant, follows=True), None)

    def comes(incoming: Incoming, parts: list[bytes]) -> None:
        for data in parts:
            incoming.came(incoming.stream.blocks(read_frame(data)))
        for block, _ in incoming.behind:
            assert source.put(block)
        incoming.behind.clear()

    first.follows(None)
    comes(first, sent[:20])
    other.follows(first)
    comes(other, sent)
    other.came(other.stream.ended(whole=True))
    comes(other, [])
    other.over = True
    first.follows(other)
    comes(first, sent[20:])
    source.stop()
    found = [each for each in Capture(source, Endpointer()).events() if isinstance(each, Spoken)]
    assert [SoundFlag.GAP in each.clip.flags for each in found] == [True, False, False, True, False]
    apart = found[4].began - found[2].began  # the same phrase, by the phone's clock
    assert abs(apart) < timedelta(seconds=0.3)


@pytest.mark.parametrize("stopped", [True, False])
def test_a_page_that_died_in_the_middle_of_a_phrase_leaves_a_gap(
    said: np.ndarray, stopped: bool
) -> None:
    cut = iter(list(frames(said))[:20])
    (first,) = spoken(heard((PhoneStream("a", RATE, instant), cut), stopped=stopped))
    assert (SoundFlag.GAP in first.clip.flags) is not stopped


def test_what_was_being_said_when_the_phone_went_is_not_whole_when_the_session_ends(
    said: np.ndarray,
) -> None:
    source = PhoneSource()
    stream = PhoneStream("a", RATE, instant)
    source.begins()
    for data in list(frames(said))[:20]:
        for block in stream.blocks(read_frame(data)):
            source.put(block)
    source.away(HIDDEN)
    source.stop()
    events = list(Capture(source, Endpointer()).events())
    (first,) = [each for each in events if isinstance(each, Spoken)]
    assert SoundFlag.GAP in first.clip.flags


@pytest.mark.parametrize(
    ("at", "length", "flag"),
    [(23_000, 160, SoundFlag.OVERFLOW), (23_000, 800, SoundFlag.GAP), (23_950, 800, SoundFlag.GAP)],
)
def test_a_hole_that_the_browser_filled_with_zeros_is_seen(
    said: np.ndarray, at: int, length: int, flag: SoundFlag
) -> None:
    broken = said.copy()
    broken[at : at + length] = 0
    first, second = spoken(heard((PhoneStream("a", RATE, instant), frames(broken))))
    assert flag in first.clip.flags
    assert second.clip.flags == frozenset()


def stalled(said: np.ndarray, *, lost: bool) -> Iterator[bytes]:
    """The browser's audio thread stops for 0.4 s from 1.5 s on; ``lost``: what was said then never comes."""
    kept = np.concatenate([said[: 15 * TENTH], said[19 * TENTH :]]) if lost else said
    for n in range(len(kept) // TENTH):
        late = 400.0 if n >= 15 and (lost or n < 19) else 0.0
        yield write_frame(n, n * TENTH, BEGAN_MS + n * 100.0 + late, kept[n * TENTH :][:TENTH])


def test_sound_that_was_left_out_without_a_trace_is_seen_by_the_clock(said: np.ndarray) -> None:
    """Met in Chromium on a busy machine: no count jumps, nothing is filled in, whole phrases are gone."""
    events = heard((PhoneStream("a", RATE, instant), stalled(said, lost=True)))
    assert Trouble.GAP in notices(events)
    first, *_, last = spoken(events)
    assert SoundFlag.GAP in first.clip.flags
    assert last.clip.flags == frozenset()
    whole = spoken(heard((PhoneStream("a", RATE, instant), frames(said))))[-1]
    assert abs(last.began - whole.began) < timedelta(seconds=0.05)


def test_small_delays_of_buffers_are_no_gap(said: np.ndarray) -> None:
    sent = (
        write_frame(n, n * TENTH, BEGAN_MS + n * 100.0 + (n * 37) % 120, said[n * TENTH :][:TENTH])
        for n in range(len(said) // TENTH)
    )
    events = heard((PhoneStream("a", RATE, instant), sent))
    assert notices(events) == []
    assert not any(each.clip.flags for each in spoken(events))


def test_silence_that_was_switched_in_softly_or_for_long_is_no_hole(said: np.ndarray) -> None:
    soft = said.astype(np.float64)
    fade = np.linspace(1.0, 0.0, 400)
    soft[23_000:23_400] *= fade
    soft[23_400:24_200] = 0
    soft[24_200:24_600] *= fade[::-1]
    stream = PhoneStream("a", RATE, instant)
    assert all(
        not each.clip.flags for each in spoken(heard((stream, frames(soft.astype(np.int16)))))
    )


def test_48_khz_comes_to_the_same(said: np.ndarray) -> None:
    wide = np.repeat(said, 3)
    sent = (
        write_frame(n, n * 4800, BEGAN_MS + n * 100.0, wide[n * 4800 : (n + 1) * 4800])
        for n in range(len(said) // TENTH)
    )
    events = heard((PhoneStream("a", 48_000, instant), sent))
    assert len(spoken(events)) == 2
    assert notices(events) == []


# -- what is heard in a gap -----------------------------------------------------------------------

FINDING = Finding(
    "brake pads", "front", "thickness", Quantity(Fraction(2), "mm", "two millimetres")
)
TAKEN = Understanding(Decision.ACCEPT, Kind.FINDING, "understood", "front pads two", FINDING)
HEARING = Hearing("whoever", (), 0.0)


def judged(said: Understanding, *flags: SoundFlag) -> Understanding:
    clip = Clip(np.zeros(100, dtype=np.float32), 0.0, frozenset(flags))
    return minding_gaps(lambda understood, hearing, clip: understood)(said, HEARING, clip)


def test_nothing_heard_in_a_gap_counts_unasked_whoever_heard_it() -> None:
    assert judged(TAKEN) is TAKEN
    assert judged(TAKEN, SoundFlag.CLIPPED) is TAKEN
    asked = judged(TAKEN, SoundFlag.GAP)
    assert asked.decision is Decision.ASK
    assert asked.question is not None
    assert FINDING in asked.offered


def test_a_question_keeps_that_it_was_unclear_and_a_remark_is_kept() -> None:
    question = judged(TAKEN, SoundFlag.GAP)
    assert Flag.UNCLEAR in judged(question, SoundFlag.GAP).flags
    remark = Understanding(Decision.ACCEPT, Kind.REMARK, "a remark", "remark it rattles")
    assert judged(remark, SoundFlag.GAP) is remark


# -- is the phone there? ----------------------------------------------------------------------------


class Steady:
    now = 100.0

    def __call__(self) -> float:
        return self.now


def told(source: PhoneSource) -> list[Trouble]:
    return [notice.trouble for notice in source._notices()]


def test_the_alarm_comes_within_two_seconds_once_and_only_while_it_listens() -> None:
    clock = Steady()
    source = PhoneSource(clock=clock)
    clock.now += 60
    assert told(source) == [], "nobody pressed Listen yet"
    source.begins()
    clock.now += 1.5
    assert told(source) == []
    clock.now += 0.4
    assert told(source) == [Trouble.AWAY]
    clock.now += 9
    assert told(source) == []
    source.arrived()
    assert told(source) == [Trouble.BACK]
    source.ends()
    clock.now += 60
    assert told(source) == [], "it was stopped on purpose"


def test_a_hidden_page_stays_an_alarm_though_sound_still_comes() -> None:
    source = PhoneSource(clock=Steady())
    source.begins()
    source.away(HIDDEN)
    source.arrived()
    assert told(source) == [Trouble.AWAY]
    source.here()
    assert told(source) == [Trouble.BACK]
