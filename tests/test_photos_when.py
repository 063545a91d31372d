"""Exif time strings: CIPA DC-008 rules, bad values that cameras write (public thread drewnoakes/metadata-extractor#609), implausible dates."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldlog.photos.when import (
    exif_offset,
    exif_subsec,
    exif_time,
    implausible,
    local_time,
    name_hint,
    xmp_time,
)

TODAY = date(2026, 6, 1)


@given(st.datetimes(datetime(1, 1, 1), datetime(9999, 12, 31)))
def test_every_real_time_in_exif_form_is_read_back(moment: datetime) -> None:
    moment = moment.replace(microsecond=0)
    text = f"{moment.year:04}:{moment:%m:%d %H:%M:%S}"
    assert exif_time(text) == moment.isoformat()


@pytest.mark.parametrize(
    "raw",
    [
        "0000:00:00 00:00:00",
        "    :  :     :  :  ",
        "                   ",
        "",
        "2023:02:30 10:00:00",
        "2023:13:01 10:00:00",
        "2023:12:01 24:00:00",
        "2023:12:01 10:60:00",
        "2023:12:01 10:00:60",
        "2023-12-01T10:00:00",
        "2023-12-01 10:00:00",
        "2023:12:01",
        "2023:12:01  10:00:00",
        "2023:12:01 10:00:00Z",
        "23:12:01 10:00:00",
        "not a date at all..",
        "２０２３:12:01 10:00:00",
    ],
)
def test_bad_times_are_unknown(raw: str) -> None:
    assert exif_time(raw) is None


def test_trailing_nul_and_blank_are_padding() -> None:
    assert exif_time("2023:12:01 10:00:00\0") == "2023-12-01T10:00:00"
    assert exif_time("2023:12:01 10:00:00 ") == "2023-12-01T10:00:00"


@pytest.mark.parametrize(
    ("raw", "digits", "microseconds"),
    [
        # Exif 3.0 section 4.6.6.6.6 as quoted in the standards list: "9" is 0.9 s, "130" 0.130 s
        ("9", "9", 900_000),
        ("50", "50", 500_000),
        ("5000", "5000", 500_000),
        ("130", "130", 130_000),
        ("130 ", "130", 130_000),
        ("130     ", "130", 130_000),
        ("054", "054", 54_000),
        ("0", "0", 0),
        ("   ", "", 0),
        ("", "", 0),
        ("ab", "", 0),
        ("-1", "", 0),
    ],
)
def test_subseconds_are_a_left_aligned_fraction(raw: str, digits: str, microseconds: int) -> None:
    assert exif_subsec(raw) == digits
    iso = f"2024-01-02T03:04:05.{digits}" if digits else "2024-01-02T03:04:05"
    assert local_time(iso).microsecond == microseconds


@pytest.mark.parametrize("raw", ["+02:00", "-05:00", "+14:00", "-12:00", "+05:45", "+00:00"])
def test_offsets_of_real_zones(raw: str) -> None:
    assert exif_offset(raw) == raw
    assert exif_offset(raw + "\0") == raw


@pytest.mark.parametrize(
    "raw", ["+0545", "24:00", "+24:00", "-12:30", "+14:15", "+02:60", "02:00", "Z", "   :  ", None]
)
def test_other_offsets_are_unknown(raw: str | None) -> None:
    assert exif_offset(raw) is None


def test_xmp_times() -> None:
    assert xmp_time("2008-05-25T19:31:26.5+02:00") == ("2008-05-25T19:31:26.5", "+02:00")
    assert xmp_time("2013-07-05T03:18:27Z") == ("2013-07-05T03:18:27", "+00:00")
    assert xmp_time("2008-05-25T19:31:26") == ("2008-05-25T19:31:26", None)
    assert xmp_time("2008-05-25T19:31") is None
    assert xmp_time("2008-05-25") is None
    assert xmp_time("2008-02-30T10:00:00Z") is None


@pytest.mark.parametrize(
    "moment",
    [
        datetime(1970, 1, 1, 0, 0, 12),
        datetime(1999, 12, 31, 23, 59, 59),
        datetime(2000, 1, 1),
        datetime(2004, 12, 31, 12),
        datetime(2019, 1, 1, 0, 3),
        datetime(2026, 6, 3),
        datetime(2099, 1, 2, 3),
    ],
)
def test_dates_of_a_dead_clock_are_implausible(moment: datetime) -> None:
    assert implausible(moment, TODAY)


def test_plausible_dates_pass_and_the_vehicle_narrows_them() -> None:
    assert implausible(datetime(2026, 6, 2, 10), TODAY) is None
    assert implausible(datetime(2005, 1, 1, 1), TODAY) is None
    assert implausible(datetime(2012, 1, 2), TODAY, not_before=date(2015, 1, 1))


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("IMG-20240203-WA0001.jpg", "2024-02-03"),
        ("img-20240203-wa0001.jpg", "2024-02-03"),
        ("IMG_20240203_101112.jpg", "2024-02-03 10:11:12"),
        ("PXL_20240203_154114123.jpg", "2024-02-03 15:41:14"),
        ("PXL_20240203_154114123.MP.jpg", "2024-02-03 15:41:14"),
        ("2024-02-03 15.41.14.jpg", "2024-02-03 15:41:14"),
        ("Image 2024-02-03 at 15.41.14 (1).jpeg", "2024-02-03 15:41:14"),
        ("photo_2024-02-03_15-41-14.jpg", "2024-02-03 15:41:14"),
        ("DSC20240203.jpg", "2024-02-03"),
        ("20240203_254114.jpg", "2024-02-03"),
        ("IMG-20241345-WA0001.jpg", None),
        ("IMG_0001.jpg", None),
        ("12024020311.jpg", None),
    ],
)
def test_names_of_phones_and_messengers_are_a_hint_at_most(name: str, said: str | None) -> None:
    assert name_hint(name) == said


@given(st.dates(date(2005, 1, 2), TODAY), st.integers(1, 23))
def test_ordinary_days_are_plausible(day: date, hour: int) -> None:
    moment = datetime(day.year, day.month, day.day) + timedelta(hours=hour)
    assert implausible(moment, TODAY) is None
