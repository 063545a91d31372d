"""The picture of a wear trend: where its parts lie, and when there is none."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fieldlog.aftercare.trend import Trend
from fieldlog.report.trend_picture import TrendPicture, trend_picture
from tests.test_aftercare_trend import TREAD, mm, rows, trend


def picture(*values: str) -> TrendPicture:
    found = trend_picture(trend(rows(TREAD, mm(*values))))
    assert found is not None
    return found


def test_readings_fall_towards_the_limit() -> None:
    got = picture("5", "4.1", "3")
    heights = [y for _, y in got.readings]
    assert heights == sorted(heights)  # y grows downwards
    assert got.limit is not None
    assert got.limit > max(heights)
    assert got.limit_text == "1.6 mm"
    (x0, y0), (x1, y1) = got.line
    assert (x0, x1) == (0.0, 1.0)
    assert y1 == pytest.approx(got.limit, abs=0.01)  # the line meets the limit at the right edge
    assert y0 < y1
    assert got.last == "2025-07-26"


def test_everything_lies_inside() -> None:
    got = picture("5", "4.1", "3", "7", "6", "5.1")
    spots = [*got.readings, *(s for part in got.before for s in part), *got.line, *got.band]
    assert all(0 <= x <= 1 and 0 <= y <= 1 for x, y in spots)
    assert [len(part) for part in got.before] == [3]
    assert got.band


def test_it_can_be_told() -> None:
    got = picture("5", "4.1", "3")
    assert got.told == "5 mm on 2025-01-01, 4.1 mm on 2025-03-02, 3 mm on 2025-05-01"


@pytest.mark.parametrize("values", [("5",), ("5", "4")])
def test_too_little_to_show(values: tuple[str, ...]) -> None:
    assert trend_picture(trend(rows(TREAD, mm(*values)))) is None


def test_without_a_limit_only_readings_are_shown() -> None:
    made: Trend = replace(trend(rows(TREAD, mm("5", "4", "3"))), limit=None)
    got = trend_picture(replace(made, projection=replace(made.projection, item=None)))
    assert got is not None
    assert got.limit is None
    assert got.line == ()
