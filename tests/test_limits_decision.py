"""Decision rules against ILAC-G8:09/2019, JCGM 106:2012 and published risk tables."""

from __future__ import annotations

from fractions import Fraction
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldlog.limits.decision import (
    RULES,
    Tolerance,
    conformance_probability,
    conformity,
    guard_band,
)
from fieldlog.model.state import State


def f(text: str) -> Fraction:
    return Fraction(text)


# Own domain cases, u = U/2 (computed from the definitions).
CASES = [
    (Tolerance(low=f("1.6")), "0.2", "1.9", State.WITHIN, 0.998650),
    (Tolerance(low=f("1.6")), "0.2", "1.7", State.MARGINAL, 0.841345),
    (Tolerance(low=f("1.6")), "0.2", "1.6", State.MARGINAL, 0.5),
    (Tolerance(low=f("1.6")), "0.2", "1.5", State.UNDECIDED, 0.158655),
    (Tolerance(low=f("1.6")), "0.2", "1.3", State.BEYOND, 0.001350),
    (Tolerance(high=f("2.0")), "0.3", "1.6", State.WITHIN, 0.996170),
    (Tolerance(high=f("2.0")), "0.3", "1.85", State.MARGINAL, 0.841345),
    (Tolerance(high=f("2.0")), "0.3", "2.1", State.UNDECIDED, 0.252493),
]


@pytest.mark.parametrize(("allowed", "expanded", "x", "state", "probability"), CASES)
def test_pass_conditional_pass_conditional_fail_fail(
    allowed: Tolerance, expanded: str, x: str, state: State, probability: float
) -> None:
    w = guard_band(f(expanded), "ilac g8")
    assert conformity(f(x), allowed, w) is state
    found = conformance_probability(float(f(x)), float(f(expanded)) / 2, allowed)
    assert found == pytest.approx(probability, abs=1e-6)


def test_a_thirty_second_against_one_millimetre() -> None:
    # 1/32 in = 0.79375 mm exactly; reading 1.0 mm, U 0.2 mm.
    allowed = Tolerance(low=Fraction(1, 32) * Fraction(254, 10))
    assert conformance_probability(1.0, 0.1, allowed) == pytest.approx(0.980420, abs=1e-6)


@pytest.mark.parametrize(
    ("x", "u", "allowed", "probability"),
    [
        # JCGM 106:2012 worked examples; inputs recalled, results computed from the definitions.
        (-5.47, 0.05, Tolerance(high=f("-5.40")), 0.919243),
        (509.7, 8.6, Tolerance(low=f("490")), 0.989010),
        (13.6, 1.8, Tolerance(low=f("12.5"), high=f("16.3")), 0.662630),
    ],
)
def test_conformance_probability_examples(
    x: float, u: float, allowed: Tolerance, probability: float
) -> None:
    assert conformance_probability(x, u, allowed) == pytest.approx(probability, abs=1e-6)


@pytest.mark.parametrize(
    ("rule", "published_below", "exact"),
    [
        # ILAC-G8:09/2019 table (rounded upper bounds) and the exact values for k = 2.
        ("simple", 0.5, 0.5),
        ("iso 14253", 0.05, 0.0485),
        ("ilac g8", 0.025, 0.02275),
        ("3 sigma", 0.0016, 0.00135),
        ("6 sigma", 1e-6, 9.9e-10),
    ],
)
def test_specific_false_accept_risk_of_each_rule(
    rule: str, published_below: float, exact: float
) -> None:
    risk = NormalDist().cdf(-2 * float(RULES[rule]))  # accepted at the acceptance limit, U = 2 u
    assert risk <= published_below
    assert risk == pytest.approx(exact, rel=5e-3)


def test_the_published_reading_of_a_calibration() -> None:
    # MPE 0.003 mm, U 0.001: acceptance limit 0.002; 0.0017 passes, 0.0025 conditionally.
    allowed = Tolerance(high=f("0.003"))
    w = guard_band(f("0.001"))
    assert allowed.high is not None
    assert allowed.high - w == f("0.002")
    assert conformity(f("0.0017"), allowed, w) is State.WITHIN
    assert conformity(f("0.0025"), allowed, w) is State.MARGINAL


def test_equal_passes_and_open_ends_do_not() -> None:
    zero = Fraction(0)
    assert conformity(f("1.6"), Tolerance(low=f("1.6")), zero) is State.WITHIN
    assert conformity(f("1.6"), Tolerance(low=f("1.6"), open_low=True), zero) is State.BEYOND
    assert conformity(f("3"), Tolerance(high=f("3")), zero) is State.WITHIN
    assert conformity(f("3"), Tolerance(high=f("3"), open_high=True), zero) is State.BEYOND


fractions = st.fractions(min_value=-50, max_value=50, max_denominator=64)
widths = st.fractions(min_value=0, max_value=5, max_denominator=64)


@given(x=fractions, low=fractions, w=widths)
def test_a_wider_guard_band_only_moves_verdicts_towards_the_middle(
    x: Fraction, low: Fraction, w: Fraction
) -> None:
    allowed = Tolerance(low=low)
    plain, guarded = conformity(x, allowed, Fraction(0)), conformity(x, allowed, w)
    if plain is State.WITHIN:
        assert guarded in (State.WITHIN, State.MARGINAL)
    else:
        assert guarded in (State.BEYOND, State.UNDECIDED)


@given(x=fractions, low=fractions, u=st.floats(min_value=0.01, max_value=5))
def test_the_two_one_sided_probabilities_add_to_one(x: Fraction, low: Fraction, u: float) -> None:
    above = conformance_probability(float(x), u, Tolerance(low=low))
    below = conformance_probability(float(x), u, Tolerance(high=low))
    assert above + below == pytest.approx(1, abs=1e-12)


def test_published_risks() -> None:
    # Published in the suncal tests: limits 9..11: N(10, 0.4), N(10.5, 0.4).
    allowed = Tolerance(low=f("9"), high=f("11"))
    assert 1 - conformance_probability(10, 0.4, allowed) == pytest.approx(0.01242, abs=5e-6)
    assert 1 - conformance_probability(10.5, 0.4, allowed) == pytest.approx(0.10574, abs=5e-5)
