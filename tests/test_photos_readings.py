"""Local times around a change of the clocks: every reading is kept until the session decides."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from fieldlog.model.finding import Finding
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.photos.clock import align_given, read_by_session
from fieldlog.photos.facts import PhotoFacts
from fieldlog.photos.importer import import_folder
from fieldlog.photos.placing import place_photos
from fieldlog.photos.readings import camera_times
from fieldlog.store.records import NewEntry, NewUtterance
from fieldlog.store.repository import Repository
from tests.photo_files import save
from tests.store_samples import ticking

BERLIN = ZoneInfo("Europe/Berlin")
AUTUMN = datetime(2025, 10, 26, tzinfo=UTC)
"""At 01:00 UTC of this day the clocks of Berlin went from 03:00 back to 02:00."""


def _taken(local: str) -> PhotoFacts:
    return PhotoFacts("a", "jpeg", capture_local=local)


def _utc(hour: int, minute: int) -> datetime:
    return AUTUMN + timedelta(hours=hour, minutes=minute)


def test_the_cameras_own_offset_is_used_and_the_sessions_is_assumed() -> None:
    summer = timezone(timedelta(hours=2))
    own = PhotoFacts("a", "jpeg", capture_local="2024-07-01T10:00:00", offset="+01:00")
    first, second = (
        camera_times([own], summer)[0],
        camera_times([_taken("2024-07-01T10:00:00")], summer)[0],
    )
    assert first is not None
    assert second is not None
    assert (first.instant.hour, first.assumed) == (9, False)
    assert (second.instant.hour, second.assumed, second.others) == (8, True, ())
    assert camera_times([PhotoFacts("a", "jpeg")], summer)[0] is None
    assert camera_times([_taken("0001-01-01T00:00:00")], summer)[0] is None


def test_both_readings_of_a_repeated_hour_are_candidates() -> None:
    time = camera_times([_taken("2025-10-26T02:30:00")], BERLIN)[0]
    assert time is not None
    assert time.repeated
    assert {time.instant, *time.others} == {_utc(0, 30), _utc(1, 30)}


def test_times_that_go_back_while_the_names_go_on_are_of_the_second_hour() -> None:
    times = camera_times(
        [_taken(f"2025-10-26T{clock}:00") for clock in ("01:50", "02:40", "02:10", "03:05")], BERLIN
    )
    instants = [time.instant for time in times if time is not None]
    assert instants == [_utc(-1, 50), _utc(0, 40), _utc(1, 10), _utc(2, 5)]
    assert [time.repeated for time in times if time is not None] == [False, True, True, False]


def test_a_camera_that_did_not_follow_the_change_is_a_reading_too() -> None:
    times = camera_times([_taken(f"2025-10-26T0{h}:30:00") for h in (1, 4)], BERLIN)
    first, last = times
    assert first is not None
    assert last is not None
    assert last.instant == _utc(3, 30)
    assert _utc(2, 30) in last.others  # still on summer time


def test_far_from_a_change_there_is_one_reading() -> None:
    time = camera_times([_taken("2025-10-20T02:30:00")], BERLIN)[0]
    assert time is not None
    assert (time.others, time.repeated) == ((), False)


@pytest.mark.parametrize("second", [False, True])
@pytest.mark.parametrize("count", [2, 9])
def test_the_session_decides_which_of_the_two_hours_it_was(
    tmp_path: Path, second: bool, count: int
) -> None:
    with Repository.open(tmp_path / "store", now=ticking()) as store:
        vehicle = store.add_vehicle("blue roadster")
        at = _utc(1 if second else 0, 5)
        head = store.start_inspection(vehicle.id, started_at=at, zone="Europe/Berlin")
        card = tmp_path / "card"
        card.mkdir()
        truth = {}
        for number in range(count):
            at += timedelta(seconds=71 + 13 * (number % 4))
            heard = Understanding(Decision.ACCEPT, Kind.FINDING, "", f"seal {number}")
            saved = store.save(
                head.id,
                NewEntry(
                    NewUtterance(heard, at, start_s=0.0, end_s=2.0),
                    finding=Finding(
                        "fork seal", ("left", "right")[number % 2], "condition", condition="sound"
                    ),
                ),
            )
            local = (at + timedelta(seconds=15 if count == 2 else 5)).astimezone(BERLIN)
            name = f"IMG_{number}.jpg"
            save(card / name, original=f"{local:%Y:%m:%d %H:%M:%S}", size=(40 + number, 32))
            truth[name] = saved.finding_id
        import_folder(store, head.id, card, date(2026, 6, 1))
        place_photos(store, head.id, date(2026, 6, 1))
        attached = {p.file: p.attachment for p in store.inspection_record(head.id).photos}
        assert {name: a and a.finding_id for name, a in attached.items()} == truth
        for attachment in attached.values():
            assert attachment is not None
            assert "(in an hour that came twice)" in attachment.reason


def test_the_session_decides_for_a_clock_that_was_set_by_hand_too() -> None:
    said = [(_utc(1, minute), _utc(1, minute) + timedelta(seconds=2)) for minute in (5, 9, 11)]
    photos = [_taken(f"2025-10-26T02:{minute:02}:40") for minute in (35, 39, 41)]
    times = [time for time in camera_times(photos, BERLIN) if time is not None]
    given = read_by_session(align_given("c", -1830.0), said, [], times)
    assert [given.session_time(time) for time in times] == [
        _utc(1, minute) + timedelta(seconds=10) for minute in (5, 9, 11)
    ]
