"""Several readings become one value as the source says."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldlog.limits.aggregate import reduce
from fieldlog.model.limit import Aggregation, aggregation


def values(*texts: str) -> list[Fraction]:
    return [Fraction(text) for text in texts]


@pytest.mark.parametrize(
    ("rule", "readings", "low", "high", "value"),
    [
        ("single", ("3",), True, False, "3"),
        ("thinnest", ("3", "2", "4"), True, False, "2"),
        ("any", ("3", "2", "4"), False, True, "4"),
        ("each", ("3", "2", "4"), True, False, "2"),
        ("3 of 4", ("3", "2", "4", "1"), True, False, "2"),
        ("1 of 6", ("1", "1", "1", "1", "1", "2"), True, False, "2"),
        ("1 of 3", ("5", "6", "7"), False, True, "5"),
        ("indicator total", ("0", "0.4", "-0.3", "0.1"), False, True, "0.7"),
        ("indicator total", ("0.7",), False, True, "0.7"),
        ("spread", ("1.265", "1.24", "1.25"), False, True, "0.025"),
        ("pair difference", ("7", "1.5"), False, True, "5.5"),
        ("average", ("1", "2"), False, True, "1.5"),
        ("magnitude", ("-5", "3"), False, True, "5"),
    ],
)
def test_the_value_that_is_judged(
    rule: str, readings: tuple[str, ...], low: bool, high: bool, value: str
) -> None:
    found = reduce(values(*readings), aggregation(rule), low=low, high=high)
    assert found.values == (Fraction(value),)
    assert not found.lacking


@pytest.mark.parametrize(
    ("rule", "readings"),
    [("spread", ("1.2",)), ("pair difference", ("1", "2", "3")), ("4 of 6", ("1", "2"))],
)
def test_what_is_lacking_is_said(rule: str, readings: tuple[str, ...]) -> None:
    found = reduce(values(*readings), aggregation(rule), low=True, high=False)
    assert found.lacking or not found.sure


def test_a_single_reading_is_taken_as_the_worst_point() -> None:
    found = reduce(values("0.9"), aggregation("3 of 4"), low=True, high=False)
    assert found.values == (Fraction("0.9"),)
    assert "worst point" in found.how
    assert found.hope is None
    assert "3 of 4" in found.open_points


def test_points_not_read_can_only_help_so_far() -> None:
    found = reduce(values("0.9", "0.8"), aggregation("3 of 4"), low=True, high=False)
    assert found.hope == Fraction("0.9")
    assert not found.sure


def test_bad_use_is_refused() -> None:
    with pytest.raises(ValueError, match="no readings"):
        reduce([], Aggregation.SINGLE, low=True, high=False)
    with pytest.raises(ValueError, match="unknown aggregation"):
        aggregation("loudest")


@pytest.mark.parametrize(
    ("name", "known"),
    [("thinnest", True), ("3 of 4", True), ("4 of 3", False), ("0 of 3", False), ("x", False)],
)
def test_names(name: str, known: bool) -> None:
    if known:
        assert str(aggregation(name)) == name
    else:
        with pytest.raises(ValueError, match="unknown aggregation"):
            aggregation(name)


@given(
    st.lists(st.fractions(0, 10, max_denominator=16), min_size=4, max_size=4),
    st.fractions(0, 10, max_denominator=16),
)
@pytest.mark.uncounted
def test_k_of_n_counts_what_passes(readings: list[Fraction], limit: Fraction) -> None:
    passing = sum(value >= limit for value in readings)
    for k in (1, 2, 3, 4):
        found = reduce(readings, aggregation(f"{k} of 4"), low=True, high=False)
        assert (found.values[0] >= limit) is (passing >= k)
