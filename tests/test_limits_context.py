"""The vocabulary of --jurisdiction and --set."""

from __future__ import annotations

from fractions import Fraction

import pytest

from fieldlog.errors import UsageError
from fieldlog.limits.applies import assumptions, holds
from fieldlog.limits.context import SETTINGS, amount, parse_context, reach, setting_in


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("rim=alloy", ("rim", "alloy")),
        ("rim=aluminium", ("rim", "alloy")),
        ("Rim = Steel", ("rim", "steel")),
        ("vehicle_class=L3e", ("vehicle_class", "motorcycle")),
        ("vehicle-class=L1e", ("vehicle_class", "moped")),
        ("vehicle_class=heavy truck", ("vehicle_class", "truck")),
        ("chain=520", ("chain", "520")),
        ("temperature=-10degC", ("temperature", "-10degC")),
        ("temperature=14 F", ("temperature", "14degF")),
        ("uncertainty=0", ("uncertainty", "0")),
        ("uncertainty=0.1mm", ("uncertainty", "1/10mm")),
        ("brake_fluid=DOT 4", ("brake_fluid", "DOT 4")),
        ("brake_fluid=dot5.1", ("brake_fluid", "DOT 5.1")),
        ("pads=sintered", ("pads", "sintered")),
        ("lining=bonded", ("lining", "bonded")),
        ("engine_cc=600", ("engine_cc", "600")),
        ("date=2026-05-01", ("date", "2026-05-01")),
        ("decision_rule=ILAC", ("decision_rule", "ilac g8")),
        ("decision_rule=iso14253", ("decision_rule", "iso 14253")),
        ("decision_rule=3 sigma", ("decision_rule", "3 sigma")),
        ("lowest_temperature=-20degC", ("lowest_temperature", "-20degC")),
        ("odometer=24000 miles", ("odometer", "24000mi")),
    ],
)
def test_settings_are_kept_in_canonical_spelling(given: str, kept: tuple[str, str]) -> None:
    assert dict(parse_context(None, [given]).settings) == dict([kept])


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ("colour=red", "unknown setting 'colour'"),
        ("rim", "not key=value"),
        ("rim=", "not key=value"),
        ("rim=wood", "none of its values"),
        ("engine_cc=big", "not a number"),
        ("engine_cc=-5", "above 0"),
        ("engine_cc=600mm", "plain number"),
        ("temperature=-10", "temperature with its unit"),
        ("temperature=10mm", "temperature with its unit"),
        ("temperature=10 furlong", "unknown unit"),
        ("uncertainty=-1", "not below 0"),
        ("date=tomorrow", "not a date"),
        ("gvwr=1/0lb", "not a number"),
    ],
)
def test_settings_that_cannot_be_meant_are_refused(given: str, told: str) -> None:
    with pytest.raises(UsageError, match=told):
        parse_context(None, [given])


def test_an_unknown_key_lists_all_keys() -> None:
    with pytest.raises(UsageError) as caught:
        parse_context(None, ["colour=red"])
    assert all(key in str(caught.value) for key in SETTINGS)


def test_a_key_set_twice_must_agree() -> None:
    assert parse_context(None, ["rim=steel", "rim=Steel"]).settings["rim"] == "steel"
    with pytest.raises(UsageError, match="twice"):
        parse_context(None, ["rim=steel", "rim=alloy"])


@pytest.mark.parametrize(
    ("code", "applying"),
    [
        ("US-VA", ("US-VA", "US")),
        ("us-md", ("US-MD", "US")),
        ("US", ("US",)),
        ("GB", ("GB",)),
        ("UK", ("GB",)),
        ("DE", ("DE", "EU")),
        ("FR", ("FR", "EU")),
        (None, ()),
        ("", ()),
    ],
)
def test_jurisdictions_include_the_one_above(code: str | None, applying: tuple[str, ...]) -> None:
    assert reach(parse_context(code).jurisdiction) == applying


@pytest.mark.parametrize("code", ["XX", "US-ZZ", "Virginia", "12"])
def test_unknown_jurisdictions_are_refused(code: str) -> None:
    with pytest.raises(UsageError, match="no limits for jurisdiction"):
        parse_context(code)


def test_settings_from_a_mapping() -> None:
    assert parse_context("GB", {"rim": "Steel"}).settings["rim"] == "steel"


@pytest.mark.parametrize(
    ("wanted", "given", "met"),
    [
        ("steel", "steel", True),
        ("steel|alloy", "alloy", True),
        ("!car", "motorcycle", True),
        ("!car", "car", False),
        (">50", "51", True),
        (">50", "50", False),
        ("<=50", "50", True),
        (">10000lb", "12000lb", True),
        (">10000lb", "5000kg", True),  # 5000 kg = 11023 lb
        (">10000lb", "4500kg", False),  # 4500 kg = 9921 lb
        ("<=3500kg", "1000lb", True),
        ("25ft", "7.62m", True),
        ("25ft", "10m", False),
        (">=2", "2", True),
        ("<2", "2", False),
    ],
)
def test_what_a_row_wants_of_a_setting(wanted: str, given: str, met: bool) -> None:
    assert holds(wanted, given) is met


def test_assumptions_follow_the_class() -> None:
    assert assumptions(parse_context())["vehicle_class"] == "motorcycle"
    assert assumptions(parse_context(None, ["engine_cc=49"]))["vehicle_class"] == "moped"
    assert assumptions(parse_context(None, ["vehicle_class=moped"]))["engine_cc"] == "50"
    assert assumptions(parse_context(None, ["vehicle_class=truck"]))["gvwr"] == "26001lb"


def test_measured_settings_convert_exactly() -> None:
    context = parse_context(None, ["temperature=-10degC"])
    assert setting_in(context, "temperature", "degF") == 14
    assert setting_in(context, "hot_temperature", "degF") is None
    assert amount("1/8in") == (Fraction(1, 8), "in")
