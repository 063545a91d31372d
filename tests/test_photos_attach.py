"""Attaching photos: marks first, then time; bursts together; ties and orphans to the tray."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldlog.photos.attach import (
    NOTHING,
    Moment,
    Placement,
    Shot,
    SpokenFinding,
    TimedMark,
    Why,
    bursts,
    make_shot,
    place,
)
from fieldlog.photos.clock import (
    Alignment,
    Basis,
    CameraTime,
    align_code,
    align_given,
    unaligned,
)
from fieldlog.photos.facts import PhotoFacts
from fieldlog.photos.guessing import Guess
from fieldlog.photos.readings import camera_times
from fieldlog.photos.scan import natural_key

T0 = datetime(2026, 5, 1, 8, tzinfo=UTC)
A, B, C = ("A", 100.0, 103.0), ("B", 106.0, 109.0), ("C", 300.0, 303.0)


def _at(seconds: float) -> datetime:
    return T0 + timedelta(seconds=seconds)


def _findings(*rows: tuple[str, float, float]) -> list[SpokenFinding]:
    return [SpokenFinding(name, _at(start), _at(end)) for name, start, end in rows]


def _shot(seconds: float, doubt: float = 0.3, name: str = "p", camera: str = "c") -> Shot:
    return Shot(name, camera, _at(seconds), doubt)


def _owner(placement: Placement) -> str | None:
    return placement.attached[0].finding_id if placement.attached else None


@pytest.mark.parametrize(
    ("seconds", "owner", "why"),
    [
        (105.0, "A", Why.AFTER),  # 2 s after A, 1 s before B
        (101.0, "A", Why.DURING),
        (107.0, "B", Why.DURING),  # the open utterance
        (120.0, "B", Why.AFTER),
        (169.5, None, Why.FAR),
        (250.0, None, Why.FAR),
        (297.5, None, Why.TIE),
        (5000.0, None, Why.OUTSIDE),
    ],
)
def test_by_time(seconds: float, owner: str | None, why: Why) -> None:
    placement = place([_shot(seconds)], _findings(A, B, C))
    assert _owner(placement) == owner
    assert (placement.attached or placement.unplaced)[0].why == why


@pytest.mark.parametrize(
    ("seconds", "owner", "why", "candidates"),
    [
        (105.0, "A", Why.AFTER, []),
        (107.0, None, Why.TAKEN_BACK, ["A", "C"]),
        (120.0, None, Why.TAKEN_BACK, ["A", "C"]),  # not of A, 17 s before
        (297.5, None, Why.TAKEN_BACK, ["C"]),  # shot first, and spoken then
        (310.0, "C", Why.AFTER, []),
    ],
)
def test_what_was_taken_back_has_its_shots(
    seconds: float, owner: str | None, why: Why, candidates: list[str]
) -> None:
    placement = place([_shot(seconds)], _findings(A, (NOTHING, *B[1:]), C))
    assert _owner(placement) == owner
    if owner is None:
        (unplaced,) = placement.unplaced
        assert [each.finding_id for each in unplaced.candidates] == candidates
        assert unplaced.why == why


def test_whose_clock_is_in_question_waits_for_that() -> None:
    """Between a finding and what was taken back as between two findings: the one answer settles it."""
    moments = (Moment(_at(104.0), 0.5, 0), Moment(_at(120.0), 0.5, 1))
    shot = replace(_shot(104.0), moments=moments)
    (unplaced,) = place([shot], _findings(A, (NOTHING, *B[1:]), C)).unplaced
    assert unplaced.why is Why.CLOCK
    assert [each.finding_id for each in unplaced.candidates] == ["A"]


def test_shot_first_and_spoken_then_is_a_tie() -> None:
    placement = place([_shot(138.5)], _findings(A, ("D", 140.0, 142.0)))
    (unplaced,) = placement.unplaced
    assert unplaced.why == Why.TIE
    assert [c.finding_id for c in unplaced.candidates] == ["D", "A"]
    assert [c.gap_s for c in unplaced.candidates] == [-1.5, 35.5]


def test_a_wide_clock_turns_certainty_into_a_tie() -> None:
    assert _owner(place([_shot(104.9, 0.5)], _findings(A, B))) == "A"
    (unplaced,) = place([_shot(104.9, 10.0)], _findings(A, B)).unplaced
    assert {c.finding_id for c in unplaced.candidates} == {"A", "B"}


def _guessed(*guesses: Guess) -> Alignment:
    return Alignment("c", Basis.MARKS, guesses[0].offset_s, 1.0, guesses=guesses)


def test_what_every_guess_puts_to_the_same_finding_is_placed_and_what_differs_waits() -> None:
    rival = _guessed(Guess(0.0, 0.6), Guess(5.0, 0.4))
    shots = []
    for name, seconds in (("same", 120.0), ("differs", 104.0)):
        time = CameraTime(_at(seconds), assumed=False)
        facts = PhotoFacts(name, "jpeg", capture_local="2026-05-01T08:00:00")
        shots.append(make_shot(name, facts, time, rival))
    placement = place(shots, _findings(A, B))
    assert [(a.photo, a.finding_id) for a in placement.attached] == [("same", "B")]
    (waiting,) = placement.unplaced
    assert (waiting.photo, waiting.why) == ("differs", Why.CLOCK)
    assert {c.finding_id for c in waiting.candidates} == {"A", "B"}


def test_a_guess_that_holds_next_to_nothing_does_not_survive() -> None:
    time = CameraTime(_at(104.0), assumed=False)
    facts = PhotoFacts("a", "jpeg", capture_local="2026-05-01T08:00:00")
    for share, owner in ((0.004, "A"), (0.02, None)):
        rival = _guessed(Guess(0.0, 1 - share), Guess(5.0, share))
        assert _owner(place([make_shot("a", facts, time, rival)], _findings(A, B))) == owner


def test_gap_and_uncertainty_are_reported() -> None:
    (attachment,) = place([_shot(120.0, 0.7)], _findings(A, B)).attached
    assert (attachment.gap_s, attachment.uncertainty_s) == (11.0, 0.7)


def test_marks_come_first() -> None:
    findings = _findings(A, B, C)
    marks = [TimedMark(_at(112.0), "A")]  # said after B, but for A
    (attachment,) = place([_shot(115.0)], findings, marks).attached
    assert (attachment.finding_id, attachment.why) == ("A", Why.MARK)
    late = place([_shot(145.0)], findings, marks)
    assert late.attached[0].why == Why.AFTER


def test_a_mark_without_a_finding_means_the_last_one_said() -> None:
    (attachment,) = place([_shot(115.0)], _findings(A, B), [TimedMark(_at(112.0))]).attached
    assert (attachment.finding_id, attachment.why) == ("B", Why.MARK)


def test_the_next_utterance_ends_a_mark() -> None:
    (attachment,) = place(
        [_shot(118.0)], _findings(A, ("D", 110.0, 117.0)), [TimedMark(_at(104.0))]
    ).attached
    assert attachment.finding_id == "D"


def test_a_burst_stays_together_in_order() -> None:
    shots = [
        Shot(f"IMG_{n}.jpg", "c", _at(104.0 + 0.4 * n), 0.3, order=natural_key(f"IMG_{n}.jpg"))
        for n in (10, 2, 1, 3, 9, 4, 8, 5, 7, 6)
    ]
    placement = place(shots, _findings(A, B))
    assert [a.photo for a in placement.attached] == [f"IMG_{n}.jpg" for n in range(1, 11)]
    assert {a.finding_id for a in placement.attached} == {"A"}  # though most fall into B


def test_ten_photos_of_one_second_are_ten() -> None:
    names = ["IMG_2.jpg", "IMG_10.jpg", "IMG_2(1).jpg", *(f"S{n}.jpg" for n in range(7))]
    shots = [Shot(n, "c", _at(104.0), 0.5, order=natural_key(n)) for n in names]
    placement = place(shots, _findings(A, B))
    assert len(placement.attached) == 10
    assert [a.photo for a in placement.attached][:3] == ["IMG_2.jpg", "IMG_2(1).jpg", "IMG_10.jpg"]


def test_two_cameras_are_two_bursts() -> None:
    shots = [_shot(104, camera="c"), _shot(104.2, camera="d"), _shot(104.9, camera="c")]
    assert [len(group) for group in bursts(shots)] == [2, 1]


def test_steady_shooting_is_not_one_endless_burst() -> None:
    shots = [_shot(100 + n, name=f"{n:03}") for n in range(60)]
    assert max(len(group) for group in bursts(shots)) <= 11


def test_photos_without_time_or_with_a_doubtful_clock_are_unplaced() -> None:
    asked = Alignment("c", align_given("c", 1).basis, 0, 1, ask="which?")
    facts = PhotoFacts("a.jpg", "jpeg", problem="no capture time recorded")
    timed = PhotoFacts("b.jpg", "jpeg", capture_local="2026-05-01T08:01:44", offset="+00:00")
    shots = [
        make_shot("a", facts, camera_times([facts], UTC)[0], unaligned("c")),
        make_shot("b", timed, camera_times([timed], UTC)[0], asked),
    ]
    placement = place(shots, _findings(A, B))
    assert [(u.photo, u.why, u.detail) for u in placement.unplaced] == [
        ("a", Why.NO_TIME, "no capture time recorded"),
        ("b", Why.CLOCK, "see the question about it"),
    ]


def test_an_implausible_clock_counts_only_when_it_was_corrected() -> None:
    facts = PhotoFacts(
        "a.jpg",
        "jpeg",
        capture_local="2000-01-01T00:01:44",
        fault="implausible time",
        problem="implausible capture time",
    )
    time = camera_times([facts], UTC)[0]
    assert time is not None
    assert make_shot("a", facts, time, unaligned("c")).at is None
    code = align_code("c", [(time.instant, _at(104))])
    assert _owner(place([make_shot("a", facts, time, code)], _findings(A, B))) == "A"


def test_before_the_vehicle_was_made() -> None:
    facts = PhotoFacts("a.jpg", "jpeg", capture_local="2010-05-01T08:00:00", offset="+00:00")
    shot = make_shot(
        "a", facts, camera_times([facts], UTC)[0], unaligned("c"), not_before=date(2015, 1, 1)
    )
    assert "before 2015-01-01" in shot.unusable


def test_assumed_zones_are_marked() -> None:
    facts = PhotoFacts("a.jpg", "jpeg", capture_local="2026-05-01T08:01:44")
    shot = make_shot("a", facts, camera_times([facts], UTC)[0], align_given("c", 0.0))
    (attachment,) = place([shot], _findings(A, B)).attached
    assert attachment.assumed


@given(
    st.lists(st.floats(0, 2000), max_size=30),
    st.lists(st.tuples(st.floats(0, 1900), st.floats(0.1, 30)), max_size=20),
    st.lists(st.floats(0, 2000), max_size=8),
    st.floats(0, 30),
)
def test_every_photo_is_placed_once_or_in_the_tray(
    times: list[float],
    spoken: list[tuple[float, float]],
    marked: list[float],
    doubt: float,
) -> None:
    shots = [_shot(t, doubt, name=str(n)) for n, t in enumerate(times)]
    findings = [
        SpokenFinding(str(n), _at(begin), _at(begin + long))
        for n, (begin, long) in enumerate(spoken)
    ]
    placement = place(shots, findings, [TimedMark(_at(m)) for m in marked])
    names = [a.photo for a in placement.attached] + [u.photo for u in placement.unplaced]
    assert sorted(names) == sorted(s.photo for s in shots)
