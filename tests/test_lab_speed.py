"""Two versions of the ear on the same clips: times side by side, and whether they heard the same."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldlog.errors import UsageError
from fieldlog.lab.benchmarks.speed import HeardIn, least, lines, timed_by

ONE = HeardIn({"a": 100.0, "b": 300.0}, {"a": ("tea",), "b": ("a latte",)}, {"a": 60.0, "b": 80.0})


def test_of_several_turns_the_least_time_of_each_clip_counts() -> None:
    other = HeardIn({"a": 150.0, "b": 200.0}, ONE.texts, {"a": 50.0, "b": 90.0})
    assert least([ONE, other]).ms == {"a": 100.0, "b": 200.0}
    assert least([ONE, other]).answered_ms == {"a": 50.0, "b": 80.0}


def test_times_and_what_was_heard_otherwise_are_told() -> None:
    texts = {"a": ("tea",), "b": ("a latte", "a large latte")}
    now = HeardIn({"a": 50.0, "b": 150.0}, texts, {"a": 45.0, "b": 60.0})
    told = "\n".join(lines(ONE, now))
    assert "| earlier | 2 | 200 ms | 290 ms | 70 ms |" in told
    assert "| today | 2 | 100 ms | 145 ms | 52 ms |" in told
    assert "median 0.50, most 0.50; time to the answer: median 0.75, most 0.75" in told
    assert "the letter: 1 of 2." in told
    assert "- b: ('a latte',) | ('a latte', 'a large latte')" in told


def test_code_that_hears_nothing_is_told(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="hears nothing"):
        timed_by(tmp_path, tmp_path / "none.jsgf", [tmp_path / "none.flac"])
