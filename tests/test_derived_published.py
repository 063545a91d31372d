"""Derived values against the rest of the published tables and examples; the source at each check."""

from __future__ import annotations

import math
from datetime import date
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest

from fieldlog.derived import battery, pressure, torque, tyre, wear

F = Fraction
TODAY = date(2026, 11, 25)


class TestTyreTables:
    # motorcycle tyre codes, three public tables that agree (load index, kilograms)
    PUBLISHED = (
        "10 60 20 80 24 90 26 95 30 106 31 109 32 112 33 115 34 118 35 121 36 125 37 128 38 132 "
        "39 136 40 140 41 145 42 150 43 155 44 160 45 165 46 170 47 175 48 180 49 185 50 190 51 195 "
        "52 200 53 206 54 212 55 218 56 224 57 230 58 236 59 243 60 250 61 257 62 265 63 272 64 280 "
        "65 290 66 300 67 307 68 315 69 325 70 335 71 345 72 355 73 365 74 375 75 387 76 400 77 412 "
        "78 425 79 437 80 450 81 462 82 475 83 487 84 500 85 515 86 530 87 545 88 560 89 580 90 600 "
        "91 615 92 630 93 650 94 670 95 690 96 710 100 800 103 875 105 925 108 1000 110 1060 "
        "112 1120 119 1360 121 1450"
    )

    def test_every_row_of_the_load_index(self) -> None:
        numbers = [int(word) for word in self.PUBLISHED.split()]
        assert dict(zip(numbers[::2], numbers[1::2], strict=True)) == tyre.LOAD_INDEX_KG

    def test_speed_symbols_in_steps_of_ten(self) -> None:
        # public lists of tyre dealers and a car maker; the regulation (UN R75 para 2) from memory. One
        # list converts from miles and prints K 109, L 121, Q 159
        published = {
            "B": 50, "F": 80, "J": 100, "K": 110, "L": 120, "M": 130, "N": 140, "P": 150, "Q": 160,
            "R": 170, "S": 180, "T": 190, "U": 200, "H": 210, "V": 240, "W": 270, "Y": 300,
        }  # fmt: skip
        assert published == tyre.SPEED_SYMBOL_KMH

    def test_three_digit_example(self) -> None:
        # 317 = week 31 of 1997; the decade stays open
        assert (31, 1997) in [(each.week, each.year) for each in tyre.date_code("317", TODAY)]
        assert len(tyre.date_code("317", TODAY)) > 1


class TestPressureRule:
    def test_one_psi_for_ten_degrees_is_a_rule_of_thumb(self) -> None:
        # at 35 psi and 70 degF the exact figure is 0.938 psi for 10 degF
        cold = pressure.at_temperature(F(35), F(38 * 5, 9), F(28 * 5, 9), F("14.7"))
        assert float(35 - cold) == pytest.approx(0.938, abs=0.001)


class TestBatteryTables:
    @pytest.mark.parametrize(
        ("degrees", "full", "half"),
        # TM 5-1185 Table IV, the columns between those of test_derived
        [(-10, "1.316", "1.255"), (110, "1.268", "1.209"), (120, "1.265", "1.205")],
    )
    def test_other_columns_of_the_correction(self, degrees: int, full: str, half: str) -> None:
        for read, wanted in ((full, 1.280), (half, 1.220)):
            got = battery.gravity_at_80f(F(read), F(degrees))
            assert float(got) == pytest.approx(wanted, abs=0.0011)

    @pytest.mark.parametrize(("degrees", "shift"), [(0, "-0.032"), (160, "0.032"), (80, "0")])
    def test_ends_of_the_service_table(self, degrees: int, shift: str) -> None:
        # a service manual's table runs from -0.032 at 0 degF to +0.032 at 160 degF
        assert battery.gravity_at_80f(F("1.25"), F(degrees)) - F("1.25") == F(shift)

    def test_a_makers_example(self) -> None:
        # full 1.265 at 77 degF reads 1.258 at 100 degF (a maker's page that also prints the
        # misprint "0.0003 per 10 degF"); with 0.004 per 10 degF both are the same battery
        at_77 = battery.gravity_at_80f(F("1.265"), F(77))
        at_100 = battery.gravity_at_80f(F("1.258"), F(100))
        assert abs(at_77 - at_100) <= F("0.0025")
        misprint = F("0.0003") / 10
        assert abs(at_77 - (F("1.258") + misprint * 20)) > F("0.005")

    @pytest.mark.parametrize(
        ("gravity", "fahrenheit", "celsius"),
        [
            # US Army OD1002 lesson 2 and TM 5-1185 Table III; 1.050, 1.225 and 1.265 from an
            # owner's manual publisher
            ("1.000", 32, 0.0), ("1.050", 27, -2.8), ("1.100", 19, -7.2), ("1.150", 5, -15.0),
            ("1.200", -16, -26.7), ("1.225", -35, -37.2), ("1.250", -62, -52.2),
            ("1.265", -75, -59.4), ("1.280", -90, -67.8),
        ],
    )  # fmt: skip
    def test_every_freezing_row_in_both_scales(
        self, gravity: str, fahrenheit: int, celsius: float
    ) -> None:
        got = battery.freezing_point_f(F(gravity))
        assert got == fahrenheit
        assert (float(got) - 32) * 5 / 9 == pytest.approx(celsius, abs=0.051)

    @pytest.mark.parametrize(
        ("gravity", "wrong"), [("1.225", -55), ("1.190", -34), ("1.155", -16), ("1.120", -10)]
    )
    def test_a_table_that_contradicts_the_army_is_not_used(self, gravity: str, wrong: int) -> None:
        assert abs(battery.freezing_point_f(F(gravity)) - wrong) > 10

    @pytest.mark.parametrize(
        ("charge", "low", "high"),
        # a battery maker's ranges at 77 degF
        [
            (100, "1.255", "1.275"), (75, "1.215", "1.235"), (50, "1.180", "1.200"),
            (25, "1.155", "1.165"), (0, "1.110", "1.130"),
        ],
    )  # fmt: skip
    def test_another_makers_ranges_hold_our_table(self, charge: int, low: str, high: str) -> None:
        assert F(low) <= battery.gravity_from_charge(F(charge)) <= F(high)

    @pytest.mark.parametrize(
        ("volts", "charge"),
        [("12.8", 100), ("12.6", 75), ("12.3", 50), ("12.0", 25), ("13.2", 100)],
    )
    def test_agm_ranges(self, volts: str, charge: int) -> None:
        assert battery.charge_from_voltage(F(volts), "agm") == charge
        with pytest.raises(KeyError):
            battery.charge_from_voltage(F(volts), "lithium")


class TestBolts:
    @pytest.mark.parametrize(
        ("thread", "loads"),
        # EN ISO 898-1 proof loads in newtons, 8.8 / 10.9 / 12.9: stress area x 580 / 830 / 970
        [
            ("M5", (8_230, 11_800, 13_800)), ("M6", (11_600, 16_700, 19_500)),
            ("M8", (21_200, 30_400, 35_500)), ("M10", (33_700, 48_100, 56_300)),
            ("M12", (48_900, 70_000, 81_800)),
        ],
    )  # fmt: skip
    def test_proof_loads(self, thread: str, loads: tuple[int, ...]) -> None:
        area = torque.THREADS[thread].stress_area
        for stress, load in zip((580, 830, 970), loads, strict=True):
            assert area * stress == pytest.approx(load, rel=0.007)  # printed to 3 digits

    @pytest.mark.parametrize(
        ("thread", "friction", "loads"),
        # VDI 2230:2001 fine-thread table, assembly preload in kN, 8.8 / 10.9 / 12.9
        [("M8x1", 0.14, (19.7, 28.9, 33.9)), ("M10x1.25", 0.12, (31.6,))],
    )
    def test_preload(self, thread: str, friction: float, loads: tuple[float, ...]) -> None:
        for grade, load in zip(("8.8", "10.9", "12.9"), loads, strict=False):
            got = torque.preload_n(torque.THREADS[thread], grade, friction) / 1_000
            assert got == pytest.approx(load, rel=0.006)

    @pytest.mark.parametrize(
        ("thread", "at_12", "at_14"),
        # coarse threads: computed here with the same formula by hand, no published table; 8.8 / 10.9
        [
            ("M5", (5.8, 8.6), (6.5, 9.5)), ("M6", (10.1, 14.9), (11.2, 16.5)),
            ("M8", (24.5, 36.0), (27.2, 40.0)), ("M10", (48.3, 70.9), (53.7, 78.9)),
            ("M12", (83.4, 122.4), (92.8, 136.2)),
        ],
    )  # fmt: skip
    def test_coarse_threads(
        self, thread: str, at_12: tuple[float, ...], at_14: tuple[float, ...]
    ) -> None:
        for friction, wanted in ((0.12, at_12), (0.14, at_14)):
            for grade, value in zip(("8.8", "10.9"), wanted, strict=True):
                got = torque.guideline_nm(torque.THREADS[thread], grade, friction)
                assert got == pytest.approx(value, rel=2e-3, abs=0.06)

    def test_tables_differ_so_the_edition_goes_with_the_value(self) -> None:
        # a DIN-type table prints 25 N.m for M8 8.8 at the same friction
        got = torque.guideline_nm(torque.THREADS["M8"], "8.8", 0.14)
        assert got / 25 > 1.08
        assert "2001" in torque.EDITION

    def test_more_friction_needs_more_torque_and_another_class_is_unknown(self) -> None:
        bolt = torque.THREADS["M8"]
        values = [torque.guideline_nm(bolt, "8.8", mu / 100) for mu in range(8, 25)]
        assert all(a < b for a, b in pairwise(values))
        with pytest.raises(KeyError):
            torque.guideline_nm(bolt, "5.6")


# R's data set "cars" (Ezekiel 1930): speed in mile/h, stopping distance in ft
SPEED = (
    "4 4 7 7 8 9 10 10 10 11 11 12 12 12 12 13 13 13 13 14 14 14 14 15 15 15 16 16 17 17 17 18 18 18 "
    "18 19 19 19 20 20 20 20 20 22 23 24 24 24 24 25"
)
STOPPING = (
    "2 10 4 22 16 10 18 26 34 17 28 14 20 24 28 26 34 34 46 26 36 60 80 20 26 54 32 40 32 40 50 42 56 "
    "76 84 36 46 68 32 48 52 56 64 66 54 70 92 93 120 85"
)
HEIGHT = "1.47 1.50 1.52 1.55 1.57 1.60 1.63 1.65 1.68 1.70 1.73 1.75 1.78 1.80 1.83"
MASS = "52.21 53.12 54.48 55.84 57.20 58.57 59.93 61.29 63.11 64.47 66.28 68.10 69.92 72.19 74.46"


def line(xs: str, ys: str) -> wear.Line:
    pairs = zip(xs.split(), ys.split(), strict=True)
    return wear.fit([wear.Point(F(x), F(y)) for x, y in pairs])


def mean_half(line: wear.Line, x: Fraction) -> float:
    """Half the confidence interval of the line at ``x``: a new reading's, less its own scatter."""
    new = line.prediction(x)
    own = wear.t_quantile(wear.LEVEL, line.df) * line.residual_sd
    return math.sqrt((new.high - new.value) ** 2 - own**2)


class TestRegression:
    def test_cars(self) -> None:
        # lm(dist ~ speed): -17.57909, 3.932409; prediction at 21: 33.4226 .. 96.5804 (R)
        got = line(SPEED, STOPPING)
        assert float(got.intercept) == pytest.approx(-17.57909, abs=5e-6)
        assert float(got.slope) == pytest.approx(3.932409, abs=5e-7)
        new = got.prediction(F(21))
        assert (new.low, new.high) == pytest.approx((33.4226, 96.5804), abs=5e-5)

    def test_both_confidence_intervals_of_height_and_mass(self) -> None:
        got = line(HEIGHT, MASS)
        t = wear.t_quantile(0.95, got.df)
        slope_sd = got.residual_sd / math.sqrt(got.sxx)
        for value, half, low, high in (
            (float(got.slope), t * slope_sd, 57.4355, 65.1088),
            (float(got.intercept), mean_half(got, F(0)), -45.4091, -32.7148),
        ):
            assert (value - half, value + half) == pytest.approx((low, high), abs=6e-5)

    def test_handbook_half_widths(self) -> None:
        # NIST/SEMATECH e-Handbook 4.5.1.2, pressure and temperature: 7.74899 + 3.93014 x, residual
        # sd 4.299099, 40 points; where the mean and Sxx lie follows from two of the printed standard
        # deviations of the fit, the third and all half widths are then checked
        s, n = 4.299099, 40
        spreads = {25: 1.1976162, 45: 0.6803245, 65: 1.2441620}
        lever = {x: math.sqrt(sd**2 / s**2 - 1 / n) for x, sd in spreads.items()}
        per = (lever[25] + lever[65]) / 40
        mean = 25 + lever[25] / per
        got = wear.Line(
            F("7.74899"), F("3.93014"), F(s**2 * (n - 2)), n, F(mean), F(1 / per**2), F(70),
        )  # fmt: skip
        assert wear.t_quantile(0.95, got.df) == pytest.approx(2.024394, abs=5e-7)
        for x, value, half in (
            (25, 106.0025, 9.034455), (45, 184.6053, 8.811370), (65, 263.2081, 9.060197),
        ):  # fmt: skip
            new = got.prediction(F(x))
            assert new.value == pytest.approx(value, abs=5e-5)
            assert new.high - new.value == pytest.approx(half, abs=2e-5)
            sd = mean_half(got, F(x)) / wear.t_quantile(0.95, got.df)
            assert sd == pytest.approx(spreads[x], abs=2e-5)

    def test_calibration_runs_the_line_backwards(self) -> None:
        # the same handbook: a pressure of 178 comes from a temperature of 43.3193
        got = wear.fit([wear.Point(F(x), F("7.74899") + F("3.93014") * x) for x in (20, 40, 60)])
        forecast = wear.to_limit(got, F(178), falling=False)
        assert forecast.expected == pytest.approx(43.3193, abs=5e-5)


def test_old_faithful_prediction_interval() -> None:
    """r-tutor.com, lm(eruptions ~ waiting) at 80: fit 4.1762, 95 % PI 3.1961 .. 5.1564.

    Data: Azzalini and Bowman 1990, Applied Statistics 39 (R data set ``faithful``), 272 rows.
    """
    path = Path(__file__).parent / "data" / "old_faithful.csv"
    rows = [line.split(",") for line in path.read_text(encoding="utf-8").splitlines()[1:]]
    assert len(rows) == 272
    line = wear.fit([wear.Point(Fraction(waiting), Fraction(length)) for length, waiting in rows])
    predicted, half = line.prediction(Fraction(80)), mean_half(line, Fraction(80))
    assert predicted.value == pytest.approx(4.176220, abs=1e-6)
    assert (predicted.low, predicted.high) == pytest.approx((3.196089, 5.156351), abs=1e-6)
    mean = (predicted.value - half, predicted.value + half)
    assert mean == pytest.approx((4.104848, 4.247592), abs=1e-6)
