"""Every row of every limit pack is reached by something that can be said, in its own context."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date

import pytest

from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.limits.assess import assess
from fieldlog.limits.context import SETTINGS, parse_context
from fieldlog.limits.packs import shipped_limits
from fieldlog.model.context import Context
from fieldlog.model.finding import Finding
from fieldlog.model.limit import Limit, LimitStatus
from fieldlog.model.state import State
from fieldlog.model.understanding import Decision
from tests.utterances import rows

TODAY = date(2026, 11, 25)
DERIVED = {
    ("battery", "state of charge"): ["battery twelve point four volts"],
    ("tyre", "pressure ratio"): ["front tyre 20 psi"],
    ("tyre", "age"): ["rear tyre date code 2501"],
    ("brake shoes", "thickness"): ["rear brake shoes 0 mm"],
    ("tyre", "pressure"): ["front tyre 0 psi", "front tyre 60 psi"],
    ("tyre", "hot pressure"): ["front tyre hot pressure 0 psi", "front tyre hot pressure 70 psi"],
    ("tyre", "clearance"): ["front tyre clearance 0 mm"],
    ("drive belt", "deflection"): ["belt deflection 0 mm", "belt deflection 40 mm"],
    ("brake disc", "thickness"): ["front disc 2 mm"],
    ("brake lever", "free play"): ["brake lever free play 50 mm"],
    ("brake pedal", "free play"): ["brake pedal free play 50 mm"],
    ("brake cable", "free play"): ["front brake cable free play 0 mm"],
    ("clutch cable", "free play"): ["clutch cable free play 0 mm"],
    ("idle", "engine speed"): ["idle 3000 rpm"],
    ("engine oil", "temperature"): ["engine oil temperature 160 degrees celsius"],
    ("coolant", "temperature"): ["coolant temperature 125 degrees celsius"],
    ("battery terminal", "torque"): ["positive battery terminal torque 0 newton metres"],
}
"""What is computed is reached by what it is computed from; what says nothing inside, by what is out."""


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


def phrases(limit: Limit) -> Iterator[str]:
    yield from DERIVED.get((limit.component, limit.characteristic), ())
    for row in rows():
        about = (
            row.get("c") == limit.component and row.get("k", "condition") == limit.characteristic
        )
        if about and row.get("d", "accept") == "accept":
            yield str(row["w"])


def context_of(limit: Limit) -> Context:
    """A context in which the row applies, taken from its own ``applies``."""
    settings = {"pressure_front": "36psi"}
    for key, wanted in limit.applies.items():
        if key in ("jurisdiction", "position"):
            continue
        setting = SETTINGS[key]
        first = wanted.split("|")[0]
        if first.startswith("!"):
            first = next(c for c in setting.choices if c not in wanted.removeprefix("!").split("|"))
        above = re.fullmatch(r"(>=?|<=?)(\d+)(\D*)", first)
        if above:
            step = {">": 1, ">=": 0, "<": -1, "<=": 0}[above[1]]
            first = f"{int(above[2]) + step}{above[3]}"
        settings[key] = first
    where = limit.applies.get("jurisdiction", "").split("|")[0] or None
    return parse_context(where, [f"{key}={value}" for key, value in settings.items()])


def reached(language: InspectionLanguage, limit: Limit) -> bool:
    context = context_of(limit)
    for words in phrases(limit):
        understood = language.understand(words)
        finding = understood.finding
        if understood.decision is not Decision.ACCEPT or finding is None:
            continue
        if limit.words and not _names(finding, limit):
            continue
        assessment = assess(finding, shipped_limits(), context, language.catalogue, TODAY)
        verdicts = [assessment.verdict, *(verdict for _, verdict in assessment.derived)]
        found = [v.gate for v in verdicts if v.gate] + [o for v in verdicts for o in v.others]
        if any(each.limit.id == limit.id for each in found):
            return True
    return False


def _names(finding: Finding, limit: Limit) -> bool:
    return (finding.condition or finding.code) in limit.words


@pytest.mark.parametrize("limit", shipped_limits(), ids=lambda limit: limit.id)
def test_every_limit_is_reached_by_words(language: InspectionLanguage, limit: Limit) -> None:
    assert reached(language, limit), f"nothing that can be said reaches {limit.id}"


@pytest.mark.parametrize(
    ("words", "where", "settings", "state"),
    [
        # common practice and handbook figures of the trade, on and outside: at most faulty
        ("battery twelve point six volts", None, "battery=agm", "within"),
        ("battery 12.59 volts", None, "battery=agm", "faulty"),
        ("vent hose length one inch", None, "", "within"),
        ("vent hose two and a half inches below the frame", None, "", "faulty"),
        ("charging voltage 14.8 volts", None, "", "within"),
        ("charging voltage 14.9 volts", None, "", "faulty"),
        ("cranking voltage 9.6 volts", None, "", "within"),
        ("cranking voltage 9.5 volts", None, "", "faulty"),
        ("front brake fluid age two years", None, "", "within"),
        ("front brake fluid age three years", None, "", "faulty"),
        ("front brake fluid water content 2.9 percent", None, "", "within"),
        ("front brake fluid moisture 3 %", None, "", "faulty"),
        ("front disc run out 0.3 mm", None, "", "within"),
        ("front disc run out 0.31 mm", None, "", "faulty"),
        ("throttle free play six millimetres", None, "", "within"),
        ("throttle free play one millimetre", None, "", "faulty"),
        ("clutch lever free play twenty millimetres", None, "", "within"),
        ("clutch lever free play nine millimetres", None, "", "faulty"),
        ("front left indicator rate 120 per minute", None, "", "within"),
        ("front left indicator rate 121 per minute", None, "", "faulty"),
        # standards 1.1: COMAR 11.14.05.05 (three places), 11.22.04.06 and Utah (two grooves x 3)
        # rejected when worn at all of them; one reading decides nothing
        ("rear tread readings 1.5 mm, 1.5 mm, 1.58 mm", "US-MD", "vehicle_class=car", "beyond"),
        ("rear tread readings 1.5 mm, 1.5 mm, 1.59 mm", "US-MD", "vehicle_class=car", "within"),
        ("rear tread 1.5 mm", "US-MD", "vehicle_class=trailer", "undecided"),
        ("rear tread 1.5 mm", "US-UT", "vehicle_class=car", "undecided"),
        (
            "rear tread readings 1 mm, 1 mm, 1 mm, 1 mm, 1 mm, 1 mm",
            "US-UT",
            "vehicle_class=car",
            "beyond",
        ),
        # standards 2.2: 49 CFR 393.47(d) air disc 1/8, hydraulic 1/16, other air drum 1/4 in
        ("front pads 3.17 mm", "US", "vehicle_class=truck,brakes=air disc", "beyond"),
        ("front pads 3.18 mm", "US", "vehicle_class=truck,brakes=air disc", "within"),
        ("front pads 1.58 mm", "US", "vehicle_class=truck,brakes=hydraulic disc", "beyond"),
        ("front pads 1.59 mm", "US", "vehicle_class=truck,brakes=hydraulic disc", "within"),
        ("rear shoes 6.3 mm", "US", "vehicle_class=truck,brakes=air drum", "beyond"),
        ("rear shoes 6.35 mm", "US", "vehicle_class=truck,brakes=air drum", "within"),
    ],
)
def test_the_rest_of_the_figures(
    language: InspectionLanguage, words: str, where: str | None, settings: str, state: str
) -> None:
    understood = language.understand(words)
    assert understood.finding is not None
    assert understood.decision is Decision.ACCEPT, understood.reason
    context = parse_context(where, [*filter(None, settings.split(",")), "uncertainty=0"])
    found = assess(understood.finding, shipped_limits(), context, language.catalogue, TODAY)
    assert found.verdict.state.value == state, found.verdict.reason
    gate = found.verdict.gate
    if gate is not None and gate.limit.status is LimitStatus.COMMON:
        assert found.verdict.state is not State.BEYOND
