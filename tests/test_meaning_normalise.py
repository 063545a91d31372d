"""Typed text -> words: the table, symbols of every unit, and nothing lost."""

from __future__ import annotations

import tomllib
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldlog.quantities.normalise import normalise
from fieldlog.quantities.numbers import readings
from fieldlog.quantities.quantity import quantities
from fieldlog.quantities.units import UNITS

TABLE = tomllib.loads((Path(__file__).parent / "data" / "normalise.toml").read_text())
ROWS = [(text, words) for section in TABLE.values() for text, words in section.items()]


@pytest.mark.parametrize(("text", "words"), ROWS, ids=[text for text, _ in ROWS])
def test_table(text: str, words: str) -> None:
    normal = normalise(text)
    assert normal.text == words
    assert normal.original == text


# A typed "a" after a number is amps (years are spelled out), and 2.51/min is no 2.5 1/min.
TYPED = [(symbol, " ") for symbol in sorted(set(UNITS) - {"1", "a"})]
TYPED += [(symbol, "") for symbol, _ in TYPED if symbol not in ("1/min", "turn", "link")]


@pytest.mark.parametrize(("symbol", "gap"), TYPED)
def test_every_unit_symbol_typed_after_a_number(symbol: str, gap: str) -> None:
    words = normalise(f"2.5{gap}{symbol}").words
    found = quantities(words, [symbol]).quantities
    assert [(q.value, q.unit) for q in found] == [(Fraction(5, 2), symbol)], words


@given(st.decimals(0, 999_999, places=3, allow_nan=False))
def test_every_decimal_keeps_value_and_places(value: object) -> None:
    found = readings(normalise(str(value)).words)
    assert [(r.value, r.places) for r in found] == [(Fraction(str(value)), 3)]


@given(st.text(max_size=40))
def test_any_text_gives_lower_case_words(text: str) -> None:
    normal = normalise(text)
    assert normal.original == text
    assert all(word and not any(c.isspace() for c in word) for word in normal.words)


@given(st.lists(st.sampled_from(["front", "pads", "two", "and", "a", "half", "to"]), max_size=9))
def test_words_stay_as_they_are(words: list[str]) -> None:
    assert list(normalise(" ".join(words)).words) == words
