"""A scripted year of five inspections of one vehicle, typed as it would be spoken; data invented.

Projections are held against scipy: ``linregress`` for the line, the t distribution and ``brentq`` for
the place where an end of the prediction interval (NIST/SEMATECH e-Handbook 4.5.1.2) meets the limit.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from scipy import optimize, stats

from fieldlog.aftercare.due import DueItem, When
from fieldlog.aftercare.files import load_care, past_of
from fieldlog.aftercare.plan import Plan, plan, usable_context
from fieldlog.aftercare.trend import Trend
from fieldlog.audio.clip import RATE, Clip
from fieldlog.cli import main
from fieldlog.hearing import Heard
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.limits.packs import shipped_limits, with_own
from fieldlog.model.finding import Quantity
from fieldlog.model.hearing import Hearing
from fieldlog.model.limit import Aggregation, Layer, Limit, LimitStatus, Relation
from fieldlog.model.understanding import Decision
from fieldlog.report.write import surroundings
from fieldlog.shop.workshop import Workshop
from fieldlog.store.repository import Repository

F = Fraction

FACTS = {
    "drive": "chain", "chain": "520", "pitches": "20", "wheels": "spoked", "cooling": "air",
    "brake_fluid": "DOT 4", "thread_caliper_bolt": "M8 8.8",
}  # fmt: skip
AXLE = Limit(
    id="own.axle", pack="own", component="axle nut", characteristic="torque", relation=Relation.BETWEEN,
    value=F(85), unit="N.m", aggregation=Aggregation.SINGLE, applies={}, source="maker's manual, page 112",
    edition="", read_on="", status=LimitStatus.ENTERED, high=F(95), layer=Layer.MAKER,
)  # fmt: skip

YEAR: tuple[tuple[date, int, tuple[str, ...]], ...] = (
    (date(2025, 2, 1), 12_400, (
        "rear tread five point two millimetres", "front tread four point zero millimetres",
        "front pads four point zero millimetres", "chain span three hundred eighteen millimetres",
        "rear tyre date code two two two one",
        "insurance expires 2025-12-31", "registration expires 2026-03-15",
    )),
    (date(2025, 5, 3), 14_900, (
        "rear tread four point one millimetres", "front tread three point eight millimetres",
        "front pads three point six millimetres", "chain span three hundred nineteen millimetres",
        "remark front brake fluid changed",
    )),
    (date(2025, 8, 2), 17_500, (
        "rear tread two point nine millimetres", "front tread three point five millimetres",
        "front pads three point one millimetres", "chain span three hundred twenty millimetres",
        "battery twelve point six volts",
    )),
    (date(2025, 11, 1), 20_000, (
        "rear tread seven point zero millimetres", "front tread three point three millimetres",
        "front pads two point seven millimetres",
        "chain span three hundred twenty two millimetres", "insurance expires 2026-12-31",
    )),
    (date(2026, 1, 31), 22_000, (
        "rear tread six point two millimetres", "front tread three point one millimetres",
        "front pads two point four millimetres",
        "chain span three hundred twenty eight millimetres", "rear disc cracked",
        "rear pads one millimetre", "front brake fluid dot five",
    )),
)  # fmt: skip
LAST = YEAR[-1][0]


@dataclass(frozen=True)
class Shop:
    """A store with the scripted year in it."""

    folder: Path
    store: Repository
    vehicle_id: str

    def plan(self, today: date = LAST) -> Plan:
        past = past_of(self.store, self.store.vehicle(self.vehicle_id))
        return plan(past, load_care(), with_own(shipped_limits(), past.vehicle.limits), today)

    def trend(self, component: str, position: str | None, characteristic: str) -> Trend:
        key = (component, position, characteristic)
        return next(each for each in self.plan().trends if each.key == key)

    def due(self, what: str, today: date = LAST) -> DueItem:
        (item,) = [each for each in self.plan(today).due if what in each.what]
        return item


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    folder = tmp_path_factory.mktemp("year")
    language = load_language()
    with Repository.open(folder) as store:
        vehicle = store.add_vehicle("blue roadster", facts=FACTS)
        store.set_vehicle_limit(vehicle.id, AXLE)
        for day, miles, words in YEAR:
            _inspect(store, vehicle.id, day, miles, words, language)
        yield Shop(folder, store, vehicle.id)


def _inspect(
    store: Repository,
    vehicle_id: str,
    day: date,
    miles: int,
    words: tuple[str, ...],
    language: InspectionLanguage,
) -> None:
    at = datetime(day.year, day.month, day.day, 9, tzinfo=UTC)
    head = store.start_inspection(
        vehicle_id, started_at=at, jurisdiction="DE", odometer=Quantity(F(miles), "mi")
    )
    inspecting = Workshop(store, language=language).inspecting(head.id)
    for number, said in enumerate(words):
        understood = language.understand(said)
        assert understood.decision is Decision.ACCEPT, f"{said}: {understood.reason}"
        sound = np.full(RATE // 10, number / 1_000, dtype=np.float32)
        clip = Clip(sound, 5.0 * number)
        inspecting.say(Heard(clip, Hearing("typed", (), 0.0), understood, (), 0.0), "typed")


# -- oracle -----------------------------------------------------------------------------------------


def oracle(xs: list[float], ys: list[float], limit: float) -> tuple[float, float, float]:
    """Expected, earliest and latest x at which the line, and its 95 % interval, meet ``limit``."""
    n, line = len(xs), stats.linregress(xs, ys)
    mean = sum(xs) / n
    sxx = sum((x - mean) ** 2 for x in xs)
    residuals = [y - line.intercept - line.slope * x for x, y in zip(xs, ys, strict=True)]
    s = math.sqrt(sum(r * r for r in residuals) / (n - 2))
    t = stats.t.ppf(0.975, n - 2)

    def end(x: float, sign: int) -> float:
        half = t * s * math.sqrt(1 + 1 / n + (x - mean) ** 2 / sxx)
        return float(line.intercept + line.slope * x + sign * half - limit)

    far = 50 * (max(xs) - min(xs))
    ends = [
        float(optimize.brentq(lambda x, sign=sign: end(x, sign), mean, mean + far))
        for sign in (-1, 1)
    ]
    return (limit - line.intercept) / line.slope, min(ends), max(ends)


def test_front_tread_is_projected_by_date_and_distance(shop: Shop) -> None:
    values = [4.0, 3.8, 3.5, 3.3, 3.1]
    days = [float((day - YEAR[0][0]).days) for day, _, _ in YEAR]
    expected, earliest, latest = oracle(days, values, 1.6)  # StVZO section 36
    item = shop.due("tread depth reaches 1.6 mm")
    assert (item.component, item.position) == ("tyre", "front")
    assert item.by_date == YEAR[0][0] + timedelta(days=round(expected))
    assert item.earliest == YEAR[0][0] + timedelta(days=round(earliest))
    assert item.latest == YEAR[0][0] + timedelta(days=round(latest))
    km = [miles * 1.609344 for _, miles, _ in YEAR]
    expected, earliest, latest = oracle(km, values, 1.6)
    assert item.by_km == pytest.approx(expected, abs=0.51)
    forecast = shop.trend("tyre", "front", "tread depth").projection.by_km
    assert forecast is not None
    assert (forecast.earliest, forecast.latest) == pytest.approx((earliest, latest), rel=1e-9)
    assert item.when is When.LATER
    # 2.5 mm in 364 days at 0.9 mm a year lies near the end of 2027, by hand as well
    assert item.by_date.year == 2027


def test_pads_are_projected_to_what_common_practice_asks(shop: Shop) -> None:
    values = [v / 25.4 for v in (4.0, 3.6, 3.1, 2.7, 2.4)]
    days = [float((day - YEAR[0][0]).days) for day, _, _ in YEAR]
    expected, *_ = oracle(days, values, 1 / 16)
    trend = shop.trend("brake pads", "front", "thickness")
    assert trend.limit is not None
    assert trend.limit.status is LimitStatus.COMMON
    assert trend.falling
    assert trend.projection.item is not None
    assert trend.projection.item.by_date == YEAR[0][0] + timedelta(days=round(expected))


def test_chain_elongation_is_derived_from_spans_and_rises(shop: Shop) -> None:
    nominal = 20 * 15.875
    values = [100 * (span - nominal) / nominal for span in (318, 319, 320, 322, 328)]
    trend = shop.trend("drive chain", None, "elongation")
    assert [float(each.value) for each in trend.readings] == pytest.approx(values, rel=1e-12)
    assert trend.falling is False
    assert trend.projection.item is not None
    # 3.31 % is past the limit of 3 %, though the line through all five is not there yet
    assert trend.projection.item.when is When.OVERDUE
    assert (trend.projection.item.by_date, trend.projection.item.earliest) == (LAST, None)


def test_a_replaced_tyre_begins_a_new_series_and_is_not_projected_from_two_points(
    shop: Shop,
) -> None:
    trend = shop.trend("tyre", "rear", "tread depth")
    assert [len(each) for each in (*trend.before, trend.readings)] == [3, 2]
    assert trend.replaced_on == (date(2025, 11, 1),)
    assert trend.projection.item is None
    assert "at least 3 readings, there are 2" in trend.projection.reason
    seen = [each for each in shop.plan().done if each.interval == "new tyre"]
    assert [(each.on, each.position) for each in seen] == [(date(2025, 11, 1), "rear")]
    assert "went back between 2025-08-02 and 2025-11-01" in seen[0].how


def test_age_runs_evenly_from_the_date_code(shop: Shop) -> None:
    # week 22 of 2021 began on 30 May 2021 (first Sunday: 3 January); 6 years of 365.2425 days on
    item = shop.due("age reaches 6 years")
    assert item.by_date == date(2027, 5, 31)
    assert item.position == "rear"


def test_papers_come_due_by_the_newest_date_that_was_read(shop: Shop) -> None:
    assert shop.due("renew insurance").by_date == date(2026, 12, 31)
    assert shop.due("renew insurance").when is When.LATER
    assert shop.due("renew registration").when is When.SOON  # 43 days after the last inspection
    assert shop.due("renew registration", date(2026, 3, 16)).when is When.OVERDUE


def test_a_remark_that_says_so_starts_the_interval_anew(shop: Shop) -> None:
    item = shop.due("change the brake fluid")
    assert item.by_date == date(2027, 5, 3)  # two years after the remark
    assert "remark of inspection 2" in item.reason


def test_a_remark_knows_the_distance_of_its_inspection(shop: Shop) -> None:
    (told,) = [each for each in shop.plan().done if each.interval == "brake fluid"]
    assert (told.odometer_km, told.position) == (F(14_900) * F("1.609344"), "front")


def test_a_finding_on_the_battery_is_its_check(shop: Shop) -> None:
    item = shop.due("check the battery")
    assert item.by_date == date(2025, 9, 2)
    assert item.when is When.OVERDUE


def test_what_nobody_recorded_is_unknown_and_what_is_not_there_is_not_asked(shop: Shop) -> None:
    plans = {item.component: item for item in shop.plan().due if "reaches" not in item.what}
    assert plans["fork oil"].when is When.UNKNOWN
    assert "coolant" not in plans  # air-cooled
    assert "final drive oil" not in plans  # chain


def test_most_urgent_comes_first(shop: Shop) -> None:
    order = [When.OVERDUE, When.SOON, When.LATER, When.UNKNOWN]
    ranks = [order.index(item.when) for item in shop.plan().due]
    assert ranks == sorted(ranks)


def test_the_report_of_an_earlier_inspection_knows_nothing_of_later_ones(shop: Shop) -> None:
    record = shop.store.inspection_record("3")
    around = surroundings(shop.store, record, datetime(2026, 2, 1, tzinfo=UTC))
    (tread,) = [i for i in around.due if "tread" in i.what and i.position == "rear"]
    first = YEAR[0][0]
    expected, *_ = oracle([0.0, 91.0, 182.0], [5.2, 4.1, 2.9], 1.6)
    assert tread.by_date == first + timedelta(days=round(expected))
    assert "insurance" in {item.component for item in around.due}


# -- the same through the command line --------------------------------------------------------------


def run(shop: Shop, *words: str, fails: int = 0) -> str:
    result = CliRunner().invoke(main, [*words, "--store", str(shop.folder)])
    assert result.exit_code == fails, result.output
    return result.output


def parsed(shop: Shop, *words: str) -> Any:
    return json.loads(run(shop, *words, "--json"))


def test_trend_command(shop: Shop) -> None:
    (rear,) = parsed(
        shop, "vehicle", "trend", "1", "--component", "tyre", "--position", "rear", "--on",
        "2026-01-31",
    )[1:]  # age first, tread after it  # fmt: skip
    assert rear["replaced_on"] == ["2025-11-01"]
    assert len(rear["before"][0]) == 3
    assert rear["readings"][0]["odometer"] == {"num": 20_000, "den": 1, "unit": "mi"}
    told = run(shop, "vehicle", "trend", "1", "--on", "2026-01-31")
    assert "a new part from here on" in told
    assert "front brake pads, thickness" in told
    assert "---|==" in told
    assert "^" in told


def test_due_command(shop: Shop) -> None:
    items = parsed(shop, "vehicle", "due", "1", "--on", "2026-01-31")
    assert items[0]["when"] == "overdue"
    tread = next(i for i in items if "1.6 mm" in i["what"])
    assert tread["by_distance"]["unit"] == "mi"
    told = run(shop, "vehicle", "due", "1", "--on", "2026-01-31")
    assert "renew insurance" in told
    unknown = [line for line in told.splitlines() if "never recorded as done" in line]
    assert len(unknown) == 1  # folded as in the report
    assert "unknown" not in told
    assert sum(i["when"] == "unknown" for i in items) == unknown[0].count(",") + 1 > 1


def test_jobs_command(shop: Shop) -> None:
    found = parsed(shop, "inspection", "jobs", "last")
    chain, rear, fluid, ride, again = found["jobs"]
    assert [part["item"] for part in chain["parts"]] == [
        "drive chain",
        "front sprocket",
        "rear sprocket",
    ]
    assert {
        "fastener": "axle nut",
        "place": "rear",
        "value": "85 to 95 N·m",
        "source": "maker's manual, page 112",
    } in chain["torques"]
    assert (rear["position"], rear["severity"]) == ("rear", "dangerous")
    # the worn pads go with the cracked disc
    assert [part["item"] for part in rear["parts"]] == ["brake disc", "brake pads"]
    assert len(rear["because"]) == 2
    (caliper,) = [t["source"] for t in rear["torques"] if t["fastener"] == "caliper bolt"]
    assert "maker's manual: no value entered" in caliper
    assert "advice only" in caliper
    assert "VDI 2230:2001" in caliper
    assert any("never mixed with DOT 4" in text for text in fluid["advice"])
    assert ride["do"].startswith("test ride")
    assert again["do"].startswith("after 50 to 100 miles")
    pads = next(each for each in found["shopping"] if each["item"] == "brake pads")
    assert (pads["count"], pads["each"], pads["place"]) == (1, "set", "rear")
    assert "to buy:" in run(shop, "inspection", "jobs")


def test_open_and_skip_commands(shop: Shop) -> None:
    before = parsed(shop, "inspection", "open", "last")
    assert "front brake pads" in before["checked"]
    assert "front tyre" in before["open"]
    assert next(each for each in before["left"] if each["item"] == "front tyre") == {
        "item": "front tyre", "system": "tyres", "stage": "before start", "sights": ["pressure"],
        "begun": True,
    }  # fmt: skip
    assert "coolant" not in before["open"]
    assert "horn" in before["open"]
    run(shop, "inspection", "skip", "horn", "--reason", "no key")
    run(shop, "inspection", "skip", "valve stem", "--reason", "no time")
    after = parsed(shop, "inspection", "open", "last")
    assert after["skipped"]["horn"] == "no key"
    assert {"front valve stem", "rear valve stem"} <= set(after["skipped"])
    assert len(after["open"]) == len(before["open"]) - 3


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("inspection", "skip", "horn", "--reason", " "), "only with a reason"),
        (("inspection", "skip", "hron", "--reason", "x"), "one of: horn"),
        (("vehicle", "done", "1", "brake fluid was not changed"), "no work known"),
        (("vehicle", "interval", "1", "wings", "--source", "p. 1"), "no interval"),
        (("vehicle", "checklist", "1", "--remove", "wings"), "not on the list"),
        (("vehicle", "checklist", "1", "--add", "wings"), "not in the catalogue"),
        (("vehicle", "trend", "1", "--component", "wings"), "not in the catalogue"),
        (("vehicle", "due", "9"), "no vehicle"),
    ],
)
def test_what_cannot_be_meant_is_one_line(shop: Shop, words: tuple[str, ...], told: str) -> None:
    output = run(shop, *words, fails=2)
    assert told in output
    assert len(output.strip().splitlines()) == 1


def test_the_report_shows_what_comes_due_and_how_it_wears(shop: Shop, tmp_path: Path) -> None:
    run(shop, "report", "last", "--html", "--out", str(tmp_path))
    (page,) = tmp_path.glob("*.html")
    text = page.read_text(encoding="utf-8")
    for part in (
        "coming due", "tread depth reaches 1.6 mm", "renew registration", "never recorded as done",
        'class="course"', "85 to 95 N·m (maker&#39;s manual, page 112)",
        "do not ride it before this is put right",
    ):  # fmt: skip
        assert part in text, part
    assert " mi" in text  # in the unit of the odometer


def test_show_ends_with_the_conclusion(shop: Shop) -> None:
    told = run(shop, "inspection", "show", "last")
    assert "do not ride it before this is put right" in told
    assert "not checked" in told
    assert "safe" not in told.lower()


def test_work_done_intervals_and_checklist_are_kept(tmp_path: Path) -> None:
    with Repository.open(tmp_path) as store:
        vehicle = store.add_vehicle("red single", odometer=Quantity(F(9_000), "km"))
        other = Shop(tmp_path, store, vehicle.id)
        run(other, "vehicle", "done", "1", "engine oil changed", "--on", "2026-01-05", "--odometer",
            "9000 km")  # fmt: skip
        oil = other.due("engine oil", date(2026, 2, 1))
        assert (oil.by_date, oil.by_km) == (date(2027, 1, 5), F(9_000) + F(6_000) * F("1.609344"))
        run(other, "vehicle", "interval", "1", "engine oil", "--every", "5000 km", "--source",
            "manual p. 45")  # fmt: skip
        oil = other.due("engine oil", date(2026, 2, 1))
        assert (oil.by_date, oil.by_km) == (None, 14_000)
        assert oil.source == "manual p. 45 (entered by user)"
        run(other, "vehicle", "checklist", "1", "--add", "chain slider", "--remove", "mirror",
            "--monthly", "vent hose", "--move", "horn", "front tyre")  # fmt: skip
        shown = parsed(other, "vehicle", "checklist", "1")
        names = [item["item"] for item in shown]
        assert names.index("horn") == names.index("front tyre") - 1
        assert names[-1] == "chain slider"
        assert "mirror" not in names
        assert [
            item["item"] for item in shown if item["monthly"] and item["system"] == "battery"
        ] == ["vent hose"]
        run(other, "vehicle", "set", "1", "drive=shaft")
        names = [item["item"] for item in parsed(other, "vehicle", "checklist", "1")]
        assert "final drive oil" in names
        assert "drive chain" not in names
        run(other, "vehicle", "set", "1", "log done=never", fails=2)
        assert store.verify().agrees


@pytest.mark.parametrize("fact", ["drive=rope", "rim=wood", "chain=521", "cooling=steam"])
def test_a_fact_that_cannot_be_meant_is_not_saved(tmp_path: Path, fact: str) -> None:
    with Repository.open(tmp_path) as store:
        other = Shop(tmp_path, store, store.add_vehicle("red single").id)
        run(other, "vehicle", "set", "1", fact, fails=2)
        run(other, "vehicle", "add", "blue single", "--set", fact, fails=2)
        run(other, "vehicle", "set", "1", "make=whoever", "year=1998", "drive=")
        assert "drive" not in store.vehicle("1").facts


def test_an_old_slip_does_not_hide_the_vehicle(tmp_path: Path) -> None:
    with Repository.open(tmp_path) as store:
        vehicle = store.add_vehicle("red single", facts={"rim": "wood", "chain": "520"})
        head = store.start_inspection(vehicle.id, settings={"pitches": "20"}, jurisdiction="DE")
        context, notes = usable_context(vehicle, head)
        assert dict(context.settings) == {"chain": "520", "pitches": "20"}
        assert context.jurisdiction == "DE"
        assert "'wood' is none of its values" in notes[0]
        other = Shop(tmp_path, store, vehicle.id)
        assert other.plan().notes == notes
        around = surroundings(store, store.inspection_record("1"), datetime(2026, 2, 1, tzinfo=UTC))
        assert notes[0] in around.notes


def test_the_vehicles_own_limits_gate_and_can_be_let_go(tmp_path: Path) -> None:
    with Repository.open(tmp_path) as store:
        other = Shop(tmp_path, store, store.add_vehicle("red single").id)
        run(other, "vehicle", "limit", "1", "brake disc", "thickness", "at least", "4.5 mm",
            "--source", "stamped on it", "--position", "front")  # fmt: skip
        (kept,) = parsed(other, "vehicle", "limits", "1")
        assert (kept["id"], kept["num"], kept["den"]) == ("own.brake-disc.thickness.front", 9, 2)
        run(other, "inspection", "start", "1", "--on", "2026-02-01")
        told = run(other, "inspection", "enter", "front disc four point two millimetres")
        assert "beyond" in told
        assert "undecided" in run(
            other, "inspection", "enter", "rear disc four point two millimetres"
        )
        pack = tmp_path / "own.toml"
        pack.write_text(
            '[pack]\nid = "own"\ntitle = "own"\nlayer = "maker"\nstatus = "entered by user"\n'
            '[[limit]]\nid = "own.chain"\ncomponent = "drive chain"\ncharacteristic = "slack"\n'
            'relation = "between"\nprinted = "25 to 35 mm"\nsource = "manual p. 30"\n'
        )
        assert "25 to 35 mm" in run(other, "vehicle", "limits", "1", "--from", str(pack))
        left = run(other, "vehicle", "limits", "1", "--drop", "own.brake-disc.thickness.front")
        assert "brake disc" not in left
        for words in (
            ("vehicle", "limit", "1", "wings", "span", "at least", "4 mm", "--source", "x"),
            (
                "vehicle",
                "limit",
                "1",
                "brake disc",
                "thickness",
                "at least",
                "4 V",
                "--source",
                "x",
            ),
            ("vehicle", "limit", "1", "brake disc", "thickness", "at least", "4", "--source", "x"),
            (
                "vehicle",
                "limit",
                "1",
                "brake disc",
                "thickness",
                "at least",
                "4 mm",
                "--source",
                " ",
            ),
        ):
            run(other, *words, fails=7)
        run(other, "vehicle", "limits", "1", "--drop", "nothing", fails=2)
