"""Due items, checklist and conclusion: what follows when the verdicts are known."""

from __future__ import annotations

from datetime import date, timedelta
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldlog.aftercare import checklist, due
from fieldlog.aftercare.checklist import Item, Skip
from fieldlog.aftercare.conclusion import conclude
from fieldlog.aftercare.due import Done, Interval, WearReading, When
from fieldlog.aftercare.plan import last_day
from fieldlog.errors import UsageError
from fieldlog.model.finding import Finding
from fieldlog.model.state import Severity, State
from fieldlog.model.verdict import Verdict

F = Fraction
TODAY = date(2026, 3, 14)
TRUING = Interval(
    "true wheels", "rim", "check spokes and true the wheels", 12, F(10_000) * F("1.609344"),
    "shop habit", "common practice",
)  # fmt: skip


class TestDue:
    @pytest.mark.parametrize(
        ("start", "months", "end"),
        [
            (date(2026, 1, 31), 1, date(2026, 2, 28)),
            (date(2024, 2, 29), 12, date(2025, 2, 28)),
            (date(2026, 11, 15), 3, date(2027, 2, 15)),
            (date(2026, 3, 14), 24, date(2028, 3, 14)),
        ],
    )
    def test_months_keep_the_day_where_there_is_one(
        self, start: date, months: int, end: date
    ) -> None:
        assert due.add_months(start, months) == end

    def test_whichever_comes_first(self) -> None:
        done = {"true wheels": Done("true wheels", date(2025, 9, 1), F(20_000))}
        (far,) = due.due_from_intervals([TRUING], done, TODAY, F(25_000))
        assert (far.by_date, far.when) == (date(2026, 9, 1), When.LATER)
        (ridden,) = due.due_from_intervals([TRUING], done, TODAY, F(36_000))
        assert ridden.when is When.SOON
        (late,) = due.due_from_intervals([TRUING], done, TODAY, F(40_000))
        assert late.when is When.OVERDUE

    def test_no_record_is_unknown_never_fine(self) -> None:
        (item,) = due.due_from_intervals([TRUING], {}, TODAY, F(25_000))
        assert item.when is When.UNKNOWN
        assert "no record" in item.reason

    @pytest.mark.parametrize(
        ("days", "when"),
        [(-1, When.OVERDUE), (0, When.SOON), (60, When.SOON), (61, When.LATER)],
    )
    def test_papers(self, days: int, when: When) -> None:
        item = due.due_from_expiry("registration", TODAY + timedelta(days=days), TODAY)
        assert item.when is when

    def test_wear_is_projected_by_date_and_distance(self) -> None:
        # tread of 7 mm losing exactly 1 mm per 100 days and per 2,000 km, with a little scatter
        scatter = [F("0.02"), F("-0.03"), F("0.02"), F("0.01"), F("-0.02")]
        rows = [
            WearReading(
                TODAY + timedelta(days=100 * n), F(10_000 + 2_000 * n), F(7 - n) + scatter[n]
            )
            for n in range(5)
        ]
        got = due.due_from_wear(
            "tyre", "rear", "tread depth", rows, F("1.6"), "mm", True, "StVZO s.36", TODAY
        )
        assert got.item is not None
        assert got.item.by_date is not None
        assert abs((got.item.by_date - (TODAY + timedelta(days=540))).days) <= 6
        assert got.item.earliest is not None
        assert got.item.latest is not None
        assert got.item.earliest < got.item.by_date < got.item.latest
        assert got.item.by_km is not None
        assert abs(got.item.by_km - 20_800) < 150

    def test_too_few_readings_are_refused_with_the_reason(self) -> None:
        rows = [WearReading(TODAY, None, F(5)), WearReading(TODAY + timedelta(days=90), None, F(4))]
        got = due.due_from_wear("tyre", "rear", "tread depth", rows, F(1), "mm", True, "x", TODAY)
        assert got.item is None
        assert "at least 3" in got.reason

    def test_readings_that_do_not_wear_give_no_date(self) -> None:
        rows = [WearReading(TODAY + timedelta(days=90 * n), None, F(5)) for n in range(4)]
        got = due.due_from_wear("tyre", "rear", "tread depth", rows, F(1), "mm", True, "x", TODAY)
        assert got.item is None
        assert "do not move" in got.reason


def test_a_day_of_no_known_year_is_no_due_day() -> None:
    assert last_day("2027-02") == date(2027, 2, 28)
    assert last_day("2027-03-03") == date(2027, 3, 3)
    assert last_day("--03-03") is None


WALK = (
    Item("tyres", "tyre", "front"), Item("tyres", "tyre", "rear"),
    Item("lights", "horn"), Item("papers", "registration", monthly=True),
)  # fmt: skip


def finding(component: str, position: str | None = None) -> Finding:
    return Finding(component, position, None, condition="sound")


class TestChecklist:
    def test_open_shrinks_as_findings_come(self) -> None:
        got = checklist.progress(WALK, [finding("tyre", "front")])
        assert [item.key for item in got.open] == ["rear tyre", "horn", "registration"]
        assert not got.complete

    def test_a_finer_position_checks_the_coarser_item(self) -> None:
        walk = (Item("brakes", "brake pads", "front"),)
        assert checklist.progress(walk, [finding("brake pads", "front left")]).complete
        assert not checklist.progress(walk, [finding("brake pads", "rear")]).complete

    def test_a_skip_needs_a_reason_and_keeps_it(self) -> None:
        got = checklist.progress(WALK, [], [Skip("horn", "no key")])
        assert [(item.key, why) for item, why in got.skipped] == [("horn", "no key")]
        with pytest.raises(UsageError, match="needs a reason"):
            checklist.progress(WALK, [], [Skip("horn", " ")])

    def test_monthly_items_rest_for_a_month(self) -> None:
        last = {"registration": TODAY - timedelta(days=12)}
        got = checklist.progress(WALK, [], last_checked=last, today=TODAY)
        assert [item.key for item in got.not_due] == ["registration"]
        later = checklist.progress(WALK, [], last_checked=last, today=TODAY + timedelta(days=30))
        assert not later.not_due

    def test_editing_the_walk(self) -> None:
        walk = checklist.add(WALK, Item("lights", "headlamp"), after="rear tyre")
        assert [item.key for item in walk][2] == "headlamp"
        walk = checklist.move(walk, "horn", before="front tyre")
        assert walk[0].key == "horn"
        walk = checklist.set_monthly(checklist.remove(walk, "rear tyre"), "horn", True)
        assert walk[0].monthly
        assert "rear tyre" not in [item.key for item in walk]

    @pytest.mark.parametrize("act", [lambda: checklist.remove(WALK, "wings"),
                                     lambda: checklist.move(WALK, "horn", "wings"),
                                     lambda: checklist.add(WALK, WALK[0])])  # fmt: skip
    def test_names_that_are_not_there(self, act: object) -> None:
        with pytest.raises(UsageError):
            act()  # type: ignore[operator]

    @given(st.permutations(WALK), st.sampled_from([item.key for item in WALK]))
    def test_every_item_is_in_exactly_one_group(self, walk: list[Item], skipped: str) -> None:
        got = checklist.progress(walk, [finding("tyre", "rear")], [Skip(skipped, "why")])
        groups = [*got.checked, *(item for item, _ in got.skipped), *got.open, *got.not_due]
        assert sorted(item.key for item in groups) == sorted(item.key for item in walk)


class TestConclusion:
    @pytest.mark.parametrize(
        ("verdicts", "has"),
        [
            ([Verdict(State.BEYOND, None, severity=Severity.DANGEROUS)], "do not ride"),
            ([Verdict(State.BEYOND, None, severity=Severity.MAJOR)], "before it goes back"),
            (
                [Verdict(State.BEYOND, None, severity=Severity.MINOR)],
                "1 finding beyond limits: to be put right at the next",
            ),
            ([Verdict(State.MARGINAL, None)], "near a limit or against common practice"),
            ([Verdict(State.MARGINAL, None, severity=Severity.DANGEROUS)], "do not ride"),
            ([Verdict(State.WITHIN, None)], "Nothing beyond a limit among what was checked"),
            ([], "Nothing was judged"),
        ],
    )
    def test_headline_follows_the_worst(self, verdicts: list[Verdict], has: str) -> None:
        assert has in conclude(verdicts, open_items=0).headline

    def test_what_is_missing_is_said(self) -> None:
        got = conclude([Verdict(State.UNDECIDED, None)], open_items=3, asked=1)
        assert "1 finding without a decision" in got.headline
        assert "1 spoken value never confirmed and 3 items not checked" in got.headline

    @given(st.lists(st.sampled_from(list(State)), max_size=6), st.integers(0, 40))
    def test_it_never_says_safe(self, states: list[State], open_items: int) -> None:
        verdicts = [Verdict(state, None, severity=Severity.MAJOR) for state in states]
        got = conclude(verdicts, open_items)
        assert "safe" not in (got.headline + got.deferral).lower()
