"""Utterances out of a stream: the same however it is cut, complete, bounded, never overlapping."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import soundfile as sf
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from fieldlog.audio.bounds import Bounds, BoundsSettings, Change
from fieldlog.audio.clip import RATE, Clip, SoundFlag
from fieldlog.audio.convert import Converter
from fieldlog.audio.endpointer import (
    Endpointer,
    EndpointSettings,
    is_draft,
    join,
    joinable,
    utterances,
)
from fieldlog.audio.vad import FRAME
from tests.shared import need_shared

Samples = NDArray[np.float32]


class Loudness:
    """A voice activity for tests: a frame is voiced when its RMS is above 0.05."""

    name = "loudness"

    def probability(self, frame: Samples) -> float:
        assert frame.shape == (FRAME,)
        assert frame.dtype == np.float32
        return float(np.sqrt(np.mean(np.square(frame))) > 0.05)

    def reset(self) -> None:
        """Nothing to forget."""


class Always(Loudness):
    """Every frame is voiced: noise that never lets go."""

    def probability(self, frame: Samples) -> float:
        return 1.0


def stream(*pieces: float, seed: int = 0) -> Samples:
    """Seconds of speech (positive) and of silence (negative), as loud and faint noise."""
    rng = np.random.default_rng(seed)
    parts = [rng.standard_normal(round(abs(s) * RATE)) * (0.2 if s > 0 else 0.001) for s in pieces]
    return np.concatenate(parts).astype(np.float32)


def cut(sound: Samples, sizes: list[int], settings: EndpointSettings | None = None) -> list[Clip]:
    endpointer = Endpointer(settings, Loudness())
    clips: list[Clip] = []
    at = turn = 0
    while at < len(sound):
        size = sizes[turn % len(sizes)]
        clips += endpointer.process(sound[at : at + size])
        at, turn = at + size, turn + 1
    return clips + endpointer.flush()


def same(first: list[Clip], second: list[Clip]) -> bool:
    return len(first) == len(second) and all(
        a.start_s == b.start_s and a.flags == b.flags and np.array_equal(a.samples, b.samples)
        for a, b in zip(first, second, strict=True)
    )


spoken = st.lists(st.one_of(st.floats(0.2, 2.5), st.floats(-2.5, -0.05)), min_size=1, max_size=8)


@given(
    pieces=spoken,
    sizes=st.lists(st.integers(1, 100_000), min_size=1, max_size=6),
    seed=st.integers(0, 9),
)
@settings(max_examples=30, deadline=None)
def test_block_size_never_changes_the_utterances(
    pieces: list[float], sizes: list[int], seed: int
) -> None:
    if min(sizes) < 50:
        pieces = pieces[:2]
    sound = stream(*pieces, seed=seed)
    assert same(cut(sound, sizes), cut(sound, [len(sound)]))


@given(pieces=spoken, longest=st.floats(1.0, 6.0))
@settings(max_examples=40, deadline=None)
def test_utterances_are_the_stream_itself_in_order_and_not_too_long(
    pieces: list[float], longest: float
) -> None:
    sound = stream(*pieces)
    clips = cut(sound, [1600], EndpointSettings(longest_s=longest))
    at = 0
    for clip in clips:
        begin = round(clip.start_s * RATE)
        assert begin >= at, "utterances overlap"
        assert np.array_equal(clip.samples, sound[begin : begin + len(clip.samples)])
        assert clip.duration_s <= longest + 0.4 + 1e-6
        at = begin + len(clip.samples)
    assert at <= len(sound)


@given(pieces=spoken)
@settings(max_examples=30, deadline=None)
def test_every_stretch_of_speech_is_inside_an_utterance(pieces: list[float]) -> None:
    sound = stream(*pieces)
    clips = cut(sound, [997])
    at = 0.0
    for piece in pieces:
        begin, end = at, at + abs(piece)
        at = end
        if piece > 0.3:
            middle = [c for c in clips if c.start_s <= begin + 0.05 and c.end_s >= end - 0.05]
            parts = [c for c in clips if c.start_s < end and c.end_s > begin]
            covered = sum(min(c.end_s, end) - max(c.start_s, begin) for c in parts)
            assert middle or covered >= (end - begin) - 0.1


@pytest.mark.parametrize("extra", [0, 1, FRAME - 1])
@pytest.mark.parametrize("frames", [20, 31])
def test_speech_until_the_very_end_is_flushed_whole(frames: int, extra: int) -> None:
    """Another library loses the last utterance when the stream ends on a whole frame."""
    sound = stream(-0.5, 3.0)[: RATE // 2 + frames * FRAME + extra]
    (clip,) = cut(sound, [333])
    assert round(clip.end_s * RATE) == len(sound)


def test_speech_from_the_first_sample() -> None:
    (clip,) = cut(stream(1.0, -2.0), [160])
    assert clip.start_s == 0.0
    assert clip.end_s == pytest.approx(1.0 + 0.32, abs=0.04)


def test_no_speech_no_utterance_and_flush_of_nothing() -> None:
    assert cut(stream(-5.0), [512]) == []
    assert Endpointer(None, Loudness()).flush() == []


def test_click_is_not_an_utterance() -> None:
    assert cut(stream(-1.0, 0.1, -2.0), [512]) == []


@pytest.mark.parametrize("pause", [0.3, 0.6])
def test_a_speakers_pause_does_not_split(pause: float) -> None:
    assert len(cut(stream(-0.5, 0.8, -pause, 0.8, -2.0), [512])) == 1


def test_three_findings_with_a_second_between_are_three(  # alphacep/vosk-api#590
) -> None:
    sound = stream(-0.5, 1.0, -1.0, 1.2, -1.0, 0.9, -1.0)
    for size in (1600, 8000):
        clips = cut(sound, [size])
        assert [round(c.start_s, 1) for c in clips] == [0.2, 2.2, 4.4]


def test_pre_roll_and_trail_do_not_reach_into_the_neighbour() -> None:
    wide = EndpointSettings(pre_roll_s=2.0, trail_s=0.7, hangover_s=0.77)
    first, second = cut(stream(-1.0, 1.0, -1.0, 1.0, -2.0), [512], wide)
    assert first.end_s <= second.start_s


@pytest.mark.parametrize("sizes", [[100], [512], [1000], [4096], [1]])
def test_noise_that_never_ends_is_cut_at_the_maximum(sizes: list[int]) -> None:
    """No endless utterance, and nothing of it is dropped (wiseman/py-webrtcvad#70, wiseman/py-webrtcvad#3, alphacep/vosk-api#209)."""
    sound = stream(13.0 if sizes != [1] else 2.5)
    endpointer = Endpointer(EndpointSettings(longest_s=2.0), Always())
    clips = [
        c
        for i in range(0, len(sound), sizes[0])
        for c in endpointer.process(sound[i : i + sizes[0]])
    ]
    clips += endpointer.flush()
    assert all("cut at maximum" in clip.flags for clip in clips)
    assert all(clip.duration_s <= 2.01 for clip in clips)
    assert np.array_equal(np.concatenate([clip.samples for clip in clips]), sound)


def test_the_cut_lies_in_the_quietest_place() -> None:
    bounds = Bounds(BoundsSettings(most_frames=100, cut_search_frames=30))
    dip = 85
    for i in range(120):
        change = bounds.push(0.6 if abs(i - dip) <= 1 else 0.99)
        if change is Change.CUT:
            break
    assert abs(bounds.cut_at - dip) <= 1


def test_two_hours_of_noise_hold_memory_flat() -> None:
    """What is kept inside never exceeds one utterance of maximum length (alphacep/vosk-api#209)."""
    endpointer = Endpointer(EndpointSettings(), Always())
    block = stream(1.0)
    most = 0
    cuts = 0
    for _ in range(400):
        cuts += len(endpointer.process(block))
        most = max(most, len(endpointer._frames))
    assert most * FRAME <= 31 * RATE
    assert cuts >= 12


def test_draft_is_what_the_utterance_will_be() -> None:
    sound = stream(-0.5, 1.0, -2.0)
    endpointer = Endpointer(None, Loudness())
    draft_at = end_at = None
    for i in range(0, len(sound), 256):
        clips = endpointer.process(sound[i : i + 256])
        draft = endpointer.draft()
        if draft is not None and draft_at is None:
            draft_at, early = endpointer.position_s, draft
        if clips:
            end_at, (clip,) = endpointer.position_s, clips
            break
    assert draft_at is not None
    assert end_at is not None
    assert np.array_equal(early.samples, clip.samples[: len(early.samples)])
    assert is_draft(early, clip)
    assert not is_draft(early, replace(clip, start_s=clip.start_s + 0.1))
    assert draft_at == pytest.approx(1.5 + 0.256, abs=0.07)
    assert end_at == pytest.approx(1.5 + 0.77, abs=0.07)
    assert endpointer.delay_s == pytest.approx(0.77, abs=0.04)


def test_end_now_closes_and_the_rest_is_a_new_utterance() -> None:
    sound = stream(-0.5, 1.0, -0.5, 1.0, -1.5)
    endpointer = Endpointer(None, Loudness())
    early: list[Clip] = []
    clips: list[Clip] = []
    for i in range(0, len(sound), 256):
        clips += endpointer.process(sound[i : i + 256])
        if not early and endpointer.draft() is not None:
            early = endpointer.end_now()
    clips += endpointer.flush()
    assert len(early) == len(clips) == 1
    assert early[0].end_s <= clips[0].start_s


def test_marks_flag_the_utterance_they_fall_into() -> None:
    sound = stream(-1.0, 1.0, -2.0, 1.0, -2.0)
    endpointer = Endpointer(None, Loudness())
    clips: list[Clip] = []
    for i in range(0, len(sound), 1600):
        if i == int(1.6 * RATE):
            endpointer.mark(SoundFlag.OVERFLOW)
        clips += endpointer.process(sound[i : i + 1600])
    assert [sorted(c.flags) for c in clips] == [["overflow"], []]


def test_join_keeps_the_gap() -> None:
    first, second = cut(stream(-0.5, 1.0, -1.2, 1.0, -2.0), [512])
    assert joinable(first, second)
    assert not joinable(first, second, gap_s=0.1)
    assert not joinable(first, second, longest_s=2.0)
    assert not joinable(second, first)
    whole = join(first, second)
    assert whole.start_s == first.start_s
    assert whole.end_s == pytest.approx(second.end_s, abs=1 / RATE)


def test_silence_and_noise_give_nothing_with_the_network() -> None:
    """60 s of digital silence, of a muted microphone, and 10 s of white and brown noise (alphacep/vosk-api#797, wiseman/py-webrtcvad#70)."""
    rng = np.random.default_rng(8)
    silence = np.zeros(60 * RATE, dtype=np.float32)
    muted = (rng.integers(-1, 2, 60 * RATE) / 32_768).astype(np.float32)
    white = (0.1 * rng.standard_normal(10 * RATE)).astype(np.float32)
    brown = np.cumsum(white).astype(np.float32)
    brown = (0.2 * (brown - brown.mean()) / np.abs(brown).max()).astype(np.float32)
    for sound in (silence, muted, white, brown):
        assert list(utterances([sound])) == []


def orders(count: int, snr_db: float | None) -> list[tuple[Samples, Samples]]:
    """(clean, mixed with kitchen noise by RMS) of ``count`` of the real orders."""
    folder = need_shared("speech/orders/audio")
    noise, _ = sf.read(need_shared("speech/noise/kitchen.flac"), dtype="float32")
    rng = np.random.default_rng(17)
    names = rng.permutation(sorted(path.name for path in folder.iterdir()))[:count]
    pairs = []
    for name in names:
        x, _ = sf.read(folder / name, dtype="float32")
        y = x
        if snr_db is not None:
            start = int(rng.integers(0, len(noise) - len(x)))
            piece = noise[start : start + len(x)]
            gain = np.sqrt(np.mean(x**2) / np.mean(piece**2)) * 10 ** (-snr_db / 20)
            y = (x + gain * piece).astype(np.float32)
        pairs.append((x, y))
    return pairs


@pytest.mark.parametrize("snr_db", [None, 12.0])
def test_real_orders_come_out_as_one_utterance(snr_db: float | None) -> None:
    whole = 0
    pairs = orders(12, snr_db)
    for clean, noisy in pairs:
        loud = np.flatnonzero(np.abs(clean) > 0.2 * np.abs(clean).max())
        clips = list(utterances([noisy]))
        whole += (
            len(clips) == 1
            and clips[0].start_s * RATE <= loud[0]
            and clips[0].end_s * RATE >= loud[-1]
        )
    assert whole >= len(pairs) - 1


def test_a_stereo_48k_stream_gives_the_same_utterances() -> None:
    """What the device offers does not matter (Uberi/speech_recognition#94, alphacep/vosk-api#1952)."""
    (clean, _) = orders(1, None)[0]
    import soxr

    at48 = soxr.resample(clean, RATE, 48_000).astype(np.float32)
    converter = Converter(48_000, 2)
    both = np.stack([at48, at48], axis=1)
    back = np.concatenate([converter.process(both), converter.flush()])
    ours, direct = list(utterances([back])), list(utterances([clean]))
    assert len(ours) == len(direct) == 1
    assert ours[0].start_s == pytest.approx(direct[0].start_s, abs=0.1)
    assert ours[0].end_s == pytest.approx(direct[0].end_s, abs=0.1)


def test_file_flags_reach_the_utterances(tmp_path: object) -> None:
    from pathlib import Path

    path = Path(str(tmp_path)) / "n.wav"
    narrow = stream(-0.5, 1.0, -1.0)
    sf.write(path, narrow[::2], 8000)
    (clip,) = utterances(path, voice=Loudness())
    assert "narrow band" in clip.flags


def test_a_voice_that_rises_slowly_is_followed_back() -> None:
    """Frames below the voiced threshold belong to speech when they lead into it unbroken."""
    bounds = Bounds(BoundsSettings())
    faint = [0.0] * 10 + [0.3, 0.2, 0.05, 0.3, 0.45, 0.4, 0.3, 0.2] + [0.9] * 6
    changes = [bounds.push(p) for p in faint]
    assert Change.BEGIN in changes
    assert bounds.begin == 10


@pytest.mark.parametrize(("seconds", "known_after"), [(0.42, 0.42), (0.1, 0.32), (1.2, 1.2)])
def test_who_heard_the_draft_says_how_long_the_silence_lasts(
    seconds: float, known_after: float
) -> None:
    sound = stream(-0.5, 1.0, -2.0, 1.0, -2.0)
    endpointer = Endpointer(None, Loudness())
    waited, ends = False, []
    for i in range(0, len(sound), FRAME):
        if endpointer.process(sound[i : i + FRAME]):
            ends.append(endpointer.delay_s)
        draft = endpointer.draft()
        if draft is not None and not waited:
            waited = True
            endpointer.wait(draft, seconds)
    assert ends[0] == pytest.approx(known_after, abs=0.04)
    assert ends[1] == pytest.approx(0.77, abs=0.04)  # it holds for that silence alone


def test_speech_since_the_draft_makes_its_wait_void() -> None:
    sound = stream(-0.5, 1.0, -0.4, 1.0, -2.0)
    endpointer = Endpointer(None, Loudness())
    early: Clip | None = None
    clips: list[Clip] = []
    for i in range(0, len(sound), FRAME):
        clips += endpointer.process(sound[i : i + FRAME])
        early = early or endpointer.draft()
        if early is not None and endpointer.position_s > 2.0:
            endpointer.wait(early, 0.3)
    assert len(clips) == 1


def test_a_long_wait_holds_for_its_silence_and_not_for_the_next_of_the_same_utterance() -> None:
    """ "Front pads ...", waited for; "four millimetres" then ends after the usual silence."""
    sound = stream(-0.5, 1.0, -1.0, 1.0, -2.0)
    endpointer = Endpointer(None, Loudness())
    waited, ends = False, []
    for i in range(0, len(sound), FRAME):
        if endpointer.process(sound[i : i + FRAME]):
            ends.append(endpointer.delay_s)
        draft = endpointer.draft()
        if draft is not None and not waited:
            waited = True
            endpointer.wait(draft, 1.2)
    assert ends == [pytest.approx(0.77, abs=0.04)]
