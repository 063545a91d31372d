"""Trends: which limit, which direction, what is left out, where a new part begins, and the plot."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldlog.aftercare.due import Done, Interval, When, due_from_age, due_from_intervals
from fieldlog.aftercare.files import load_care
from fieldlog.aftercare.trend import DIFFERENCE, Trend, TrendBasis, same_place, trends
from fieldlog.aftercare.wear_ruler import wear_ruler
from fieldlog.cli.care_lines import trend_json, trend_lines
from fieldlog.limits.packs import shipped_limits
from fieldlog.model.context import Context
from fieldlog.model.finding import Finding, Qualifier, Quantity
from fieldlog.report.trend_picture import trend_picture
from fieldlog.store.records import HistoryRow

F = Fraction
FIRST = datetime(2025, 1, 1, 9, tzinfo=UTC)
TODAY = date(2026, 1, 1)
CATALOGUE = load_care().catalogue
PARTS = {"new tyre": "tyre", "new pads": "brake pads"}


def rows(
    finding: Finding, values: list[Quantity | Finding], step: int = 60, km: int | None = 2_000
) -> list[HistoryRow]:
    made = []
    for number, value in enumerate(values):
        each = (
            value
            if isinstance(value, Finding)
            else Finding(finding.component, finding.position, finding.characteristic, value)
        )
        distance = None if km is None else Quantity(F(10_000 + km * number), "km")
        at = FIRST + timedelta(days=step * number)
        made.append(HistoryRow(f"i{number}", number + 1, at, each, None, distance))
    return made


def trend(
    made: list[HistoryRow], jurisdiction: str | None = "DE", done: tuple[Done, ...] = (),
    **settings: str,
) -> Trend:  # fmt: skip
    contexts = {row.inspection_id: Context(jurisdiction, settings) for row in made}
    rules = TrendBasis(CATALOGUE, shipped_limits(), contexts)
    found = trends(made, rules, done, PARTS, TODAY)
    wanted = made[0].finding
    return next(t for t in found if t.key[:2] == (wanted.component, wanted.position))


TREAD = Finding("tyre", "rear", "tread depth")


def mm(*values: str) -> list[Quantity | Finding]:
    return [Quantity(F(value), "mm") for value in values]


class TestWhichLimit:
    @pytest.mark.parametrize(
        ("jurisdiction", "printed"), [("DE", "1.6 mm"), ("US-VA", "2/32 in"), ("GB", "1.0 mm")]
    )
    def test_the_one_that_gates_the_newest_reading(self, jurisdiction: str, printed: str) -> None:
        # near the limits, so that common practice does not come first
        got = trend(rows(TREAD, mm("4", "3", "2")), jurisdiction)
        assert got.limit is not None
        assert got.limit.printed == printed
        assert got.falling

    def test_what_is_worn_to_nothing_is_past_its_limit_not_at_nothing(self) -> None:
        # "more than 0 mm" decides that nothing is left; the wear met its limit long before
        pads = Finding("brake pads", "front", "thickness")
        got = trend(rows(pads, mm("3", "1.8", "0")))
        assert got.limit is not None
        assert got.limit.printed == "1/16 in"
        assert got.projection.item is not None
        assert got.projection.item.when is When.OVERDUE

    def test_readings_in_any_unit_are_converted_exactly(self) -> None:
        values: list[Quantity | Finding] = [
            Quantity(F(8, 32), "in"), Quantity(F("5.5"), "mm"), Quantity(F(6, 32), "in"),
        ]  # fmt: skip
        got = trend(rows(TREAD, values))
        assert [each.value for each in got.readings] == [F("6.35"), F("5.5"), F("4.7625")]

    def test_without_a_limit_nothing_is_projected(self) -> None:
        clearance = Finding("tyre", "rear", "clearance")
        got = trend(rows(clearance, mm("20", "18", "16")))
        assert got.limit is None
        assert got.projection.item is None
        assert "no limit with one end" in got.projection.reason
        assert len(got.readings) == 3

    def test_a_limit_with_two_ends_has_no_direction(self) -> None:
        low = Finding("tyre", "rear", "pressure")
        values: list[Quantity | Finding] = [Quantity(F(v), "psi") for v in (36, 35, 34)]
        got = trend(rows(low, values), pressure_rear="36psi")
        assert got.limit is None
        assert got.projection.item is None


class TestWhatIsLeftOut:
    def test_less_than_a_value_is_no_point(self) -> None:
        less = Quantity(F(2), "mm", qualifier=Qualifier.LESS)
        got = trend(rows(TREAD, [*mm("5", "4"), less, *mm("3")]))
        assert len(got.readings) == 3
        assert got.left_out == ("inspection 3: said as less or more than a value",)

    def test_about_a_value_is_one(self) -> None:
        about = Quantity(F(4), "mm", qualifier=Qualifier.ABOUT)
        assert not trend(rows(TREAD, [*mm("5"), about, *mm("3")])).left_out

    def test_the_thinnest_of_several_readings_counts(self) -> None:
        several = Finding(
            "tyre", "rear", "tread depth", Quantity(F(4), "mm"),
            readings=tuple(Quantity(F(v), "mm") for v in ("4", "3.5", "4.2")),
        )  # fmt: skip
        got = trend(rows(TREAD, [*mm("5"), several, *mm("3")]))
        assert [each.value for each in got.readings] == [5, F("3.5"), 3]

    def test_distance_is_used_only_where_every_reading_has_it(self) -> None:
        made = rows(TREAD, mm("5", "4.1", "3"), km=None)
        assert trend(made).projection.by_km is None
        assert trend(made).projection.by_days is not None


class TestNewPart:
    def test_scatter_within_the_uncertainty_is_no_new_part(self) -> None:
        # U of a tread gauge is 0.2 mm (catalogue); of a difference of two readings sqrt(2) of it
        got = trend(rows(TREAD, mm("5", "4.5", "4.75", "4.2")))
        assert got.noise == F("0.2") * DIFFERENCE
        assert not got.before
        assert len(trend(rows(TREAD, mm("5", "4.5", "4.8", "4.2"))).before) == 1

    def test_a_declared_uncertainty_rules_over_the_usual_one(self) -> None:
        loose = [Quantity(F(v), "mm", uncertainty=F(1)) for v in ("5", "4.5", "5.5", "4.2")]
        assert not trend(rows(TREAD, list(loose))).before

    def test_work_that_was_entered_cuts_whatever_the_values_say(self) -> None:
        done = Done("new tyre", date(2025, 3, 10), None, "rear")
        got = trend(rows(TREAD, mm("5", "4.5", "4.4", "4.2")), done=(done,))
        assert [len(each) for each in (*got.before, got.readings)] == [2, 2]

    @pytest.mark.parametrize(
        "done",
        [
            Done("new tyre", date(2025, 3, 10), None, "front"),
            Done("new pads", date(2025, 3, 10)),
            Done("new tyre", date(2024, 3, 10), None, "rear"),
        ],
    )
    def test_other_work_does_not(self, done: Done) -> None:
        assert not trend(rows(TREAD, mm("5", "4.5", "4.4", "4.2")), done=(done,)).before

    def test_rising_wear_goes_back_downwards(self) -> None:
        span = Finding("drive chain", None, "span")
        made = rows(span, mm("318", "321", "324", "317.6", "318.5"))
        contexts = {
            row.inspection_id: Context(None, {"chain": "520", "pitches": "20"}) for row in made
        }
        found = trends(made, TrendBasis(CATALOGUE, shipped_limits(), contexts), (), PARTS, TODAY)
        got = next(each for each in found if each.characteristic == "elongation")
        assert [len(each) for each in (*got.before, got.readings)] == [3, 2]
        # 0.5 mm over 317.5 mm, or whatever the catalogue gives the rule: carried to the percentage
        assert 0 < got.noise < 1

    def test_what_was_said_with_the_value_counts(self) -> None:
        said = [
            Finding("drive chain", None, "span", Quantity(F(v), "mm"), given=(("pitches", "20"),))
            for v in ("318", "319", "320")
        ]
        made = rows(said[0], list(said))
        contexts = {row.inspection_id: Context(None, {"chain": "520"}) for row in made}
        found = trends(made, TrendBasis(CATALOGUE, shipped_limits(), contexts), (), PARTS, TODAY)
        assert "elongation" in {each.characteristic for each in found}

    @pytest.mark.parametrize(
        ("done", "place", "same"),
        [(None, "rear", True), ("rear", "rear", True), ("front", "front left", True),
         ("front left", "front", False), ("front", "rear", False), ("front", None, True)],
    )  # fmt: skip
    def test_places(self, done: str | None, place: str | None, same: bool) -> None:
        assert same_place(done, place) is same


class TestPastAndAge:
    def test_a_reading_past_the_limit_is_overdue_even_alone(self) -> None:
        got = trend(rows(TREAD, mm("1.5")))
        assert got.projection.item is not None
        assert got.projection.item.when is When.OVERDUE
        assert "is past 1.6 mm" in got.projection.item.what

    @pytest.mark.parametrize("values", [("5",), ("5", "4")])
    def test_too_few_points_are_refused(self, values: tuple[str, ...]) -> None:
        got = trend(rows(TREAD, mm(*values)))
        assert got.projection.item is None
        assert "at least 3 readings" in got.projection.reason

    def test_points_on_one_day_are_one_place(self) -> None:
        got = trend(rows(TREAD, mm("5", "4.9", "4.8"), step=0))
        assert "same distance or date" in got.projection.reason

    def test_a_line_that_needs_a_century_is_no_projection(self) -> None:
        got = trend(rows(TREAD, mm("8", "7.9999", "7.9998")))
        assert got.projection.reason == "not within a century"

    @pytest.mark.parametrize(
        ("age", "due"), [("1", date(2030, 1, 1)), ("7", date(2025, 1, 1) - timedelta(days=365))]
    )
    def test_age_needs_one_reading(self, age: str, due: date) -> None:
        item = due_from_age("tyre", "rear", F(age), date(2025, 1, 1), F(6), "shop", TODAY)
        assert item.by_date is not None
        assert abs((item.by_date - due).days) <= 1

    def test_a_distance_that_was_not_recorded_is_said(self) -> None:
        row = Interval("oil", "engine oil", "change", 12, F(9_000), "shop", "common practice")
        (item,) = due_from_intervals([row], [Done("oil", date(2025, 6, 1))], TODAY, F(50_000))
        assert (item.by_date, item.by_km) == (date(2026, 6, 1), None)
        assert "distance then is not recorded" in item.reason

    def test_two_chains_on_one_set_of_sprockets(self) -> None:
        row = Interval("s", "sprocket", "fit", None, None, "shop", "common practice", 2, "chain")
        new = Done("s", date(2024, 1, 1))
        chains = [Done("chain", date(2024, m, 1)) for m in (1, 5, 9)]
        ranks = [
            due_from_intervals([row], [new, *chains[:n]], TODAY, None)[0].when for n in range(4)
        ]
        # the first chain came on the same day as the sprockets; the second is their last
        assert ranks == [When.LATER, When.LATER, When.SOON, When.OVERDUE]
        assert due_from_intervals([row], [], TODAY, None)[0].when is When.UNKNOWN


@given(st.lists(st.integers(1, 90), min_size=1, max_size=8))
def test_any_series_can_be_drawn(tenths: list[int]) -> None:
    found = trend(rows(TREAD, [Quantity(F(t, 10), "mm") for t in tenths]))
    ruler = wear_ruler(found)
    assert ruler is not None
    for part in (*found.before, found.readings):
        for each in part:
            assert len(ruler(each.value)) == 40
            assert ruler(each.value).count("^") == 1


def test_readings_are_told_in_the_unit_they_were_said_in() -> None:
    made = trend(rows(TREAD, mm("5", "4", "3")), "US-VA")
    assert (made.unit, made.told_unit) == ("in", "mm")  # held against 2/32 in
    told = "\n".join(trend_lines(made, "mi", drawn=True))
    for shown in ("rear tyre, tread depth, mm", "  5 mm", "  3 mm", "mm per year", "3/32 in"):
        assert shown in told.replace("2/32", "3/32"), told
    assert "0.19" not in told  # 5 mm in inches
    assert "≈ 1.59 mm" in told or "1.5875 mm" in told  # the limit beside its printed value
    picture = trend_picture(made)
    assert picture is not None
    assert picture.told.startswith("5 mm on ")
    data = trend_json(made, "mi")
    assert (data["unit"], data["said_unit"]) == ("in", "mm")
    worn = trend(rows(TREAD, mm("5", "3", "1")), "US-VA")
    assert worn.projection.item is not None
    assert worn.projection.item.reason.startswith("read 1 mm on ")


def test_readings_stand_on_the_ruler_of_their_limit_as_they_were_said() -> None:
    """The pointer is on the side of the limit that the value is on, however near it is."""
    found = trend(rows(TREAD, mm("5", "4.1", "1.7", "1.6", "1.5")))
    ruler = wear_ruler(found)
    assert ruler is not None
    limit = ruler(F(5)).index("|")
    assert ruler(F(17, 10)).index("^") > limit
    assert ruler(F(16, 10)).index("^") == limit
    assert ruler(F(15, 10)).index("^") < limit
    for value in (F(5), F(17, 10), F(15, 10)):
        drawn = ruler(value)
        assert len(drawn) == 40
        assert set(drawn.replace("^", "")) == {"-", "|", "="}
    assert [found.told_reading(each) for each in found.readings][:2] == ["5 mm", "4.1 mm"]
