"""Values said and typed in every style: what is accepted is what was said, never another value.

A sample of the campaign ``python -m tests.values_said 200000 20000``, which is run when the grammar of
numbers changes.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from tests.honest_values import honest
from tests.values_said import (
    SLOW_MS,
    Outcome,
    sample_phrases,
    say_answers,
    say_phrases,
)

LEAST_ACCEPTED = 0.5
"""Share; a reader that asks about everything is no reader."""


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


def held(outcome: Outcome) -> None:
    assert not outcome.wrong, "\n".join(outcome.wrong)
    assert not outcome.failed, "\n".join(outcome.failed)
    assert outcome.counts["accept"] > LEAST_ACCEPTED * sum(outcome.counts.values()), str(outcome)


def test_a_value_that_is_accepted_is_the_one_that_was_said(language: InspectionLanguage) -> None:
    outcome = say_phrases(language, 1200, seed=71)
    held(outcome)
    assert outcome.counts["refuse"] < 0.01 * sum(outcome.counts.values()), outcome.refused


def test_a_value_that_listeners_are_offered_reads_as_it_is_said(
    language: InspectionLanguage,
) -> None:
    held(sample_phrases(language, 800, seed=72))


def test_an_answer_that_is_accepted_is_what_it_says(language: InspectionLanguage) -> None:
    held(say_answers(language, 800, seed=73))


@pytest.mark.parametrize(
    ("words", "values"),
    [
        ("twelve thousand and three hundred", {Fraction(12_300)}),
        ("one twenty five", {Fraction(125)}),
        ("five and a half thirty seconds", {Fraction(11, 64)}),
        ("two point oh five", {Fraction(41, 20)}),
        ("three no four", set()),
        ("twenty thirty", {Fraction(2030), Fraction(203, 10), Fraction(203, 100)}),
    ],
)
def test_the_reader_of_this_test_reads(words: str, values: set[Fraction]) -> None:
    assert {low for low, high in honest(words.split()) if high is None} >= values
    assert bool(values) == bool(honest(words.split()))


def test_a_heap_of_numbers_is_refused_soon(language: InspectionLanguage) -> None:
    outcome = Outcome()
    text = "battery charging current 38.735–50.735 A no i meant two one amps"
    language.understand("frnot pads")  # a first refusal builds the automaton, once
    outcome.take(text, "heap", None, lambda: language.understand(text))
    assert outcome.counts["accept"] == 0
    assert not outcome.slow or outcome.slowest_ms < 10 * SLOW_MS  # nine seconds, once
