"""Cautions and deference: over the whole catalogue, and in each place where they are shown."""

from __future__ import annotations

from datetime import date

import pytest

from fieldlog import config
from fieldlog.catalogue.cautions import with_cautions
from fieldlog.catalogue.component import Catalogue, Component
from fieldlog.catalogue.files import load_catalogue
from fieldlog.errors import GrammarError
from fieldlog.limits.assess import assess
from fieldlog.limits.cautions import DEFERS, at_start, cautions_for
from fieldlog.limits.packs import shipped_limits
from fieldlog.model.context import Context
from fieldlog.model.finding import Finding
from fieldlog.model.state import Severity, State

CATALOGUE = load_catalogue(config.grammars())
TODAY = date(2026, 3, 14)

CLASSES = {
    "lifting": "tyre",
    "brakes": "brake pads",
    "brake fluid and dust": "brake fluid",
    "tyres": "tyre",
    "wheels": "spokes",
    "steering and suspension": "steering head bearing",
    "frame and fittings": "foot peg",
    "fasteners": "axle nut",
    "controls": "throttle",
    "stands": "side stand",
    "chain and belt": "drive chain",
    "moving parts": "brake disc",
    "fuel": "fuel line",
    "battery": "battery",
    "battery in short": "battery",
    "electrics": "brake lamp",
    "hot parts": "exhaust",
    "leaks": "fork seal",
    "exhaust gas": "exhaust",
}
"""Each class of cautions with a component that must have it."""
LIFTED = (
    "tyre", "rim", "spokes", "wheel bearing", "axle", "hub", "wheel", "brake pads", "brake disc",
    "brake shoes", "brake drum", "steering head bearing", "fork", "swing arm", "drive chain",
    "sprocket", "axle nut", "centre stand", "valve stem",
)  # fmt: skip
"""What is looked at or worked on with a wheel off the ground."""


def can_be_dangerous(component: Component) -> bool:
    """By a condition of the catalogue or by a row of a pack."""
    if any(severity is Severity.DANGEROUS for *_, severity in component.judged()):
        return True
    return any(
        row.component == component.name and row.severity is Severity.DANGEROUS
        for row in shipped_limits()
    )


def dangerous() -> list[Component]:
    return [each for each in CATALOGUE if can_be_dangerous(each)]


class TestTheCatalogue:
    def test_what_can_be_dangerous_has_a_caution(self) -> None:
        assert len(dangerous()) > 70
        assert [each.name for each in dangerous() if not each.warned] == []

    def test_every_class_is_there_and_of_what_it_is_about(self) -> None:
        known = {each.name for one in CATALOGUE for each in one.classes}
        assert known == CLASSES.keys()
        for name, component in CLASSES.items():
            classes = {each.name: each for each in CATALOGUE[component].classes}
            assert all(len(text) > 30 for text in classes[name].says), name

    def test_before_a_wheel_leaves_the_ground(self) -> None:
        for name in LIFTED:
            assert any("leaves the ground" in text for text in CATALOGUE[name].warned), name

    @pytest.mark.parametrize(
        ("component", "words"),
        [
            ("battery", "acid burns"),
            ("battery", "hydrogen"),
            ("brake pads", "dust"),
            ("brake fluid", "harms eyes"),
            ("fuel tank", "ignites"),
            ("coolant", "burn long after"),
            ("drive chain", "Fingers"),
            ("radiator", "fan may start"),
        ],
    )
    def test_what_hurts_is_named(self, component: str, words: str) -> None:
        assert any(words in text for text in CATALOGUE[component].warned)

    def test_a_class_of_nothing_or_of_nobody_is_a_fault(self) -> None:
        faults: list[str] = []
        text = (
            '[[caution]]\nname = "empty"\nsays = []\n'
            '[[caution]]\nname = "odd"\nsystems = ["wings"]\ncomponents = ["rotor"]\nsays = ["x"]\n'
            "wrong = 1\n"
        )
        with_cautions(Catalogue(CATALOGUE.components), text, faults)
        assert len(faults) == 4
        assert with_cautions(CATALOGUE, "[[", faults) is CATALOGUE

    def test_a_folder_with_a_faulty_class_is_refused(
        self, tmp_path_factory: pytest.TempPathFactory
    ) -> None:
        import shutil

        folder = tmp_path_factory.mktemp("g") / "grammars"
        shutil.copytree(config.grammars(), folder)
        (folder / "cautions.toml").write_text('[[caution]]\nname = "empty"\n', "utf-8")
        with pytest.raises(GrammarError, match="empty: a name and what it says"):
            load_catalogue(folder)


class TestVerdicts:
    @pytest.mark.uncounted
    def test_every_verdict_that_is_not_within_defers(self) -> None:
        count = 0
        for component in CATALOGUE:
            place = "front" if any(axis.required for axis in component.axes) else None
            for characteristic, condition, _ in component.judged():
                found = Finding(component.name, place, characteristic, condition=condition)
                for where in (None, "US-VA", "GB", "DE"):
                    verdict = assess(
                        found, shipped_limits(), Context(where), CATALOGUE, TODAY
                    ).verdict
                    if verdict.state is State.WITHIN:
                        assert verdict.cautions == ()
                    else:
                        count += 1
                        assert verdict.cautions == (*component.warned, DEFERS)
        assert count > 1000

    def test_a_reading_without_a_limit_and_a_fault_of_the_context_defer_too(self) -> None:
        found = Finding("number plate", None, "condition", condition="missing")
        assert assess(found, (), Context(), CATALOGUE, TODAY).verdict.cautions[-1] == DEFERS
        unread = Finding("tyre", "rear", "pressure")
        assert assess(unread, (), Context(), CATALOGUE, TODAY).verdict.cautions[-1] == DEFERS

    def test_lists_for_work_and_for_the_start(self) -> None:
        said = cautions_for(["brake pads", "tyre", "brake pads"], CATALOGUE)
        assert said[-1] == DEFERS
        assert len(said) == len(set(said))
        assert {*CATALOGUE["tyre"].warned, *CATALOGUE["brake pads"].warned, DEFERS} == set(said)
        assert cautions_for([], CATALOGUE) == ()
        start = " ".join(at_start(CATALOGUE))
        for words in ("leaves the ground", "Petrol", "Battery", "turns", "burn", "Exhaust gas"):
            assert words in start
        assert start.endswith(DEFERS)
