"""Corrections and answers keep what was said: no digit, scale or unit comes from anywhere else."""

from __future__ import annotations

from fractions import Fraction
from itertools import product

import numpy as np
import pytest

from fieldlog.audio.clip import Clip
from fieldlog.doubt.decide import judge_for
from fieldlog.doubt.files import shipped_rules
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.understanding import Decision, Understanding

F = Fraction


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


def value(found: Understanding) -> tuple[Fraction, str] | None:
    """What counts of it: None unless it was accepted with one value."""
    quantity = found.finding.quantity if found.finding is not None else None
    accepted = found.decision is Decision.ACCEPT and quantity is not None
    return (quantity.value, quantity.unit) if accepted and quantity is not None else None


# -- corrections inside an utterance ----------------------------------------------------------------


@pytest.mark.parametrize(
    "words",
    [
        "front pads four millimetres correction three",
        "rear tread two thirty seconds correction three",
        "rear tread five and three thirty seconds correction four",
        "battery twelve point four volts correction thirteen",
        "odometer twelve thousand miles correction thirteen",
    ],
)
def test_a_correction_takes_nothing_from_before_it(
    language: InspectionLanguage, words: str
) -> None:
    found = language.understand(words)
    assert found.decision is Decision.ASK, found.finding


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        ("front pads four millimetres correction three millimetres", (F(3), "mm")),
        ("rear tread two thirty seconds correction three thirty seconds", (F(3, 32), "in")),
        ("battery twelve point four volts correction thirteen volts", (F(13), "V")),
    ],
)
def test_a_correction_said_in_full_counts(
    language: InspectionLanguage, words: str, wanted: tuple[Fraction, str]
) -> None:
    assert value(language.understand(words)) == wanted


# -- answers ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("question", "answer"),
    [("battery 126 volts", "volts"), ("front pads ninety millimetres", "millimetres")],
)
def test_a_unit_alone_confirms_no_value_that_cannot_be(
    language: InspectionLanguage, question: str, answer: str
) -> None:
    asked = language.understand(question)
    assert asked.decision is Decision.ASK
    assert language.answer(asked, answer).decision is not Decision.ACCEPT


@pytest.mark.parametrize(
    ("question", "answer", "wanted"),
    [
        ("front pads two", "thou", (F(2, 1000), "in")),
        ("front pads two", "millimetres", (F(2), "mm")),
        ("front pads two", "two millimetres", (F(2), "mm")),
        ("front tyre thirty six", "psi", (F(36), "psi")),
        # a hydrometer is read in thousandths, in an answer as in a finding
        ("battery cell one twelve", "1200", (F(6, 5), "1")),
    ],
)
def test_an_answer_keeps_scale_and_unit(
    language: InspectionLanguage, question: str, answer: str, wanted: tuple[Fraction, str]
) -> None:
    assert value(language.answer(language.understand(question), answer)) == wanted


QUESTIONS = (
    *("front pads two", "front tyre thirty six", "battery 126 volts", "rear disc four"),
    *(
        "front pads fifty millimetres",
        "front pads three four millimetres",
        "battery twelve thirteen",
    ),
    *("front tyre pressure thirty to forty", "pads two millimetres"),
)
SAID = {
    "two": F(2), "four": F(4), "1200": F(1200), "twelve hundred": F(1200), "thirty": F(30),
    "one point two": F(6, 5), "3.5": F(7, 2), "thirteen": F(13), "one thousand two hundred": F(1200),
}  # fmt: skip
UNITS = {
    "": None, "millimetres": ("mm", F(1)), "volts": ("V", F(1)), "psi": ("psi", F(1)),
    "kilopascals": ("kPa", F(1)), "thou": ("in", F(1, 1000)), "inches": ("in", F(1)),
}  # fmt: skip


@pytest.mark.parametrize("question", QUESTIONS)
def test_a_number_that_answers_is_accepted_only_as_itself(
    language: InspectionLanguage, question: str
) -> None:
    """An answer's number by exact fractions: itself in its unit, or nothing is accepted."""
    asked = language.understand(question)
    assert asked.decision is Decision.ASK
    wrong = []
    for (words, number), (unit, known) in product(SAID.items(), UNITS.items()):
        got = value(language.answer(asked, f"{words} {unit}".strip()))
        fits = got is None or (
            got[0] == number if known is None else got == (number * known[1], known[0])
        )
        if not fits:
            wrong.append(f"{words} {unit}: {got}")
    assert not wrong


# -- sides ----------------------------------------------------------------------------------------------


def heard(language: InspectionLanguage, words: str, besides: str = "") -> Understanding:
    """What clear words come to after doubt; ``besides``: what was heard too, far behind them."""
    evidence = {"bend": 0.0, "margin": 8.0, "logprob": -0.1, "tail": 0.0, "tokens": 5.0}
    far = (Hypothesis(besides, -7.5, evidence),) if besides else ()
    hearing = Hearing("whisper", (Hypothesis(words, 0.0, evidence), *far), 1.0)
    clip = Clip(np.zeros(160, np.float32))
    return judge_for(language, shipped_rules())(language.understand(words), hearing, clip)


@pytest.mark.parametrize(
    ("words", "besides", "sides"),
    [
        ("right side mirror broken", "nearside mirror broken", {"right", "left"}),
        ("left side mirror broken", "offside mirror broken", {"right", "left"}),
        (
            "outside front brake pads two millimetres",
            "offside front brake pads two millimetres",
            {"front outer", "front right"},
        ),
    ],
)
def test_a_side_is_asked_about_where_its_opposite_was_heard_however_far_behind(
    language: InspectionLanguage, words: str, besides: str, sides: set[str]
) -> None:
    found = heard(language, words, besides)
    assert found.decision is Decision.ASK
    assert {one.position for one in found.candidates} == sides


@pytest.mark.parametrize(
    ("words", "side"),
    [
        ("left mirror broken", "left"),
        ("right mirror broken", "right"),
        ("nearside mirror broken", "left"),
        ("offside mirror broken", "right"),
        ("mirror broken on the nearside", "left"),
    ],
)
def test_a_side_that_nothing_else_sounds_like_counts(
    language: InspectionLanguage, words: str, side: str
) -> None:
    found = heard(language, words)
    assert found.finding is not None
    assert (found.decision, found.finding.position) == (Decision.ACCEPT, side)
