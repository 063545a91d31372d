"""What is computed from a finding, with its arithmetic, and what is said when a fact is missing.

Values stand in the reference tables of the derived modules (battery, chain, tyre, pressure, headlamp);
the source is named at each check.
"""

from __future__ import annotations

from datetime import date
from fractions import Fraction

import pytest

from fieldlog.limits.context import parse_context
from fieldlog.limits.from_finding import CHARACTERISTICS, Derived, Lacking, derive
from fieldlog.model.finding import Finding, Quantity

F = Fraction
TODAY = date(2026, 11, 25)


def measured(component: str, position: str | None, what: str, *values: str, unit: str) -> Finding:
    quantities = tuple(Quantity(F(value), unit) for value in values)
    readings = quantities if len(quantities) > 1 else ()
    return Finding(component, position, what, quantities[0], readings=readings)


def made(finding: Finding, *settings: str) -> dict[str, Derived]:
    results = derive(finding, parse_context(None, settings), TODAY)
    return {str(r.finding.characteristic): r for r in results if isinstance(r, Derived)}


def lacks(finding: Finding, *settings: str) -> list[str]:
    results = derive(finding, parse_context(None, settings), TODAY)
    return [each.what for each in results if isinstance(each, Lacking)]


def value(derived: Derived) -> float:
    assert derived.finding.quantity is not None
    return float(derived.finding.quantity.value)


VOLTS = measured("battery", None, "resting voltage", "11.89", unit="V")


class TestBattery:
    @pytest.mark.parametrize(
        ("volts", "charge", "frost_f"),
        # battery maker's table 6; freezing of the specific gravity that belongs to it: TM 5-1185
        # Table III and OD1002 at 1.265 and 1.225, between 1.150 (5 F) and 1.100 (19 F) at 1.120
        [("12.65", 100, -75), ("12.45", 75, -35), ("11.89", 0, 13.4)],
    )
    def test_charge_and_freezing_point_from_voltage(
        self, volts: str, charge: int, frost_f: float
    ) -> None:
        found = made(measured("battery", None, "resting voltage", volts, unit="V"))
        assert value(found["state of charge"]) == charge
        assert value(found["freezing point"]) == pytest.approx((frost_f - 32) * 5 / 9, abs=1e-9)

    def test_agm_has_its_own_table(self) -> None:
        reading = measured("battery", None, "resting voltage", "12.6", unit="V")
        assert value(made(reading, "battery=agm")["state of charge"]) == 75
        assert "AGM" in made(reading, "battery=agm")["state of charge"].source

    def test_a_cold_battery_reads_high_so_cold_subtracts(self) -> None:
        # battery maker's table 7: 0.024 V for 10 degF of a 12 V battery
        cold = made(
            measured("battery", None, "resting voltage", "12.474", unit="V"), "temperature=70degF"
        )
        assert value(cold["state of charge"]) == 75
        assert "12.45 V corrected to 80 °F" in cold["state of charge"].arithmetic

    def test_a_range_is_taken_at_its_worse_end(self) -> None:
        ranged = Finding(
            "battery", None, "resting voltage", Quantity(F("12.06"), "V", high=F("12.65"))
        )
        assert value(made(ranged)["state of charge"]) == 25

    def test_several_cells(self) -> None:
        # TM 9-6140-200-14 para 4-7 speaks of any two cells
        cells = measured(
            "battery", None, "specific gravity", "1.265", "1.260", "1.235", "1.262", unit="1"
        )
        found = made(cells, "temperature=80degF")
        assert value(found["gravity spread"]) == pytest.approx(0.030)
        assert value(found["state of charge"]) == pytest.approx(75 + 25 * 10 / 40)  # lowest decides

    def test_one_cell_has_no_spread_and_its_temperature_is_missed(self) -> None:
        cell = measured("battery", "cell 3", "specific gravity", "1.225", unit="1")
        assert "gravity spread" not in made(cell)
        assert lacks(cell) == ["electrolyte temperature not given: taken as 80 degF"]
        assert lacks(cell, "temperature=60degF") == []

    def test_hot_electrolyte_adds(self) -> None:
        # TM 5-1185 Table IV: 1.272 at 100 degF is 1.280 at 80 degF
        hot = made(
            measured("battery", "cell 1", "specific gravity", "1.257", unit="1"),
            "temperature=100degF",
        )
        assert "1.265 corrected to 80 °F" in hot["state of charge"].arithmetic
        assert value(hot["state of charge"]) == 100


class TestChainAndTyre:
    def test_span_over_twenty_pitches(self) -> None:
        # reference: 20 x 15.875 = 317.5 mm, 3 % longer is 327.025 mm
        span = measured("drive chain", None, "span", "327.025", unit="mm")
        assert value(made(span, "chain=520", "pitches=20")["elongation"]) == 3.0

    def test_published_example_in_inches(self) -> None:
        # 24.75 in over 24 one-inch pitches is 3.125 % (trywhisler.com); here on a 5/8 in chain
        span = measured("drive chain", None, "span", "15.46875", unit="in")
        assert value(made(span, "chain=520", "pitches=24")["elongation"]) == 3.125

    def test_the_longer_end_of_a_range_counts(self) -> None:
        span = Finding("drive chain", None, "span", Quantity(F(320), "mm", high=F("327.025")))
        assert value(made(span, "chain=520", "pitches=20")["elongation"]) == 3.0

    @pytest.mark.parametrize("settings", [(), ("chain=520",), ("pitches=20",)])
    def test_a_span_without_chain_and_pitches_says_what_to_set(
        self, settings: tuple[str, ...]
    ) -> None:
        span = measured("drive chain", None, "span", "327", unit="mm")
        assert made(span, *settings) == {}
        assert lacks(span, *settings) == [
            "set chain (e.g. 520) and pitches (how many the span covers)"
        ]

    def test_hot_pressure(self) -> None:
        # Gay-Lussac with absolute pressure: 20 psi at 130 degF was 23.9 from 70; here backwards
        hot = measured("tyre", "rear", "hot pressure", "23.9283", unit="psi")
        found = made(
            hot, "hot_temperature=130degF", "cold_temperature=70degF", "atmosphere=14.7psi"
        )
        assert value(found["pressure"]) == pytest.approx(20, abs=0.01)
        assert found["pressure"].finding.quantity is not None
        assert found["pressure"].finding.quantity.unit == "psi"

    def test_hot_pressure_without_a_temperature_is_not_guessed(self) -> None:
        hot = measured("tyre", "rear", "hot pressure", "40", unit="psi")
        assert made(hot) == {}
        assert lacks(hot) == ["set hot_temperature (of the warm tyre), e.g. 45degC"]

    def test_age_from_the_date_code(self) -> None:
        # 49 CFR 574.5: 2501 is the 25th week of 2001, which began on 24 June
        found = made(Finding("tyre", "rear", "date code", code="2501"))
        assert value(found["age"]) == pytest.approx((TODAY - date(2001, 6, 24)).days / 365.2425)

    @pytest.mark.parametrize(
        ("code", "told"),
        [("031", "1971 or 1981 or 1991"), ("5324", "no week"), ("0127", "no week")],
    )
    def test_codes_that_tell_no_age(self, code: str, told: str) -> None:
        finding = Finding("tyre", "rear", "date code", code=code)
        assert made(finding) == {}
        assert told in lacks(finding)[0]


class TestTyreCodes:
    def test_load_index_and_speed_symbol(self) -> None:
        # ISO 4223-1 and UN R75 as tabulated: 73 is 365 kg, V is 240 km/h, H lies below it
        load = made(measured("tyre", "rear", "load index", "73", unit="1"))
        assert value(load["load capacity"]) == 365
        speeds = [
            value(made(Finding("tyre", "rear", "speed symbol", code=code))["top speed"])
            for code in ("U", "H", "V")
        ]
        assert speeds == [200, 210, 240]

    def test_what_no_table_holds_is_not_made_up(self) -> None:
        assert lacks(measured("tyre", "rear", "load index", "97", unit="1")) == [
            "load index 97 is in no table at hand"
        ]
        assert made(Finding("tyre", "rear", "speed symbol", code="Z")) == {}


class TestHeadlamp:
    @pytest.mark.parametrize(
        ("offset", "unit", "settings", "degrees"),
        [
            # 19VAC30-70-360: 4 in at 25 ft; a service manual prints 50.5 mm as 0.38 degrees
            ("4", "in", (), 0.764),
            ("50.5", "mm", ("distance=7.62m",), 0.3797),
            ("5", "cm", ("distance=5m",), 0.573),
        ],
    )
    def test_offset_to_angle(
        self, offset: str, unit: str, settings: tuple[str, ...], degrees: float
    ) -> None:
        aim = measured("headlamp", "down", "aim offset", offset, unit=unit)
        assert "%" in made(aim, *settings)["aim angle"].arithmetic
        assert value(made(aim, *settings)["aim angle"]) == pytest.approx(degrees, abs=0.001)


def test_nothing_follows_from_most_findings() -> None:
    for finding in (
        Finding("horn", None, "condition", condition="sound"),
        measured("brake pads", "front", "thickness", "4", unit="mm"),
        Finding("battery", None, "resting voltage"),
        Finding("drive chain", None, "span"),
        Finding("headlamp", None, "aim offset"),
        Finding("tyre", "rear", "hot pressure"),
        Finding("tyre", "rear", "date code"),
        Finding("battery", None, "specific gravity"),
    ):
        assert made(finding, "chain=520", "pitches=20", "hot_temperature=50degC") == {}


def test_what_is_derived_is_listed_with_its_unit() -> None:
    units = {(component, name): unit for component, name, unit in CHARACTERISTICS}
    samples = [
        (VOLTS, ()),
        (measured("battery", None, "specific gravity", "1.2", "1.25", unit="1"), ()),
        (measured("drive chain", None, "span", "320", unit="mm"), ("chain=520", "pitches=20")),
        (Finding("tyre", "rear", "date code", code="2501"), ()),
        (Finding("tyre", "rear", "condition", condition="at wear bars"), ()),
        (measured("tyre", "rear", "pressure", "200", unit="kPa"), ("pressure_rear=250kPa",)),
        (measured("tyre", "rear", "hot pressure", "250", unit="kPa"), ("hot_temperature=50degC",)),
        (measured("headlamp", "down", "aim offset", "10", unit="cm"), ()),
        (measured("tyre", "rear", "load index", "73", unit="1"), ()),
        (Finding("tyre", "rear", "speed symbol", code="V"), ()),
    ]
    seen = set()
    for finding, settings in samples:
        for name, result in made(finding, *settings).items():
            assert result.source, name
            assert result.arithmetic, name
            assert result.finding.quantity is not None
            assert units[(finding.component, name)] == result.finding.quantity.unit
            seen.add((finding.component, name))
    assert seen == set(units)
