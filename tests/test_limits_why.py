"""The explanation of a verdict: arithmetic, sources, and why each row did or did not gate."""

from __future__ import annotations

from fractions import Fraction

import pytest

from fieldlog.limits.check import check
from fieldlog.limits.context import parse_context
from fieldlog.limits.packs import shipped_limits
from fieldlog.limits.why import considered, explain
from fieldlog.model.finding import Finding, Quantity
from fieldlog.words import tell


def explained(finding: Finding, jurisdiction: str | None, *settings: str) -> str:
    context = parse_context(jurisdiction, settings)
    default = Quantity(Fraction(1, 5), "mm")
    verdict = check(finding, shipped_limits(), context, default_uncertainty=default)
    return "\n".join(explain(finding, verdict, context, shipped_limits(), default))


def tread(value: str, unit: str, position: str = "rear") -> Finding:
    return Finding("tyre", position, "tread depth", Quantity(Fraction(value), unit))


def test_the_arithmetic_of_a_reading_in_another_unit() -> None:
    text = explained(tread("1.7", "mm"), "US-VA")
    assert "1.7 mm = 17/254 (about 0.06693) in, exactly" in text
    assert "17/254 (about 0.06693) - 2/32 = +0.004429 in, inside" in text
    assert "U = 0.2 mm (k = 2), usual for this characteristic = 0.007874 in" in text
    assert "w = 1 x U = 0.007874 in" in text
    assert "86.97 %" in text
    assert "inside by less than the guard band" in text


def test_what_is_set_by_hand_has_no_guard_band_and_none_is_told() -> None:
    """ "w = 1 x U = 0 mm" was told beside "U = 0.5 mm"."""
    text = explained(
        Finding("throttle cable", None, "free play", Quantity(Fraction(2), "mm")), "GB"
    )
    assert "2 - 2 = 0 mm, on the limit" in text
    assert "guard band  none: what is set by hand" in text
    assert "w = " not in text.split("does not apply here")[0]


def test_every_row_says_why_it_does_not_gate() -> None:
    text = explained(tread("1/8", "in"), "US-VA")
    assert "[us-va.tread]" in text
    assert "common practice stands behind" in text
    assert "from memory: nobody here has read the original" in text
    assert "us-va.tread is at least as strict" in text
    assert "de.tread: at least 1.6 mm, thinnest; holds in DE, not US-VA" in text
    assert "for vehicle_class truck|bus, not motorcycle, assumed" in text


def test_source_edition_and_date_are_shown() -> None:
    text = explained(tread("1/8", "in"), "US-VA")
    assert "19VAC30-70-400" in text
    assert "revised August 1, 2012" in text
    assert "secondary copy read 2026-11-29" in text
    assert "less than 2/32 of an inch when measured in accordance" in text


def test_what_is_missing_is_said() -> None:
    rim = Finding("rim", "rear", "run-out lateral", Quantity(Fraction(3), "mm"))
    text = explained(rim, "GB", "uncertainty=0")
    assert "set rim=steel|alloy" in text
    assert "it depends on what is not set yet" in text


def test_upper_and_two_sided_limits() -> None:
    rim = Finding("rim", "rear", "run-out lateral", Quantity(Fraction(1), "mm"))
    assert "2 - 1 = +1 mm, inside" in explained(rim, "GB", "rim=alloy")
    vent = Finding("vent hose", None, "length below frame", Quantity(Fraction(3), "in"))
    assert "2 - 3 = -1 in, outside" in explained(vent, None)


def test_positions_and_engine_size_explain_themselves() -> None:
    context = parse_context("US", ["vehicle_class=truck"])
    found = {c.limit.id: c.why_not for c in considered(tread("1", "mm"), shipped_limits(), context)}
    assert found["cfr393.75b"] == "for position front, not rear"
    moped = parse_context("GB", ["engine_cc=49"])
    found = {c.limit.id: c.why_not for c in considered(tread("1", "mm"), shipped_limits(), moped)}
    assert found["gb.tread"] == "for engine_cc >50, not 49"


def test_conditions_and_ranges_and_series_are_explained() -> None:
    spokes = Finding("spokes", "rear", None, condition="loose", words="rear spokes loose")
    text = explained(spokes, "US-VA")
    assert "BEYOND, dangerous" in text
    assert "loose" in text
    half = Quantity(Fraction(3), "mm", high=Fraction(4))
    assert "3 to 4 mm" in explained(Finding("tyre", "rear", "tread depth", half), "DE")
    dial = tuple(Quantity(Fraction(v), "mm") for v in ("0", "0.5", "-0.4"))
    series = Finding("rim", "rear", "run-out lateral", dial[0], readings=dial)
    text = explained(series, "GB", "rim=alloy")
    assert "0.9 mm from 0 mm, 0.5 mm, -0.4 mm" in text


def test_it_never_says_safe() -> None:
    for where in (None, "US-VA", "DE"):
        assert "safe" not in explained(tread("1", "mm"), where).lower().replace("safety", "")


@pytest.mark.parametrize(
    ("value", "text"),
    [("1/8", "0.125"), ("1.59", "1.59"), ("17/254", "17/254 (about 0.06693)"), ("3", "3")],
)
def test_figures_are_exact(value: str, text: str) -> None:
    assert tell.figure(Fraction(value)) == text


def test_measures_and_probabilities() -> None:
    assert tell.exactly(Fraction(1, 8), "in") == "1/8 in"
    assert tell.exactly(Fraction("1.265"), "1") == "1.265"
    assert tell.rounded(Fraction(1, 3), "mm", signed=True, digits=4, marked=False) == "+0.3333 mm"
    assert tell.probability(0.841345) == "84.13 %"
    assert tell.probability(0.99999999) == "> 99.99 %"
    assert tell.probability(1.0) == "100 %"
    assert tell.probability(1e-9) == "< 0.01 %"
