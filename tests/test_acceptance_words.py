"""What is said beside a value, why something is not understood, and the lines people see."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import date
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner

from fieldlog import config
from fieldlog.catalogue.component import SOUND, Characteristic, Component
from fieldlog.catalogue.files import rule_names
from fieldlog.catalogue.phrases import expand
from fieldlog.cli.parse import parse
from fieldlog.cli.verdict_lines import limit_text
from fieldlog.doubt.question import waits
from fieldlog.grammar.sample import Sampler
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.limits.assess import assess
from fieldlog.limits.context import SETTINGS, parse_context
from fieldlog.limits.from_finding import Derived, derive
from fieldlog.limits.packs import shipped_limits
from fieldlog.model.state import State
from fieldlog.model.understanding import Decision
from fieldlog.model.verdict import Judgement
from fieldlog.words import tell

TODAY = date(2026, 11, 25)


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


def test_the_first_words_of_a_measurement_are_no_judgement(language: InspectionLanguage) -> None:
    """A listener that loses the end of "chain slack thirty five" must not judge the chain slack."""
    for component in language.catalogue:
        judgements = language.conditions_of(component)
        for one in component.characteristics:
            named = {tuple(p.split()) for text in one.words for p in expand(text)}
            if one.units:
                assert not named & judgements, f"{component.name}, {one.name}"


@pytest.mark.parametrize(
    ("words", "decision", "told"),
    [
        ("chain slack", "refuse", "no value was said for the slack of the drive chain"),
        ("front tyre date code 5324", "ask", "5324 is no week"),  # 2024 had 52 weeks (1.4)
        ("rear tyre date code fifty four twenty", "ask", "5420 is no week"),
        ("insurance expires 05/03/2027", "ask", "2027-03-05 or 2027-05-03"),
        (
            "front rim run out readings zero, point two millimetres",
            "ask",
            "lateral or run-out radial",
        ),
        ("front tyre size 120/70", "refuse", "is no tyre size"),
        ("chain wants a clean", "accept", "understood"),
        ("skip horn", "ask", "with its reason"),
        ("skip horn please", "ask", "with its reason"),
        ("front pads thirty oh millimetres", "refuse", "not a number"),
        ("the front pads look two years old", "refuse", "not understood after the unit"),
        ("scratch that itch please", "refuse", "begins with 'scratch'"),
        ("front tyre not cracked", "ask", "that one fault is not there"),
        ("front tyre on fire", "refuse", "'on fire' after 'front tyre' is no value"),
        ("play in the throttle", "ask", "'play' is not said of the throttle"),
        ("photo of the", "refuse", "'photo of the' alone says nothing"),
        ("oil fifteen quarts low", "ask", "15qt is more than can be low of the engine oil"),
        ("oil two to fifteen quarts low", "ask", "more than can be low"),
        ("coolant ten litres low", "ask", "10L is more than can be low of the coolant"),
        ("coolant six litres low", "accept", "understood"),
        ("oil six quarts low", "accept", "understood"),
        ("two hundred front spokes missing", "ask", "200 is more than can be missing"),
        ("front spokes forty missing", "accept", "understood"),
    ],
)
def test_what_is_not_understood_says_why(
    language: InspectionLanguage, words: str, decision: str, told: str
) -> None:
    understood = language.understand(words)
    assert understood.decision.value == decision, understood
    assert told in understood.reason


@pytest.mark.parametrize(
    ("words", "given"),
    [
        ("headlight aim two inches high at twenty five feet", {"distance": "25ft"}),
        ("belt deflection ten millimetres at ten pounds", {"force": "10lb"}),
        ("chain span over twenty pitches 325 mm", {"pitches": "20"}),
        ("cell three twelve forty at minus ten degrees celsius", {"temperature": "-10degC"}),
        ("rear tyre hot pressure 42 psi at fifty degrees celsius", {"hot_temperature": "50degC"}),
        ("skip horn no key", {"component": "horn", "reason": "no key"}),
        ("skip the front tyre, not fitted", {"reason": "not fitted", "position": "front"}),
    ],
)
def test_what_is_said_beside_a_value_is_kept(
    language: InspectionLanguage, words: str, given: dict[str, str]
) -> None:
    understood = language.understand(words)
    assert understood.decision is Decision.ACCEPT, understood.reason
    assert given.items() <= understood.slots.items()


def test_facts_that_can_be_said_are_settings(language: InspectionLanguage) -> None:
    for component in language.catalogue:
        for given in (component.given, *(one.given for one in component.characteristics)):
            assert {fact.setting for fact in given} <= SETTINGS.keys()


def test_every_fault_that_has_a_noun_is_a_condition_whose_absence_can_be_said(
    language: InspectionLanguage,
) -> None:
    """ "no play in the steering head" asks whether all is sound: that must be a condition too."""
    faults = set(rule_names(config.grammars() / "faults.jsgf"))
    admitted = set()
    for component in language.catalogue:
        owners: list[Component | Characteristic] = [component, *component.characteristics]
        for one in owners:
            has = faults & set(one.conditions)
            admitted |= has
            assert not has or SOUND in one.conditions, f"{component.name}, {one.name}"
    assert admitted == faults


@pytest.mark.parametrize("pattern", ["amounted", "counted", "measured_given", "found_in"])
@pytest.mark.uncounted
def test_what_listeners_may_hear_beside_a_finding_is_understood(
    language: InspectionLanguage, pattern: str
) -> None:
    rules = language.grammar.rules
    made = [name for name in rules if re.fullmatch(rf"catalogue\.{pattern}(_\d+)?", name)]
    sampler = Sampler(rules, made, seed=4)
    for _ in range(60):
        phrase = sampler.next_phrase()
        found = language.understand(phrase)
        assert found.decision is not Decision.REFUSE, f"{phrase}: {found.reason}"
        findings = [found.finding] if found.finding else found.candidates
        if pattern != "found_in":
            assert all(one.given for one in findings), phrase


def test_what_stands_beside_a_condition_is_read_back(language: InspectionLanguage) -> None:
    understood = language.understand("two front spokes missing")
    assert understood.finding is not None
    assert "missing (count 2)" in tell.finding(understood.finding)
    spanned = language.understand("chain span 318 mm over twenty pitches").finding
    assert spanned is not None
    assert "(pitches 20)" in tell.finding(spanned)


@pytest.mark.parametrize(
    ("component", "has", "has_not"),
    [
        ("primary oil", "hot parts", "wheels"),  # no rim in it
        ("brake lamp", "electrics", "brakes"),
        ("brake pads", "brakes", "fuel"),
        ("brake pads", "lifting", "fuel"),
        ("master cylinder", "brakes", "lifting"),
        ("fork seal", "steering and suspension", "brakes"),
        ("rim", "wheels", "tyres"),
        ("spokes", "wheels", "tyres"),
    ],
)
def test_cautions_fit_the_component(
    language: InspectionLanguage, component: str, has: str, has_not: str
) -> None:
    names = {each.name for each in language.catalogue[component].classes}
    assert has in names
    assert has_not not in names


def test_lines_for_people_name_what_a_limit_asks_for(language: InspectionLanguage) -> None:
    printed = {
        "rear tyre bulging": "bulging: beyond; 19VAC30-70-400",
        "rear tyre 30 psi": "between 32.4 and 39.6 psi",
        "cell three eleven forty": "at least 1.150, each, margin -0.01",
    }
    for words, wanted in printed.items():
        finding = language.understand(words).finding
        assert finding is not None
        context = parse_context("US-VA", ["pressure_rear=36psi"])
        gate = assess(finding, shipped_limits(), context, language.catalogue, TODAY).verdict.gate
        assert gate is not None
        assert wanted in limit_text(gate)


@pytest.mark.parametrize("words", ["oil fifteen quarts low", "two hundred front spokes missing"])
def test_an_amount_that_cannot_be_is_settled_by_no_short_word(
    language: InspectionLanguage, words: str
) -> None:
    asked = language.understand(words)
    assert asked.finding is None
    assert len(asked.candidates) == 1
    assert asked.question_text.endswith("Say in full how it is.")
    assert not waits(asked)
    assert language.meaning(words) != language.meaning("coolant ten litres low")


def test_a_margin_has_the_unit_of_the_finding_as_printed() -> None:
    limit = next(limit for limit in shipped_limits() if limit.unit == "V")
    for unit, printed in {
        "N.m": "-1.5 N·m;",
        "deg": "-1.5°;",
        "1": "-1.5;",
        "mm": "-1.5 mm;",
    }.items():
        gate = Judgement(replace(limit, unit=unit), State.BEYOND, margin=Fraction(-3, 2))
        assert f", margin {printed}" in limit_text(gate)


def test_round_values_are_shown_whole(language: InspectionLanguage) -> None:
    """100 % is not shown as 1 %, 50 % not as 5 %, 7620 mm not as 762 mm."""
    verdicts = {
        "battery 12.24 volts": "50 %",
        "battery 12.65 volts": "100 %",
        "headlamp aim four inches low": "/ 7620 mm",
    }
    for words, wanted in verdicts.items():
        finding = language.understand(words).finding
        assert finding is not None
        told = [each.arithmetic for each in derive(finding, parse_context(), TODAY)
                if isinstance(each, Derived)]  # fmt: skip
        assert any(wanted in text for text in told), told


OWN = """
[pack]
id = "mine"
title = "My vehicle"
layer = "maker"
status = "entered by user"
source = "workshop manual, page 2-14"
read_on = "2026-11-25"

[[limit]]
id = "mine.slack"
component = "drive chain"
characteristic = "slack"
relation = "between"
printed = "25 to 35 mm"
advice = "set the chain"
"""


@pytest.mark.parametrize(
    ("words", "state"),
    [
        ("chain slack thirty five millimetres", "within"),
        ("chain slack thirty six millimetres", "beyond"),
        ("chain slack twenty to thirty millimetres", "beyond"),  # the worse end
    ],
)
def test_parse_takes_limits_of_the_vehicles_own(tmp_path: Path, words: str, state: str) -> None:
    pack = tmp_path / "mine.toml"
    pack.write_text(OWN, encoding="utf-8")
    told = CliRunner().invoke(
        parse, [words, "--limits", str(pack), "--set", "uncertainty=0", "--json"]
    )
    assert told.exit_code == 0, told.output
    verdict = json.loads(told.output)["finding"]["verdict"]
    assert verdict["state"] == state
    assert verdict["limit"]["source"] == "workshop manual, page 2-14"
