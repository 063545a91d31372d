"""Numbers that sound alike (grades: test_meaning_codes)."""

from __future__ import annotations

from fractions import Fraction

import pytest

from fieldlog.quantities.spell import spell_integer
from fieldlog.quantities.twins import TwinKind, twins


def said(words: str, *kinds: TwinKind) -> list[tuple[str, Fraction]]:
    return [
        (" ".join(twin.words), twin.reading.value)
        for twin in twins(words.split(), kinds or (TwinKind.TEEN_TY,))
    ]


@pytest.mark.parametrize("n", range(3, 10))
def test_every_teen_and_ten_are_twins(n: int) -> None:
    teen, ty = spell_integer(10 + n), spell_integer(10 * n)
    assert said(" ".join(teen)) == [(" ".join(ty), 10 * n)]
    assert said(" ".join(ty)) == [(" ".join(teen), 10 + n)]


@pytest.mark.parametrize(
    ("words", "twin", "value"),
    [
        ("fifteen point four", "fifty point four", "50.4"),
        ("seventy point four", "seventeen point four", "17.4"),
        ("a hundred and thirteen", "a hundred and thirty", "130"),
        ("one hundred fifteen", "one hundred fifty", "150"),
        ("thirteen thirty seconds", "thirty thirty seconds", "30/32"),
        ("fifteen and a half", "fifty and a half", "50.5"),
        ("about thirteen", "about thirty", "30"),
        ("twelve point fifteen", "twelve point fifty", "12.5"),
    ],
)
def test_twins_in_compounds(words: str, twin: str, value: str) -> None:
    assert (twin, Fraction(value)) in said(words)


@pytest.mark.parametrize("words", ["thirty five", "twelve", "four", "two point six", "no number"])
def test_no_twin(words: str) -> None:
    assert said(words) == []


def test_both_ends_of_a_range_have_twins() -> None:
    found = {words for words, _ in said("thirteen to fifteen")}
    assert found == {"thirty to fifteen", "thirteen to fifty", "thirty to fifty"}


@pytest.mark.parametrize(
    ("words", "kind", "twin", "value"),
    [
        ("nine thirty seconds", TwinKind.FRACTION_LOST, "nine", 9),
        ("three sixteenths", TwinKind.FRACTION_LOST, "three", 3),
        ("point nine", TwinKind.NINE_FIVE, "point five", Fraction(1, 2)),
        ("point five", TwinKind.NINE_FIVE, "point nine", Fraction(9, 10)),
        ("five point one", TwinKind.POINT_LOST, "five", 5),
    ],
)
def test_other_kinds_when_asked_for(words: str, kind: TwinKind, twin: str, value: Fraction) -> None:
    assert said(words, kind) == [(twin, value)]
    assert twin in [words for words, _ in said(words, *TwinKind)]
