"""Two numbers in a row are asked about even when only one of them is plausible."""

from __future__ import annotations

from fractions import Fraction

import pytest

from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.understanding import Decision


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


@pytest.mark.parametrize(
    ("text", "flag"),
    [
        ("front pads two nineteen millimetres", "two numbers"),
        ("front pads two three eighths inches", "two numbers"),
        ("front pads five to three millimetres", "reversed"),
        ("front pads two to two millimetres", "equal ends"),
        ("battery twelve thirteen volts", "two numbers"),
    ],
)
def test_a_slip_is_asked_about(language: InspectionLanguage, text: str, flag: str) -> None:
    understanding = language.understand(text)
    assert understanding.decision is Decision.ASK
    assert flag in understanding.flags
    assert understanding.candidates


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("battery twelve six volts", "12.6"),
        ("front pads two point five millimetres", "2.5"),
        ("rear tyre pressure thirty six p s i", "36"),
    ],
)
def test_what_is_said_in_full_is_accepted(
    language: InspectionLanguage, text: str, value: str
) -> None:
    understanding = language.understand(text)
    assert understanding.decision is Decision.ACCEPT
    assert understanding.finding is not None
    assert understanding.finding.quantity is not None
    assert understanding.finding.quantity.value == Fraction(value)


def test_only_numbers_said_in_full_are_twins(language: InspectionLanguage) -> None:
    # "thirteen six" is no number that "thirty six" could be taken for
    assert language.understand("rear tyre pressure thirty six p s i").flags == ()
    assert "teen/ty twin" in language.understand("rear tyre pressure fifteen p s i").flags


@pytest.mark.parametrize("words", ["horn works", "clutch lever works", "side stand switch working"])
def test_what_has_a_function_works(language: InspectionLanguage, words: str) -> None:
    found = language.understand(words).finding
    assert found is not None
    assert found.condition == "sound"


@pytest.mark.parametrize(
    "words", ["front rim works", "the handlebars work", "left fork gaiter works"]
)
def test_what_has_none_does_not_work(language: InspectionLanguage, words: str) -> None:
    """ "front rim looks", cut short, was taken for a rim that is in order."""
    assert language.understand(words).decision is Decision.REFUSE
