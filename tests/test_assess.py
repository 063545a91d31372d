"""The verdict on a finding with everything that is derived from it, said as a mechanic says it."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

import pytest

from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.limits.assess import Assessment, again, assess, in_a_row
from fieldlog.limits.context import parse_context
from fieldlog.limits.packs import shipped_limits
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.state import Severity, State

F = Fraction
TODAY = date(2026, 11, 25)


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


def said(
    language: InspectionLanguage,
    words: str,
    *settings: str,
    jurisdiction: str | None = None,
    beside: tuple[Finding, ...] = (),
) -> Assessment:
    understood = language.understand(words)
    assert understood.finding is not None, f"{words}: {understood.reason}"
    context = parse_context(jurisdiction, settings)
    return assess(understood.finding, shipped_limits(), context, language.catalogue, TODAY, beside)


def cell(number: int, gravity: str) -> Finding:
    return Finding("battery", f"cell {number}", "specific gravity", Quantity(F(gravity), "1"))


class TestFrozenBattery:
    """A discharged battery freezes early; a frozen one is replaced."""

    def test_charged_is_within_at_minus_twenty(self, language: InspectionLanguage) -> None:
        got = said(language, "battery twelve point six five volts", "lowest_temperature=-20degC")
        assert got.verdict.state is State.WITHIN

    def test_discharged_is_beyond(self, language: InspectionLanguage) -> None:
        got = said(language, "battery eleven point nine volts", "lowest_temperature=-20degC")
        assert (got.verdict.state, got.verdict.severity) == (State.BEYOND, Severity.DANGEROUS)
        assert "a frozen battery is replaced" in got.verdict.reason
        assert "freezes at -10.7 °C" in got.verdict.reason  # the arithmetic is told

    def test_the_same_battery_in_a_mild_winter(self, language: InspectionLanguage) -> None:
        got = said(language, "battery eleven point nine volts", "lowest_temperature=-5degC")
        assert got.verdict.state is State.FAULTY  # low charge is common practice only

    def test_nothing_is_said_of_frost_without_a_temperature(
        self, language: InspectionLanguage
    ) -> None:
        got = said(language, "battery eleven point nine volts")
        assert "frozen" not in got.verdict.reason


class TestCells:
    # TM 9-6140-200-14 para 4-7: more than 0.025 between any two cells of a charged battery
    GOOD = (cell(1, "1.265"), cell(2, "1.262"))

    def test_said_one_by_one_they_give_the_spread(self, language: InspectionLanguage) -> None:
        got = said(
            language, "battery cell three one point two three", "charge=charged", beside=self.GOOD
        )
        assert got.verdict.state is State.BEYOND
        assert got.verdict.gate is not None
        assert got.verdict.gate.reading == F("0.035")
        assert got.verdict.gate.limit.aggregation == "spread"
        spread = [d for d, _ in got.derived if d.finding.characteristic == "gravity spread"]
        assert [d.finding.quantity.value for d in spread if d.finding.quantity] == [F("0.035")]

    def test_close_ones_are_within(self, language: InspectionLanguage) -> None:
        got = said(
            language, "battery cell three one point two six", "charge=charged", beside=self.GOOD
        )
        assert got.verdict.state is not State.BEYOND

    def test_one_alone_has_no_spread(self, language: InspectionLanguage) -> None:
        got = said(language, "battery cell three one point two three", "charge=charged")
        assert got.verdict.state is not State.BEYOND

    def test_the_newest_reading_of_a_cell_counts(self) -> None:
        row = in_a_row(cell(3, "1.26"), (*self.GOOD, cell(3, "1.10"), cell(2, "1.25")))
        assert row is not None
        assert [each.value for each in row.readings] == [F("1.265"), F("1.25"), F("1.26")]
        assert row.position is None

    def test_other_findings_do_not_mix_in(self) -> None:
        tyre = Finding("tyre", "rear", "tread depth", Quantity(F(3), "mm"))
        volts = Finding("battery", None, "resting voltage", Quantity(F(12), "V"))
        assert in_a_row(cell(3, "1.26"), (tyre, volts)) is None
        assert in_a_row(tyre, (tyre, *self.GOOD)) is None
        assert again(tyre, [("a", cell(1, "1.26"))]) == ()
        assert again(cell(2, "1.2"), [("a", self.GOOD[0]), ("b", tyre)]) == (("a", self.GOOD[0]),)


class TestDerivedVerdicts:
    @pytest.mark.parametrize(
        ("words", "settings", "jurisdiction", "state", "told"),
        [
            # silicone DOT 5 mixes with none of the glycol fluids (FMVSS 116); "five" is not "five
            # point one"
            ("brake fluid dot five", ("brake_fluid=DOT 4",), None, State.BEYOND, "never mixed"),
            ("brake fluid dot five point one", ("brake_fluid=DOT 4",), None, State.MARGINAL,
             "a higher grade"),
            ("brake fluid dot four", ("brake_fluid=DOT 4",), None, State.WITHIN, ""),
            ("brake fluid dot four", ("brake_fluid=DOT 5",), None, State.BEYOND, "never mixed"),
            ("brake fluid dot three", ("brake_fluid=DOT 4",), None, State.BEYOND, "flush and fill"),
            ("brake fluid dot five", (), None, State.UNDECIDED, "set brake_fluid"),
            # 327.025 mm over 20 pitches of a 520 chain is 3 %
            ("chain span three hundred thirty millimetres", ("chain=520", "pitches=20"), None,
             State.BEYOND, "(330 mm - 20 x 15.875 mm)"),
            ("chain span three hundred eighteen millimetres", ("chain=520", "pitches=20"), None,
             State.WITHIN, ""),
            ("chain span three hundred eighteen millimetres", (), None, State.UNDECIDED,
             "set chain (e.g. 520) and pitches"),
            # 40 psi at 50 degC is 34.9 psi at 20 degC: inside 36 psi and 10 %
            ("rear tyre hot pressure forty p s i", ("hot_temperature=50degC", "pressure_rear=36psi"),
             None, State.WITHIN, "Gay" ),
            ("rear tyre hot pressure thirty p s i",
             ("hot_temperature=50degC", "pressure_rear=36psi"), None, State.FAULTY, "no tolerance"),
            ("rear tyre hot pressure forty p s i", ("pressure_rear=36psi",), None, State.UNDECIDED,
             "set hot_temperature"),
            # six years of age is common practice only
            ("rear tyre date code two five one eight", (), None, State.FAULTY, "8.4 years"),
            ("rear tyre date code two five two five", (), None, State.WITHIN, ""),
            # 19VAC30-70-360: 4 in at 25 ft
            ("headlamp aim offset five inches down", (), "US-VA", State.BEYOND, ""),
            ("headlamp aim offset two inches down", (), "US-VA", State.WITHIN, ""),
            # at another distance by its angle: 2 in at 10 ft are 5 in at 25 ft
            ("headlamp aim offset two inches down at ten feet", (), "US-VA", State.BEYOND, "5 in"),
            ("headlamp aim offset two inches down at ten feet", (), "DE", State.FAULTY, "5 in"),
            ("headlamp aim offset one inch down at ten feet", (), "US-VA", State.WITHIN, "2.5 in"),
            # bars stand 1/32 in high: level with them is beyond everywhere
            ("rear tyre at the wear bars", (), "US-VA", State.BEYOND, "1/32 in"),
        ],
    )  # fmt: skip
    def test_table(
        self,
        language: InspectionLanguage,
        words: str,
        settings: tuple[str, ...],
        jurisdiction: str | None,
        state: State,
        told: str,
    ) -> None:
        got = said(language, words, *settings, jurisdiction=jurisdiction)
        assert got.verdict.state is state, got.verdict.reason
        source = " ".join(d.source for d, _ in got.derived)
        assert told in f"{got.verdict.reason} {source}"

    def test_what_decides_keeps_the_others_in_sight(self, language: InspectionLanguage) -> None:
        got = said(language, "battery eleven point nine volts", "lowest_temperature=-20degC")
        assert got.verdict.gate is not None
        characteristics = {j.limit.characteristic for j in got.verdict.others}
        assert got.verdict.gate.limit.characteristic == "freezing point"
        assert "resting voltage" in characteristics


class TestConditionsOfTheCatalogue:
    def test_common_practice_says_no_more_than_faulty(self, language: InspectionLanguage) -> None:
        got = said(language, "rear disc cracked").verdict
        assert (got.state, got.severity) == (State.FAULTY, Severity.DANGEROUS)
        assert "common practice" in got.reason

    def test_what_is_as_it_should_be_is_within(self, language: InspectionLanguage) -> None:
        got = said(language, "horn works").verdict
        assert (got.state, got.severity) == (State.WITHIN, None)

    def test_a_component_without_an_entry_is_left_undecided(
        self, language: InspectionLanguage
    ) -> None:
        finding = Finding("flux gate", None, "condition", condition="cracked")
        got = assess(finding, (), parse_context(), language.catalogue, TODAY)
        assert got.verdict.state is State.UNDECIDED
