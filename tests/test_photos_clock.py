"""Clock alignment: planted offsets are found, ambiguous sessions are asked about, codes agree."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldlog.photos.clock import (
    Alignment,
    Basis,
    CameraTime,
    align_code,
    align_event,
    align_given,
    align_said,
    asked,
    signed_duration,
    unaligned,
)
from fieldlog.photos.guessing import Guess, guess_offsets, stretches

T0 = datetime(2026, 5, 1, 8, tzinfo=UTC)


def _at(seconds: float) -> datetime:
    return T0 + timedelta(seconds=seconds)


def _session(
    rng: random.Random, count: int, offset: float, *, drift: float = 0.0, step: float = 1.0
) -> tuple[list[tuple[float, float]], list[float], list[float]]:
    """Findings, marks and shutter times on a camera that is ``offset`` behind.

    Half of the findings are photographed, two thirds of those after the mark "photo".
    """
    said, marks, shots = [], [], []
    at = 0.0
    for _ in range(count):
        begin = at + rng.uniform(8, 50)
        at = begin + rng.uniform(1.5, 4)
        said.append((begin, at))
        if rng.random() < 0.5:
            if rng.random() < 0.67:
                at += rng.uniform(0.5, 2)
                marks.append(at)
            at += 0.4 + rng.lognormvariate(0.6, 0.5)
            shots.append(at)
    middle = shots[len(shots) // 2]
    shots = [(t - offset - drift * (t - middle)) // step * step for t in shots]
    rng.shuffle(shots)
    return said, marks, shots


@settings(max_examples=20, deadline=None)
@given(
    st.integers(0, 2**32),
    st.integers(30, 90),
    st.floats(-14 * 3600, 14 * 3600),
    st.sampled_from([1.0, 0.01]),
)
def test_a_planted_offset_is_among_the_guesses(
    seed: int, count: int, offset: float, step: float
) -> None:
    found = guess_offsets(
        *_session(random.Random(seed), count, offset, step=step), resolution_s=step
    )
    if found.supported:  # a person's time from word to shutter cannot be told from it: 2 s
        assert any(abs(g.offset_s - offset) <= 2.0 for g in found.found)


def test_planted_offsets_are_nearly_always_supported_and_one_guess_to_people() -> None:
    clear = 0
    for seed in range(30):
        rng = random.Random(seed)
        offset = rng.uniform(-14, 14) * 3600
        found = guess_offsets(*_session(rng, 40, offset))
        clear += found.supported and stretches(found.found)[0].probability > 0.995
    assert clear >= 28


@pytest.mark.parametrize("drift", [0.0, 60e-6, -120e-6, 250e-6])
@pytest.mark.uncounted
def test_slow_drift_is_followed(drift: float) -> None:
    said, marks, shots = _session(random.Random(5), 700, -7 * 3600 + 41.0, drift=drift)
    found = guess_offsets(said, marks, shots)
    assert found.drift == pytest.approx(drift, abs=35e-6)
    if not drift:
        assert found.drift == 0.0
    (guess, *_others) = stretches(found.found)
    assert guess.offset_s == pytest.approx(-7 * 3600 + 41.0, abs=2.5)


@pytest.mark.parametrize("every", [20.0, 60.0, 300.0])
def test_evenly_spaced_words_leave_several_guesses(every: float) -> None:
    said = [(every * k, every * k + 2) for k in range(40)]
    shots = [end - 3600 + 2 for _start, end in said[5:30]]
    found = stretches(guess_offsets(said, [], shots).found)
    assert len(found) >= 8
    apart = abs(found[0].offset_s - found[1].offset_s)
    assert apart / every == pytest.approx(round(apart / every), abs=0.05)


def test_a_repeated_round_leaves_two_guesses() -> None:
    rng = random.Random(8)
    once = sorted(rng.uniform(0, 600) for _ in range(14))
    marks = once + [t + 3600 for t in once]
    found = stretches(guess_offsets([], marks, [t + 502 for t in once]).found)
    assert len(found) == 2
    assert abs(found[0].offset_s - found[1].offset_s) == pytest.approx(3600, abs=1)


@pytest.mark.uncounted
def test_unrelated_times_are_not_supported() -> None:
    supported = 0
    for seed in range(40):
        rng = random.Random(seed)
        said = sorted(rng.uniform(0, 3600) for _ in range(40))
        shots = [rng.uniform(0, 3600) for _ in range(30)]
        supported += guess_offsets([(t, t + 2) for t in said], [], shots).supported
    assert supported <= 1


@pytest.mark.parametrize(("marks", "shots"), [([], []), ([1.0], [2.0]), ([1.0, 2.0], [1.0] * 9)])
def test_too_few_times_leave_the_clock_as_it_is(marks: list[float], shots: list[float]) -> None:
    times = [CameraTime(_at(shot), assumed=False) for shot in shots]
    found = align_said("c", [], [_at(mark) for mark in marks], times)
    assert (found.basis, found.ask, found.guesses) == (Basis.NONE, "", ())


def test_a_burst_counts_once() -> None:
    rng = random.Random(4)
    marks = sorted(rng.uniform(0, 3600) for _ in range(25))
    found = guess_offsets([], marks, [m + 102 + k * 0.3 for m in marks for k in range(6)])
    assert found.groups <= 25
    assert stretches(found.found)[0].offset_s == pytest.approx(-101, abs=1.5)


def test_a_clock_that_nothing_explains_is_asked_about_and_places_nothing() -> None:
    said = [(_at(60.0 * k), _at(60.0 * k + 2)) for k in range(20)]
    shots = [CameraTime(_at(5000 + 37.0 * k**1.5), assumed=False) for k in range(8)]
    found = align_said("Umberfold", said, [], shots)
    assert not found.usable
    assert found.ask == "what was said does not tell how far this clock is off"


def test_one_question_for_a_camera_names_its_guesses() -> None:
    two = Alignment("c", Basis.MARKS, 1022.0, 2.0, guesses=(Guess(1022.0, 0.7), Guess(1027.0, 0.3)))
    assert asked(two, 0).ask == ""
    assert asked(two, 3).ask == (
        "3 photos hang on which it is, +17 min 02.0 s (70%) or +17 min 07.0 s (30%): "
        "photograph the time code, or give the difference"
    )


def test_the_printed_uncertainty_covers_a_habit_that_nobody_measured() -> None:
    for seed in range(30):
        rng = random.Random(seed)
        offset = rng.uniform(-2000, 2000)
        said, marks, shots = _session(rng, 40, offset)
        times = [CameraTime(_at(shot), assumed=False) for shot in shots]
        spoken = [(_at(start), _at(end)) for start, end in said]
        found = align_said("c", spoken, [_at(mark) for mark in marks], times)
        assert abs(found.offset_s - offset) <= found.uncertainty_s


def test_aligning_one_camera_leaves_the_photos_and_other_cameras_alone() -> None:
    mine, other = align_given("Umberfold #1", 25.0), unaligned("Umberfold #2")
    time = CameraTime(_at(0), assumed=False)
    assert mine.session_time(time) == _at(25)
    assert other.session_time(time) == _at(0)
    assert other.uncertainty_s > mine.uncertainty_s


def test_codes_give_the_offset_of_the_recorded_times() -> None:
    """A code refreshed each second, times cut to seconds: on average the truth, within its error."""
    rng = random.Random(2)
    errors = []
    for _ in range(400):
        offset = rng.uniform(-50000, 50000)
        real = rng.uniform(0, 10000)
        seen, code = (real - offset) // 1, real // 1
        found = align_code("c", [(_at(seen), _at(code))])
        later = rng.uniform(0, 10000)
        at = found.session_time(CameraTime(_at((later - offset) // 1), assumed=False))
        errors.append((at - _at(later)).total_seconds())
    assert sum(errors) / len(errors) == pytest.approx(0, abs=0.1)
    inside = [e for e in errors if abs(e) <= found.uncertainty_s + 0.5]
    assert len(inside) >= 0.9 * len(errors)


def test_two_codes_hours_apart_give_the_drift() -> None:
    found = align_code("c", [(_at(0), _at(100)), (_at(36000), _at(36106))])
    assert found.drift == pytest.approx(6 / 36000)
    assert found.session_time(CameraTime(_at(18000), assumed=False)) == _at(18103.5)


def test_codes_that_disagree_are_asked_about() -> None:
    assert "disagree" in align_code("c", [(_at(0), _at(10)), (_at(60), _at(4000))]).ask
    assert "set in between" in align_code("c", [(_at(0), _at(10)), (_at(7200), _at(9000))]).ask
    with pytest.raises(ValueError):
        align_code("c", [])


def test_a_known_event() -> None:
    found = align_event("c", _at(50), _at(80), within_s=2.0)
    assert (found.offset_s, found.basis) == (30.0, Basis.EVENT)
    assert found.uncertainty_s == pytest.approx(2.06, abs=0.01)


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0, "+0.0 s"),
        (-0.01, "+0.0 s"),
        (7.25, "+7.2 s"),
        (-61, "-1 min 01.0 s"),
        (3599.96, "+1 h 00 min 00.0 s"),
        (-25200, "-7 h 00 min 00.0 s"),
    ],
)
def test_durations_for_people(seconds: float, text: str) -> None:
    assert signed_duration(seconds) == text


def test_an_alignment_says_what_it_rests_on() -> None:
    text = str(Alignment("Umberfold", Basis.MARKS, -3723.4, 1.2, pairs=14))
    assert (
        text
        == "Umberfold: -1 h 02 min 03.4 s +/- 1.2 s (what was said against shutter times, 14 times)"
    )
