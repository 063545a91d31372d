"""What we played, taken out of a stretch of the microphone that is there as a whole."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.audio.echo_path import LATEST, LONGEST, delay, without_played
from fieldlog.audio.voice import bundled_voice
from fieldlog.words.aloud import phrases

Samples = NDArray[np.float32]


@pytest.fixture(scope="module")
def said() -> Samples:
    """1.2 s of our voice, cut off as it is where somebody begins to speak."""
    return bundled_voice().say(tuple(phrases("front brake pads, thickness, two millimetres.")))[
        : round(1.2 * RATE)
    ]


@pytest.fixture(scope="module")
def voice() -> Samples:
    """Somebody else, from 0.8 s on."""
    spoken = bundled_voice().say(tuple(phrases("chain, slack, thirty five millimetres.")))[:RATE]
    return np.concatenate([np.zeros(round(0.8 * RATE), np.float32), spoken * np.float32(0.5)])


def back(sound: Samples, late_s: float, seconds: float = 3.0) -> Samples:
    """``sound`` given back by a room so much later."""
    rng = np.random.default_rng(3)
    taps = rng.normal(0.0, 0.05, RATE // 8) * 10.0 ** (-3.0 * np.arange(RATE // 8) / (0.3 * RATE))
    taps[0] = 0.5
    out = np.zeros(round(seconds * RATE))
    wet = np.convolve(sound, taps)
    begin = round(late_s * RATE)
    out[begin : begin + len(wet)] += wet[: len(out) - begin]
    return out.astype(np.float32)


def hiss(seconds: float = 3.0) -> Samples:
    return np.random.default_rng(4).normal(0.0, 2e-4, round(seconds * RATE)).astype(np.float32)


def over(said: Samples, count: int) -> Samples:
    return np.pad(said, (0, count - len(said)))


def db(sound: Samples) -> float:
    return float(10 * np.log10(np.mean(np.square(sound, dtype=np.float64)) + 1e-20))


@pytest.mark.parametrize("late_s", [0.02, 0.1, 0.25, 0.4])
def test_a_voice_is_left_and_our_own_taken_out(
    said: Samples, voice: Samples, late_s: float
) -> None:
    echo, heard = back(said, late_s), hiss()
    heard[: len(voice)] += voice
    microphone = heard + echo
    assert abs(delay(microphone, over(said, len(heard))) - late_s * RATE) <= 2
    cleared = without_played(microphone, over(said, len(heard)))
    assert cleared.dtype == np.float32
    assert len(cleared) == len(microphone)
    both = slice(round(0.8 * RATE), round((1.2 + late_s + 0.1) * RATE))
    assert db((cleared - heard)[both]) < db(echo[both]) - 10.0
    alone = slice(round(late_s * RATE), round(0.8 * RATE))
    assert db((cleared - heard)[alone]) < db(echo[alone]) - 20.0
    behind = round(1.2 * RATE) + LATEST + RATE // 5
    assert np.array_equal(cleared[behind:], microphone[behind:])


def test_what_was_not_played_or_never_came_back_is_left_as_it_is(
    said: Samples, voice: Samples
) -> None:
    heard = hiss()
    heard[: len(voice)] += voice
    assert np.array_equal(without_played(heard, np.zeros(len(heard), np.float32)), heard)
    assert np.array_equal(without_played(heard, over(said, len(heard))), heard)  # a headset
    nothing = np.zeros(len(heard), np.float32)
    assert not without_played(nothing, over(said, len(heard))).any()
    muted = heard.copy()
    muted[: len(said) + RATE] = 0.0  # while it was played
    assert np.array_equal(without_played(muted, over(said, len(heard))), muted)
    assert len(without_played(nothing[:0], nothing[:0])) == 0


def test_a_stretch_that_ends_before_anything_came_back_is_left_as_it_is(said: Samples) -> None:
    for count in (1, 100, 4000):
        heard = hiss()[:count]
        assert np.array_equal(without_played(heard, said[:count]), heard)


def test_a_long_one_is_cleared_piece_by_piece(said: Samples) -> None:
    seconds = 2.5 * LONGEST / RATE
    count, echo = round(seconds * RATE), np.zeros(round(seconds * RATE), np.float32)
    played = np.zeros(count, np.float32)
    begins = [RATE, LONGEST - RATE // 2, 2 * LONGEST + RATE]  # one of them over a join
    for begin in begins:
        played[begin : begin + len(said)] += said
        echo[begin:] += back(said, 0.1, (count - begin) / RATE)
    heard = hiss(seconds)
    cleared = without_played(heard + echo, played)
    assert len(cleared) == count
    for begin in begins:
        sounds = slice(begin, begin + len(said) + RATE // 10)
        assert db((cleared - heard)[sounds]) < db(echo[sounds]) - 20.0
    first = slice(0, begins[0])
    assert np.array_equal(cleared[first], heard[first])
