"""Clock alignment: planted offsets are found, ambiguous sessions are asked about, codes agree."""

from __future__ import annotations

import math
import random
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldlog.photos.clock import (
    Alignment,
    Basis,
    align_code,
    align_event,
    align_given,
    align_marks,
    camera_time,
    signed_duration,
    unaligned,
)
from fieldlog.photos.facts import PhotoFacts
from fieldlog.photos.matching import TOLERANCES_S, _chances, match_times

T0 = datetime(2026, 5, 1, 8, tzinfo=UTC)


def _at(seconds: float) -> datetime:
    return T0 + timedelta(seconds=seconds)


def _session(
    rng: random.Random, count: int, span: float, offset: float, *, drift: float = 0.0, step: float
) -> tuple[list[float], list[float]]:
    """Marks, and shutter times on a camera that is ``offset`` behind: 30 % missing, 30 % extra."""
    marks = sorted(rng.uniform(0, span) for _ in range(count))
    taken = [m for m in marks if rng.random() > 0.3]
    taken += [rng.uniform(0, span) for _ in range(round(0.3 * count))]
    shots = [(t - offset - drift * (t - span / 2)) // step * step for t in taken]
    rng.shuffle(shots)
    return marks, shots


@settings(max_examples=25, deadline=None)
@given(
    st.integers(0, 2**32),
    st.integers(25, 120),
    st.floats(-14.9 * 3600, 14.9 * 3600),
    st.sampled_from([1.0, 0.01]),
)
def test_planted_offset_is_recovered_or_asked_about(
    seed: int, count: int, offset: float, step: float
) -> None:
    rng = random.Random(seed)
    span = count * rng.uniform(40, 120)
    result = match_times(*_session(rng, count, span, offset, step=step), resolution_s=step)
    assert result.best is not None
    if result.clear:  # with 25 marks and more, all but about one in a thousand
        assert abs(result.best.offset_s - offset) <= max(step, 0.5)


def test_planted_offsets_are_nearly_always_clear() -> None:
    clear = 0
    for seed in range(40):
        rng = random.Random(seed)
        offset = rng.uniform(-14.9, 14.9) * 3600
        result = match_times(*_session(rng, 30, 2400, offset, step=1.0))
        clear += result.clear
        if result.clear:
            assert result.best is not None
            assert abs(result.best.offset_s - offset) <= 1.0
    assert clear >= 38


@pytest.mark.parametrize("drift", [0.0, 30e-6, -120e-6, 250e-6])
def test_slow_drift_is_followed(drift: float) -> None:
    rng = random.Random(5)
    span = 8 * 3600.0
    marks, shots = _session(rng, 500, span, -7 * 3600 + 41.0, drift=drift, step=1.0)
    best = match_times(marks, shots).best
    assert best is not None
    at = span / 2 + 7 * 3600 - 41.0
    found = best.offset_s + best.drift * (at - best.reference_s)
    assert abs(found - (-7 * 3600 + 41.0)) <= 1.0
    assert abs(best.drift - drift) <= 20e-6 if drift else best.drift == 0.0


@pytest.mark.parametrize("every", [20.0, 60.0, 300.0])
@pytest.mark.parametrize("missing", [0.0, 0.3])
def test_evenly_spaced_marks_are_ambiguous(every: float, missing: float) -> None:
    rng = random.Random(3)
    marks = [every * k for k in range(40)]
    shots = [m - 3600 for m in marks if rng.random() >= missing]
    result = match_times(marks, shots)
    assert result.best is not None
    assert not result.clear
    assert result.runner_up is not None
    apart = abs(result.best.offset_s - result.runner_up.offset_s)
    assert apart / every == pytest.approx(round(apart / every), abs=0.05)


def test_a_repeated_round_is_ambiguous() -> None:
    rng = random.Random(8)
    once = sorted(rng.uniform(0, 600) for _ in range(12))
    marks = once + [t + 3600 for t in once]
    result = match_times(marks, [t + 500 for t in once])
    assert not result.clear


def test_unrelated_times_are_not_clear() -> None:
    clear = 0
    for seed in range(15):
        rng = random.Random(seed)
        marks = [rng.uniform(0, 3600) for _ in range(40)]
        shots = [rng.uniform(0, 3600) for _ in range(40)]
        clear += match_times(marks, shots).clear
    assert clear == 0


@pytest.mark.parametrize(("marks", "shots"), [([], []), ([1.0], [2.0]), ([1.0, 2.0], [1.0] * 9)])
def test_too_few_times_say_nothing(marks: list[float], shots: list[float]) -> None:
    result = match_times(marks, shots)
    assert (result.best, result.clear) == (None, False)
    assert align_marks("c", [_at(m) for m in marks], [_at(s) for s in shots]) is None


def _nearest_to(at: float, times: list[float]) -> float:
    return min(times, key=lambda time: abs(time - at))


def test_chance_is_what_pairs_at_wrong_differences() -> None:
    """Counted again one difference and one pair at a time; marks in two clusters pair often by chance."""
    rng = random.Random(6)
    marks = sorted(rng.uniform(0, 300) + at for at in (0, 20_000) for _ in range(40))
    shots = sorted(rng.uniform(0, 300) + at for at in (0, 20_000) for _ in range(30))
    counts = [0] * len(TOLERANCES_S)
    for k in range(1, 17):
        shift = (55.0 + 180.0 * (k * (math.sqrt(5) - 1) / 2 % 1.0)) * (1 if k % 2 else -1)
        moved = [shot + shift for shot in shots]
        for shot in moved:
            mark = _nearest_to(shot, marks)
            if _nearest_to(mark, moved) == shot:
                for n, tolerance in enumerate(TOLERANCES_S):
                    counts[n] += abs(mark - shot) <= tolerance
    found = _chances(np.array(marks), np.array(shots))
    assert list(found) == pytest.approx([count / 16 for count in counts])


def test_bursts_count_once() -> None:
    rng = random.Random(4)
    marks = [rng.uniform(0, 1800) for _ in range(25)]
    shots = [m + 100 + k * 0.3 for m in marks for k in range(6)]
    best = match_times(marks, shots, resolution_s=0.1).best
    assert best is not None
    assert best.pairs <= 25
    assert best.offset_s == pytest.approx(-100, abs=0.6)


def test_an_ambiguous_alignment_asks() -> None:
    marks = [_at(60.0 * k) for k in range(20)]
    found = align_marks("Acme", marks, [m + timedelta(hours=1) for m in marks])
    assert found is not None
    assert not found.usable
    assert "pairs 20 photos" in found.ask


def test_aligning_one_camera_leaves_the_photos_and_other_cameras_alone() -> None:
    mine, other = align_given("Acme #1", 25.0), unaligned("Acme #2")
    assert mine.session_time(_at(0)) == _at(25)
    assert other.session_time(_at(0)) == _at(0)
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
        at = found.session_time(_at((later - offset) // 1))
        errors.append((at - _at(later)).total_seconds())
    assert sum(errors) / len(errors) == pytest.approx(0, abs=0.1)
    inside = [e for e in errors if abs(e) <= found.uncertainty_s + 0.5]
    assert len(inside) >= 0.9 * len(errors)


def test_two_codes_hours_apart_give_the_drift() -> None:
    found = align_code("c", [(_at(0), _at(100)), (_at(36000), _at(36106))])
    assert found.drift == pytest.approx(6 / 36000)
    assert found.session_time(_at(18000)) == _at(18103.5)


def test_codes_that_disagree_are_asked_about() -> None:
    assert "disagree" in align_code("c", [(_at(0), _at(10)), (_at(60), _at(4000))]).ask
    assert "set in between" in align_code("c", [(_at(0), _at(10)), (_at(7200), _at(9000))]).ask
    with pytest.raises(ValueError):
        align_code("c", [])


def test_a_known_event() -> None:
    found = align_event("c", _at(50), _at(80), within_s=2.0)
    assert (found.offset_s, found.basis) == (30.0, Basis.EVENT)
    assert found.uncertainty_s == pytest.approx(2.06, abs=0.01)


def test_x4_the_cameras_own_offset_is_used_and_the_sessions_is_assumed() -> None:
    summer = timezone(timedelta(hours=2))
    own = PhotoFacts("a", "jpeg", capture_local="2024-07-01T10:00:00", offset="+01:00")
    none = PhotoFacts("a", "jpeg", capture_local="2024-07-01T10:00:00")
    first, second = camera_time(own, summer), camera_time(none, summer)
    assert first is not None
    assert second is not None
    assert (first.instant.hour, first.assumed) == (9, False)
    assert (second.instant.hour, second.assumed) == (8, True)
    assert camera_time(PhotoFacts("a", "jpeg"), summer) is None
    edge = PhotoFacts("a", "jpeg", capture_local="0001-01-01T00:00:00")
    assert camera_time(edge, summer) is None


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
    text = str(Alignment("Acme", Basis.MARKS, -3723.4, 1.2, pairs=14))
    assert text == "Acme: -1 h 02 min 03.4 s +/- 1.2 s (marks against shutter times, 14 pairs)"
