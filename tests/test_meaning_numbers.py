"""Spoken numbers: the table, every cardinal, and pairs of an outside collection."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldlog.quantities.number_words import NUMBER_WORDS
from fieldlog.quantities.numbers import (
    PROPER,
    NumberReading,
    readings,
    why_not,
)
from fieldlog.quantities.values import Style
from tests.honest_values import ONES, TEENS, TENS
from tests.shared import need_shared

TABLE = tomllib.loads((Path(__file__).parent / "data" / "numbers.toml").read_text())
ROWS = [(words, row) for section in TABLE.values() for words, row in section.items()]


def shown(reading: NumberReading) -> str:
    """One reading as the table writes it."""
    high = "" if reading.high is None else f"..{reading.high}"
    qualifier = f", {reading.qualifier.value}" if reading.qualifier else ""
    flags = f" ({', '.join(reading.flags)})" if reading.flags else ""
    return f"{reading.value}{high} {reading.style}{qualifier}{flags}"


@pytest.mark.parametrize(("words", "expected"), ROWS, ids=[words for words, _ in ROWS])
def test_table(words: str, expected: list[str]) -> None:
    assert sorted(map(shown, readings(words.split()))) == sorted(expected)
    assert bool(why_not(words.split())) == (not expected)


BELOW_TWENTY = [*ONES, *TEENS]


def in_full(n: int, link: str) -> str:
    """``n`` below 10,000 in words, written for this test alone; ``link`` is " and " or " "."""
    if n < 20:
        return BELOW_TWENTY[n]
    if n < 100:
        return TENS[n // 10 - 2] + (f" {ONES[n % 10]}" if n % 10 else "")
    size, name = (1000, "thousand") if n >= 1000 else (100, "hundred")
    rest = n % size
    joint = link if rest < 100 else " "
    tail = joint + in_full(rest, link) if rest else ""
    return f"{in_full(n // size, link)} {name}{tail}"


@pytest.mark.parametrize("link", [" and ", " "], ids=["british", "american"])
def test_every_cardinal_to_9999(link: str) -> None:
    for n in range(10_000):
        found = [r for r in readings(in_full(n, link).split()) if r.style in PROPER]
        assert [(r.value, r.style, r.flags) for r in found] == [(n, Style.INTEGER, ())], n


def test_every_integer_to_9999_digit_by_digit() -> None:
    for n in range(10, 10_000):
        words = [ONES[int(digit)] for digit in str(n)]
        values = {r.digits: r for r in readings(words)}
        assert values[str(n)].value == n
        assert values[str(n)].style == Style.DIGIT_STRING


def test_teens_and_tens_of_hundreds() -> None:
    for n in range(1100, 10_000, 100):
        said = f"{in_full(n // 100, ' ')} hundred".split()
        proper = [r.value for r in readings(said) if r.style in PROPER and r.style != Style.REPAIR]
        # "twenty hundred" is not said; everything else is
        assert (n in proper) == (n % 1000 != 0)


def decimals() -> Iterator[tuple[str, str]]:
    for whole in ("", "0", "7", "12", "40", "105"):
        for places in ("0", "5", "05", "50", "065", "600", "123"):
            yield f"{whole}.{places}", places


@pytest.mark.parametrize(("written", "places"), list(decimals()))
@pytest.mark.parametrize("zero", ["oh", "zero", "nought", "o"])
def test_decimals_keep_every_zero(written: str, places: str, zero: str) -> None:
    whole = written.partition(".")[0]
    said = [in_full(int(whole), " ")] if whole else []
    said += ["point", *(zero if d == "0" else ONES[int(d)] for d in places)]
    (reading,) = readings(" ".join(said).split())
    assert (reading.value, reading.places) == (Fraction("0" + written), len(places))


# Spoken ~ written pairs of github.com/NVIDIA/NeMo-text-processing (Apache-2.0), inverse text
# normalisation, decimals and measures; the numbers alone.
PAIRS = [
    ("five point two million", "5200000"),
    ("one hundred sixty four point five eight thousand", "164580"),
    ("four hundred five billion", "405000000000"),
    ("one point four five three billion", "1453000000"),
    ("two thousand eight hundred five point eight seven three billion", "2805873000000"),
    ("seventy trillion", "70000000000000"),
    ("point one two o five", "0.1205"),
    ("minus sixty point two four zero zero", "-60.2400"),
    ("zero point two six", "0.26"),
    ("point zero two", "0.02"),
    ("eighteen point five o", "18.50"),
    ("eighteen point o five", "18.05"),
    ("eighteen point o o o", "18.000"),
    ("eighteen point three o o", "18.300"),
    ("eight hundred eighteen point three o three", "818.303"),
    ("eight hundred eight point zero", "808.0"),
    ("eight hundred forty five point nine four", "845.94"),
    ("forty two thousand two hundred fifty nine", "42259"),
    ("minus two thousand twelve", "-2012"),
    ("one point o o o o two eight", "1.000028"),
    ("one hundred twenty four point three", "124.3"),
    ("thirty one thousand four hundred eighty", "31480"),
    ("one thousand five hundred thirty one", "1531"),
    ("eight million two hundred thousand", "8200000"),
    ("eighteen thousand eight hundred", "18800"),
]


@pytest.mark.parametrize(("spoken", "written"), PAIRS)
def test_outside_pairs(spoken: str, written: str) -> None:
    found = [r.value for r in readings(spoken.split()) if r.style in PROPER]
    assert found == [Fraction(written)]


def test_every_outside_decimal_when_present() -> None:
    path = need_shared("text/spoken_decimal.txt")
    scales = {"thousand": 10**3, "million": 10**6, "billion": 10**9, "trillion": 10**12}
    for line in path.read_text().splitlines():
        spoken, written = line.split("~")
        number, _, scale = written.partition(" ")
        value = Fraction(number.replace("-.", "-0.")) * scales.get(scale, 1)
        found = [r.value for r in readings(spoken.split()) if r.style in PROPER]
        assert found == [value], line


@given(st.lists(st.sampled_from(sorted(NUMBER_WORDS)), max_size=8))
def test_garbage_is_read_or_refused_but_never_crashes(words: list[str]) -> None:
    found = readings(words)
    keys = [(r.value, r.high, r.qualifier, r.style) for r in found]
    assert len(keys) == len(set(keys))
    for reading in found:
        assert reading.high is None or reading.value <= reading.high


@given(
    st.lists(st.sampled_from(sorted(NUMBER_WORDS)), min_size=1, max_size=5),
    st.integers(0, 5),
    st.sampled_from(["no", "um", "correction", "millimetres", "the", "sixish"]),
)
def test_a_foreign_word_rejects_the_whole_number(words: list[str], at: int, alien: str) -> None:
    assert readings([*words[:at], alien, *words[at:]]) == ()


def test_juxtaposed_numbers_are_never_summed() -> None:
    small = [in_full(n, " ") for n in range(1, 100)]
    for left in small[::3]:
        for right in small[::4]:
            words = f"{left} {right}".split()
            total = sum(small.index(part) + 1 for part in (left, right))
            if " ".join(words) in small:
                continue
            for reading in readings(words):
                assert reading.value != total or reading.style not in PROPER, (left, right)
