"""Our own voice and the microphone: what was played when, and the canceller that takes it out."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.audio.echo import TAIL_S, EchoCanceller
from fieldlog.audio.endpointer import utterances
from fieldlog.audio.playback import Playback
from fieldlog.audio.vad import voice_activity
from fieldlog.audio.voice import bundled_voice
from fieldlog.words.aloud import aloud, phrases

Samples = NDArray[np.float32]


@pytest.fixture(scope="module")
def sentence() -> Samples:
    return bundled_voice().say(tuple(phrases(aloud("confirm, front brake pads, thickness: 2 mm"))))


def room(sound: Samples, seconds: float, at_s: float, gain: float) -> Samples:
    """A microphone in a room: hiss, and ``sound`` with three reflections."""
    near = np.random.default_rng(5).normal(0.0, 5e-4, round(seconds * RATE)).astype(np.float32)
    for delay_s, level in ((0.0, 1.0), (0.011, 0.5), (0.023, -0.35), (0.047, 0.2)):
        at = round((at_s + delay_s) * RATE)
        near[at : at + len(sound)] += sound * np.float32(gain * level)
    return near


def through(near: Samples, playback: Playback, begins: dict[int, Samples], block: int) -> Samples:
    """``near`` through the canceller; ``begins``: what starts to be played at which sample."""
    echo, out = EchoCanceller(playback), []
    for at in range(0, len(near), block):
        for sample, sound in begins.items():
            if at <= sample < at + block:
                playback.begins(sound, "read back")
        out.append(echo.clean(near[at : at + block]))
    out.append(echo.flush())
    return np.concatenate(out)


@pytest.mark.parametrize("block", [160, 512, 777, 1600])
def test_what_nobody_plays_over_comes_out_as_it_came_in(block: int) -> None:
    near = np.random.default_rng(3).normal(0.0, 0.1, 2 * RATE + 123).astype(np.float32)
    assert np.array_equal(through(near, Playback(), {}, block), near)


@pytest.mark.parametrize("delay_s", [0.02, 0.1, 0.25, 0.4])
def test_our_own_voice_is_taken_out_so_that_none_is_found(
    sentence: Samples, delay_s: float
) -> None:
    begin, block = 2 * RATE, 320
    near = room(sentence, 9.0, begin / RATE + delay_s, 0.5)
    cleaned = through(near, Playback(), {begin: sentence}, block)
    assert len(cleaned) == len(near)
    assert np.array_equal(cleaned[:begin], near[:begin])
    behind = begin + len(sentence) + round((TAIL_S + 0.5) * RATE)
    assert np.array_equal(cleaned[behind:], near[behind:])
    voice = voice_activity().activity
    assert len(list(utterances([near], voice=voice))) >= 1
    assert list(utterances([cleaned], voice=voice)) == []


def test_what_is_played_lies_where_it_was_played_and_one_behind_the_other() -> None:
    playback = Playback()
    playback.at(3.0)
    first = playback.begins(np.ones(RATE, np.float32), "one")
    second = playback.begins(np.full(RATE, 2.0, np.float32), "two", later_s=0.25)
    assert (first.start_s, first.end_s, second.start_s) == (3.0, 4.0, 4.0)
    around = playback.reference(2.5, 2 * RATE)
    assert not around[: RATE // 2].any()
    assert (around[RATE // 2 : 3 * RATE // 2] == 1.0).all()
    assert (around[3 * RATE // 2 :] == 2.0).all()
    assert [each.name for each in playback.around(4.2, 4.3, 0.3)] == ["one", "two"]
    assert [each.name for each in playback.around(4.31, 4.4, 0.3)] == ["two"]
    assert playback.around(0.0, 3.0, 0.3) == ()
