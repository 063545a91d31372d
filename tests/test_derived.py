"""Derived values against published tables and worked examples; the source stands at each check."""

from __future__ import annotations

import math
from datetime import date
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from fieldlog.derived import (
    battery,
    brake_fluid,
    chain,
    headlamp,
    pressure,
    torque,
    tyre,
    wear,
    wheel,
)
from fieldlog.limits.context import parse_context
from fieldlog.limits.from_finding import Derived, derive
from fieldlog.model.finding import Finding, Quantity

F = Fraction
TODAY = date(2026, 11, 25)


def near(value: object, want: float, tolerance: float) -> bool:
    return abs(float(value) - want) <= tolerance  # type: ignore[arg-type]


class TestTyre:
    def test_load_index_follows_its_law(self) -> None:
        # 45 * 10 ** (LI / 80) kg, every published entry within 1.94 % (worst: LI 37)
        for index, kilograms in tyre.LOAD_INDEX_KG.items():
            assert abs(kilograms / (45 * 10 ** (index / 80)) - 1) <= 0.0194

    def test_load_index_rises(self) -> None:
        rows = sorted(tyre.LOAD_INDEX_KG.items())
        assert all(a[1] < b[1] for a, b in pairwise(rows))

    def test_a_misprinted_row_is_caught_by_its_neighbours(self) -> None:
        # a public table prints 103 -> 857; formula and two other sources give 875
        def strays(table: dict[int, int]) -> list[int]:
            rows = sorted(table.items())
            found = []
            for (a, x), (b, y), (c, z) in zip(rows, rows[1:], rows[2:], strict=False):
                share = (b - a) / (c - a)
                if c - a <= 5 and abs(y / (x ** (1 - share) * z**share) - 1) > 0.012:
                    found.append(b)
            return found

        assert strays(tyre.LOAD_INDEX_KG) == []
        assert 103 in strays({**tyre.LOAD_INDEX_KG, 103: 857})
        assert tyre.load_capacity_kg(103) == 875
        assert tyre.load_capacity_kg(105) == 925

    def test_unlisted_index_is_not_made_up(self) -> None:
        assert tyre.load_capacity_kg(97) is None

    def test_speed_symbols_are_not_alphabetical(self) -> None:
        # as public lists have it: H is 210, between U 200 and V 240; K is 110 (one converts to 109)
        speeds = list(tyre.SPEED_SYMBOL_KMH.values())
        assert speeds == sorted(speeds)
        assert list(tyre.SPEED_SYMBOL_KMH) != sorted(tyre.SPEED_SYMBOL_KMH)
        assert (tyre.top_speed_kmh("h"), tyre.top_speed_kmh("K")) == (210, 110)
        assert tyre.top_speed_kmh("Z") is None

    @pytest.mark.parametrize(
        ("code", "first", "last"),
        [
            # 49 CFR 574.5 examples (week 25 of 2001, 3rd week of 2001) and its calendar rule
            ("0100", date(2000, 1, 2), date(2000, 1, 8)),
            ("2501", date(2001, 6, 24), date(2001, 6, 30)),
            ("0301", date(2001, 1, 21), date(2001, 1, 27)),
            ("5323", date(2023, 12, 31), date(2024, 1, 6)),
            ("5023", date(2023, 12, 10), date(2023, 12, 16)),
        ],
    )
    def test_calendar(self, code: str, first: date, last: date) -> None:
        (reading,) = tyre.date_code(code, TODAY)
        assert (reading.first_day, reading.last_day) == (first, last)

    def test_date_code_week_is_not_the_iso_week(self) -> None:
        assert tyre.date_code("5023", TODAY)[0].first_day.isocalendar().week == 49

    @pytest.mark.parametrize("code", ["5324", "0018", "5418", "5227", "12345", "ab12", "", "1"])
    def test_impossible_codes_have_no_reading(self, code: str) -> None:
        assert tyre.date_code(code, TODAY) == ()

    def test_years_with_a_week_53(self) -> None:
        years = [y for y in range(2000, 2032) if tyre.weeks_in(y) == 53]
        assert years == [2000, 2006, 2012, 2017, 2023, 2028]

    def test_three_digits_leave_the_decade_open(self) -> None:
        # 031: week 3 of 1981 or 1991 (and 1971): never guessed
        assert [r.year for r in tyre.date_code("031", TODAY)] == [1971, 1981, 1991]

    def test_age(self) -> None:
        assert near(tyre.age_years(date(2018, 6, 10), date(2026, 6, 10)), 8.0, 0.01)


class TestPressure:
    @pytest.mark.parametrize(
        ("p1", "f1", "f2", "want"),
        [
            # worked examples with pa = 14.7 psi: calculatorhub.com; team.net 2002-07 msg00126
            (35, 70, 30, 31.2467),
            (20, 70, 50, 18.6906),
            (20, 70, 130, 23.9283),
            (85, 70, 90, 88.76),
        ],
    )
    def test_worked_examples_in_psi(self, p1: int, f1: int, f2: int, want: float) -> None:
        def celsius(f: int) -> Fraction:
            return F(f - 32) * 5 / 9

        got = pressure.at_temperature(F(p1), celsius(f1), celsius(f2), F("14.7"))
        # the examples take 460 for absolute zero in degF; ours is exact (459.67)
        assert near(got, want, 0.01)

    @pytest.mark.parametrize(("to", "want"), [(0, 226.031), (40, 273.969)])
    def test_250_kpa_from_20_degrees(self, to: int, want: float) -> None:
        assert near(pressure.at_temperature(F(250), F(20), F(to)), want, 0.001)

    def test_gauge_pressure_alone_is_the_known_mistake(self) -> None:
        wrong = 85 * (90 + 459.67) / (70 + 459.67)  # 88.21, as two pages print it
        right = pressure.at_temperature(F(85), F(190, 9), F(290, 9), F("14.7"))
        assert not near(right, wrong, 0.4)

    @given(st.fractions(100, 400), st.integers(-30, 60), st.integers(-30, 60))
    def test_there_and_back(self, p: Fraction, a: int, b: int) -> None:
        there = pressure.at_temperature(p, F(a), F(b))
        assert pressure.at_temperature(there, F(b), F(a)) == p

    def test_absolute_zero_is_refused(self) -> None:
        with pytest.raises(ValueError, match="absolute zero"):
            pressure.at_temperature(F(250), F(-274), F(20))


class TestBattery:
    @pytest.mark.parametrize(
        ("volts", "gravity", "charge"),
        [
            # battery maker's table 6, 80 degF
            ("12.65", "1.265", 100), ("12.45", "1.225", 75), ("12.24", "1.190", 50),
            ("12.06", "1.155", 25), ("11.89", "1.120", 0),
        ],
    )  # fmt: skip
    def test_state_of_charge_rows(self, volts: str, gravity: str, charge: int) -> None:
        assert battery.charge_from_voltage(F(volts)) == charge
        assert battery.charge_from_gravity(F(gravity)) == charge
        assert battery.gravity_from_charge(F(charge)) == F(gravity)

    def test_both_tables_agree_by_the_cell_law(self) -> None:
        # open-circuit voltage ~ 6 (SG + 0.845), largest gap to the table 0.10 V
        for gravity, charge in battery.CHARGE_BY_GRAVITY.points:
            volts = next(v for v, c in battery.CHARGE_BY_VOLTAGE["flooded"].points if c == charge)
            assert abs(6 * (gravity + F("0.845")) - volts) <= F("0.10")

    @pytest.mark.parametrize(
        ("degrees", "full", "half"),
        [
            # TM 5-1185 Table IV, rows 100 % and 50 %
            (-65, "1.338", "1.277"), (-40, "1.328", "1.267"), (-20, "1.320", "1.259"),
            (0, "1.312", "1.251"), (20, "1.304", "1.243"), (40, "1.296", "1.236"),
            (80, "1.280", "1.220"), (100, "1.272", "1.213"), (120, "1.265", "1.205"),
        ],
    )  # fmt: skip
    def test_temperature_correction_table(self, degrees: int, full: str, half: str) -> None:
        for read, at_80 in ((full, "1.280"), (half, "1.220")):
            corrected = battery.gravity_at_80f(F(read), F(degrees))
            assert near(corrected, float(at_80), 0.0011)

    def test_warm_electrolyte_reads_low_so_warm_adds(self) -> None:
        assert battery.gravity_at_80f(F("1.258"), F(100)) > F("1.258")
        assert battery.gravity_at_80f(F("1.258"), F(30)) < F("1.258")

    def test_voltage_correction_is_six_cells(self) -> None:
        assert battery.voltage_at_80f(F("12.4"), F(90)) - F("12.4") == F("0.024")

    @pytest.mark.parametrize(
        ("gravity", "fahrenheit"),
        # US Army OD1002 and TM 5-1185 Table III (another public table is up to 30 F off)
        [
            ("1.000", 32),
            ("1.100", 19),
            ("1.150", 5),
            ("1.200", -16),
            ("1.250", -62),
            ("1.280", -90),
        ],
    )
    def test_freezing_rows(self, gravity: str, fahrenheit: int) -> None:
        assert battery.freezing_point_f(F(gravity)) == fahrenheit

    def test_discharged_freezes_earlier(self) -> None:
        points = [battery.freezing_point_f(F(1000 + 5 * n, 1000)) for n in range(57)]
        assert all(a > b for a, b in pairwise(points))

    def test_outside_the_table_is_held_not_extended(self) -> None:
        assert battery.freezing_point_f(F("1.4")) == -90
        assert battery.charge_from_voltage(F("13.1")) == 100

    def test_spread_between_cells(self) -> None:
        cells = [F("1.265"), F("1.260"), F("1.235"), F("1.262"), F("1.264"), F("1.261")]
        assert battery.cell_spread(cells) == F("0.030")
        with pytest.raises(ValueError, match="two cells"):
            battery.cell_spread(cells[:1])


class TestChain:
    @pytest.mark.parametrize(
        ("code", "pitch", "roller", "width"),
        [
            # ISO 10190 / ISO 606 by way of published tables; width within 0.15 mm between makers
            ("415", "12.70", "7.75", "4.76"), ("420", "12.70", "7.75", "6.35"),
            ("428", "12.70", "8.51", "7.94"), ("520", "15.875", "10.16", "6.35"),
            ("525", "15.875", "10.16", "7.85"), ("530", "15.875", "10.16", "9.53"),
            ("532", "15.875", "11.10", "9.53"), ("630", "19.05", "11.91", "9.53"),
        ],
    )  # fmt: skip
    def test_sizes(self, code: str, pitch: str, roller: str, width: str) -> None:
        size = chain.SIZES[code]
        assert size.pitch_mm == F(pitch)
        assert abs(size.roller_mm - F(roller)) <= F("0.02")
        assert abs(size.width_mm - F(width)) <= F("0.15")

    def test_published_example_24_pitches_of_one_inch(self) -> None:
        # trywhisler.com worked example: 24.75 in over 24 one-inch pitches is 3.125 %
        assert chain.elongation_percent(F("24.75"), 24, F(1)) == F("3.125")

    @pytest.mark.parametrize(
        ("pitch", "spans"),
        [
            ("12.70", ("254.0", "256.54", "259.08", "261.62")),
            ("15.875", ("317.5", "320.675", "323.85", "327.025")),
            ("19.05", ("381.0", "384.81", "388.62", "392.43")),
        ],
    )
    def test_twenty_pitches(self, pitch: str, spans: tuple[str, ...]) -> None:
        found = [chain.elongation_percent(F(span), 20, F(pitch)) for span in spans]
        assert found == [0, 1, 2, 3]

    def test_a_printed_slip_is_not_repeated(self) -> None:
        # a maker's page writes "1.5 % (0.36 inch per one foot)": 0.36 in a foot is 3 %
        assert chain.elongation_percent(F("12.36"), 12, F(1)) == 3

    @pytest.mark.parametrize(
        ("teeth", "want"), [(42, 3.0), (66, 3.0), (67, 2.985), (80, 2.5), (100, 2.0), (None, 3.0)]
    )
    def test_limit_by_sprocket(self, teeth: int | None, want: float) -> None:
        assert near(chain.elongation_limit_percent(teeth), want, 0.0005)

    def test_nonsense_is_refused(self) -> None:
        with pytest.raises(ValueError, match="at least one pitch"):
            chain.elongation_percent(F(300), 0, F("15.875"))


class TestWheelAndLamp:
    def test_eight_clock_positions(self) -> None:
        readings = [F(x) for x in ("0", "0.2", "0.5", "0.9", "1.1", "0.6", "0.1", "-0.3")]
        assert wheel.total_indicator_reading(readings) == F("1.4")
        assert wheel.total_indicator_reading([r + 7 for r in readings]) == F("1.4")

    def test_one_reading_is_no_run_out(self) -> None:
        with pytest.raises(ValueError, match="two dial readings"):
            wheel.total_indicator_reading([F(1)])

    @pytest.mark.parametrize(
        ("offset_mm", "degrees"),
        # 4 in at 25 ft: 0.764 deg (19VAC30-70-360 A.7); service-manual values 50.5 and 126.4 mm
        [("101.6", 0.764), ("50.5", 0.3797), ("126.4", 0.9503)],
    )
    def test_aim(self, offset_mm: str, degrees: float) -> None:
        assert near(headlamp.aim_degrees(F(offset_mm)), degrees, 0.001)

    def test_aim_as_a_slope(self) -> None:
        assert near(headlamp.aim_percent(F("101.6")), 1.333, 0.001)
        assert headlamp.aim_percent(F("-101.6")) == -headlamp.aim_percent(F("101.6"))


class TestBrakeFluid:
    def test_the_standard_prints_exact_pairs(self) -> None:
        # 49 CFR 571.116: 401/205, 446/230, 500/260, 284/140, 311/155, 356/180
        for grade in brake_fluid.GRADES.values():
            assert F(grade.dry_f - 32) * 5 / 9 == grade.dry_c
            assert F(grade.wet_f - 32) * 5 / 9 == grade.wet_c

    def test_silicone_never_mixes(self) -> None:
        assert not brake_fluid.may_mix("DOT 5", "DOT 5.1")
        assert not brake_fluid.may_mix("DOT 4", "DOT 5")
        assert brake_fluid.may_mix("DOT 4", "DOT 5.1")
        assert not brake_fluid.may_mix("mineral oil", "DOT 4")
        assert brake_fluid.may_mix("mineral oil", "mineral oil")

    @pytest.mark.parametrize(
        ("grade", "dry", "wet"),
        # 49 CFR 571.116 S5.1.1 and S5.1.2, degC and degF as printed; DOT 5.1 as DOT 5
        [
            ("DOT 3", (205, 401), (140, 284)), ("DOT 4", (230, 446), (155, 311)),
            ("DOT 5", (260, 500), (180, 356)), ("DOT 5.1", (260, 500), (180, 356)),
        ],
    )  # fmt: skip
    def test_boiling_points(self, grade: str, dry: tuple[int, int], wet: tuple[int, int]) -> None:
        row = brake_fluid.GRADES[grade]
        assert ((row.dry_c, row.dry_f), (row.wet_c, row.wet_f)) == (dry, wet)


class TestTorque:
    @pytest.mark.parametrize(
        ("thread", "grade", "friction", "want"),
        [
            # VDI 2230:2001 fine-thread table as published (mastik.pt p. 685)
            ("M8x1", "8.8", 0.14, 29.2), ("M8x1", "10.9", 0.14, 42.8), ("M8x1", "12.9", 0.14, 50.1),
            ("M10x1.25", "8.8", 0.12, 51), ("M10x1.25", "10.9", 0.12, 75), ("M10x1.25", "12.9", 0.12, 87),
            ("M12x1.25", "8.8", 0.14, 101), ("M12x1.25", "10.9", 0.14, 149), ("M12x1.25", "12.9", 0.14, 174),
        ],
    )  # fmt: skip
    def test_published_table(self, thread: str, grade: str, friction: float, want: float) -> None:
        got = torque.guideline_nm(torque.THREADS[thread], grade, friction)
        # within 0.6 %, or within the rounding of the figure as printed
        assert abs(got - want) <= max(0.006 * want, 0.5 if want == int(want) else 0.05)

    @pytest.mark.parametrize(
        ("thread", "area"), [("M5", 14.2), ("M6", 20.1), ("M8", 36.6), ("M10", 58.0), ("M12", 84.3)]
    )
    def test_stress_areas_of_iso_898_1(self, thread: str, area: float) -> None:
        assert near(torque.THREADS[thread].stress_area, area, 0.06)


NORRIS_X = (
    "0.2 337.4 118.2 884.6 10.1 226.5 666.3 996.3 448.6 777.0 558.2 0.4 0.6 775.5 666.9 338.0 "
    "447.5 11.6 556.0 228.1 995.8 887.6 120.2 0.3 0.3 556.8 339.1 887.2 999.0 779.0 11.1 118.3 229.2 "
    "669.1 448.9 0.5"
)
NORRIS_Y = (
    "0.1 338.8 118.1 888.0 9.2 228.1 668.5 998.5 449.1 778.9 559.2 0.3 0.1 778.1 668.8 339.3 "
    "448.9 10.8 557.7 228.3 998.0 888.8 119.6 0.3 0.6 557.6 339.3 888.0 998.5 778.9 10.2 117.6 228.9 "
    "668.4 449.2 0.2"
)


def points(xs: str, ys: str) -> list[wear.Point]:
    return [wear.Point(F(x), F(y)) for x, y in zip(xs.split(), ys.split(), strict=True)]


def slope_sd(line: wear.Line) -> float:
    """Standard deviation of the slope, from what a prediction is made of."""
    return line.residual_sd / math.sqrt(line.sxx)


class TestWear:
    def test_nist_norris_certified_values(self) -> None:
        # NIST StRD, data set Norris
        line = wear.fit(points(NORRIS_X, NORRIS_Y))
        certified = {
            "intercept": -0.262323073774029,
            "slope": 1.00211681802045,
            "residual_sd": 0.884796396144373,
            "residual_ss": 26.6173985294224,
        }
        for name, want in certified.items():
            assert float(getattr(line, name)) == pytest.approx(want, rel=1e-12)
        assert slope_sd(line) == pytest.approx(0.429796848199937e-03, rel=1e-12)
        assert line.df == 34

    @pytest.mark.parametrize("df", [1, 2, 3, 4, 5, 8, 13, 34, 99, 270, 1001])
    @pytest.mark.parametrize("level", [0.01, 0.5, 0.8, 0.9, 0.95, 0.99, 0.999, 0.9999])
    def test_t_quantile_agrees_with_scipy(self, level: float, df: int) -> None:
        theirs = float(stats.t.ppf(1 - (1 - level) / 2, df))
        assert wear.t_quantile(level, df) == pytest.approx(theirs, rel=1e-10)

    @pytest.mark.parametrize(
        ("df", "level", "printed"),
        # NIST/SEMATECH e-Handbook 1.3.6.7.2, upper critical values of Student's t
        [
            (1, 0.95, 12.706),
            (2, 0.95, 4.303),
            (3, 0.95, 3.182),
            (10, 0.95, 2.228),
            (30, 0.99, 2.750),
        ],
    )
    def test_t_quantile_is_the_printed_one(self, df: int, level: float, printed: float) -> None:
        assert wear.t_quantile(level, df) == pytest.approx(printed, abs=5e-4)

    @pytest.mark.parametrize(("level", "df"), [(0.0, 3), (1.0, 3), (1.5, 3), (0.95, 0)])
    def test_no_t_quantile_outside_its_range(self, level: float, df: int) -> None:
        with pytest.raises(ValueError, match="no t quantile"):
            wear.t_quantile(level, df)

    def test_norris_prediction_interval(self) -> None:
        line = wear.fit(points(NORRIS_X, NORRIS_Y))
        interval = line.prediction(F(500))
        assert wear.t_quantile(0.95, 34) == pytest.approx(2.0322445093, rel=1e-10)
        assert interval.value == pytest.approx(500.796085936451, rel=1e-12)
        assert (interval.low, interval.high) == pytest.approx((498.971794, 502.620378), abs=1e-6)

    def test_women_height_mass(self) -> None:
        # the 15-point example of textbooks on simple regression: slope 61.272, intercept -39.062
        xs = "1.47 1.50 1.52 1.55 1.57 1.60 1.63 1.65 1.68 1.70 1.73 1.75 1.78 1.80 1.83"
        ys = (
            "52.21 53.12 54.48 55.84 57.20 58.57 59.93 61.29 63.11 64.47 66.28 68.10 69.92 72.19 "
            "74.46"
        )
        line = wear.fit(points(xs, ys))
        t = wear.t_quantile(0.95, line.df)
        assert near(line.slope, 61.272, 0.001)
        assert near(line.intercept, -39.062, 0.001)
        assert near(float(line.slope) - t * slope_sd(line), 57.4355, 0.001)

    def test_agrees_with_scipy(self) -> None:
        rows = points(NORRIS_X, NORRIS_Y)[:9]
        line = wear.fit(rows)
        theirs = stats.linregress([float(p.x) for p in rows], [float(p.y) for p in rows])
        assert float(line.slope) == pytest.approx(theirs.slope, rel=1e-9)
        assert slope_sd(line) == pytest.approx(theirs.stderr, rel=1e-9)

    @given(
        st.lists(
            st.tuples(st.integers(0, 10_000), st.integers(0, 500)), min_size=4, max_size=12
        ).filter(lambda rows: len({x for x, _ in rows}) > 2)
    )
    def test_prediction_is_narrowest_at_the_mean(self, rows: list[tuple[int, int]]) -> None:
        line = wear.fit([wear.Point(F(x), F(y)) for x, y in rows])

        def width(interval: wear.PredictionInterval) -> float:
            return interval.high - interval.low

        slack = 1e-9 * (1 + line.residual_sd)
        here, far = line.x_mean, line.x_mean + 5_000
        assert width(line.prediction(far)) >= width(line.prediction(here)) - slack

    def test_forecast_lies_where_the_interval_meets_the_limit(self) -> None:
        rows = points("0 1000 2000 3000 4000", "7.0 6.3 5.8 5.0 4.4")
        line = wear.fit(rows)
        forecast = wear.to_limit(line, F("1.6"), falling=True)
        assert forecast.expected is not None
        assert forecast.earliest is not None
        assert forecast.latest is not None
        assert forecast.earliest < forecast.expected < forecast.latest
        assert line.prediction(F(forecast.earliest)).low == pytest.approx(1.6, abs=1e-9)
        assert line.prediction(F(forecast.latest)).high == pytest.approx(1.6, abs=1e-9)
        assert not forecast.passed

    def test_no_forecast_from_scatter_or_the_wrong_way(self) -> None:
        flat = wear.fit(points("0 1 2 3", "5 5.2 4.8 5.1"))
        assert wear.to_limit(flat, F(1), falling=True).latest is None
        rising = wear.fit(points("0 1 2 3", "5 6 7 8.1"))
        assert wear.to_limit(rising, F(1), falling=True).expected is None

    @pytest.mark.parametrize(("xs", "ys"), [("", ""), ("1 2", "3 4"), ("5 5 5", "1 2 3")])
    def test_too_few_points_are_refused(self, xs: str, ys: str) -> None:
        with pytest.raises(wear.TooFewPoints):
            wear.fit(points(xs, ys))

    def test_a_replaced_part_starts_a_new_series(self) -> None:
        rows = points("0 1000 2000 3000 4000", "3.0 2.4 2.5 6.0 5.4")
        parts = wear.split_at_replacements(rows, falling=True, noise=F("0.2"))
        assert [len(part) for part in parts] == [3, 2]


class TestFromTyreFindings:
    @staticmethod
    def derived(finding: Finding, *settings: str) -> list[Derived]:
        results = derive(finding, parse_context(None, settings), TODAY)
        return [result for result in results if isinstance(result, Derived)]

    def test_indicator_bars_stand_a_thirty_second_high(self) -> None:
        # FMVSS 119 S6.4: motorcycle indicators at 0.8 mm (1/32 in), a higher one is not permitted
        for characteristic in ("condition", "tread depth"):
            worn = Finding("tyre", "rear", characteristic, condition="at wear bars")
            (made,) = self.derived(worn)
            assert made.finding.characteristic == "tread depth"
            assert made.finding.quantity is not None
            assert (made.finding.quantity.value, made.finding.quantity.unit) == (F(1, 32), "in")
            assert self.derived(worn, "vehicle_class=car") == []
        assert self.derived(Finding("tyre", "rear", "condition", condition="cracked")) == []

    def test_share_of_the_recommended_pressure(self) -> None:
        low = Finding("tyre", "rear", "pressure", Quantity(F(18), "psi"))
        (made,) = self.derived(low, "pressure_rear=40psi")
        assert made.finding.quantity is not None
        assert made.finding.quantity.value == 45
        assert self.derived(low, "pressure_front=40psi") == []
        assert self.derived(low) == []
