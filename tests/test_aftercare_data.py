"""Intervals, walk and work as data: every fault at once, and what the shipped files say."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldlog import config
from fieldlog.aftercare import checklist
from fieldlog.aftercare.checklist import Item, Skip
from fieldlog.aftercare.equipment import Fact, has, unknown
from fieldlog.aftercare.files import load_care
from fieldlog.aftercare.intervals import Intervals, distance_km, read_intervals, said
from fieldlog.aftercare.page import page
from fieldlog.aftercare.plan import WALKS
from fieldlog.aftercare.walk_list import read_walk, walk_for
from fieldlog.aftercare.work import MANUAL, Tighten, read_work, torques_for
from fieldlog.catalogue.files import load_catalogue
from fieldlog.derived import torque
from fieldlog.errors import LimitError, UsageError
from fieldlog.model.finding import Finding
from fieldlog.model.limit import Aggregation, Limit, LimitStatus, Relation

F = Fraction
CATALOGUE = load_catalogue(config.grammars())
CARE = load_care()
FACTS = {"drive": Fact("drive", "final drive", ("chain", "shaft"), "chain"),
         "wheels": Fact("wheels", "kind of wheels", ("spoked", "cast"))}  # fmt: skip


def faults(text: str, kind: str = "interval") -> str:
    readers: dict[str, Callable[[], object]] = {
        "interval": lambda: read_intervals(text, CATALOGUE, FACTS, "own.toml"),
        "walk": lambda: read_walk(text, CATALOGUE, "own.toml"),
        "work": lambda: read_work(text, CATALOGUE, "own.toml"),
    }
    with pytest.raises(LimitError) as caught:
        readers[kind]()
    return str(caught.value)


class TestFaults:
    def test_every_fault_of_the_intervals_at_once(self) -> None:
        told = faults(
            """
            status = "hearsay"
            [[interval]]
            id = "a"
            component = "wings"
            do = "grease"
            months = 0
            every = "far"
            things = ["wings"]
            speed = 3
            needs = { drive = "belt", fuel = "coal" }
            [[interval]]
            id = "a"
            component = "battery"
            count = 2
            of = "nothing"
            things = "battery"
            [[interval]]
            id = "b"
            component = "battery"
            do = "look"
            things = ["battery"]
            source = "a book"
            status = "common practice"
            count = 2
            [[wear]]
            component = "battery"
            characteristic = "tread depth"
            """
        )
        for part in (
            "'wings' is not in the catalogue",
            "months: a whole number above 0",
            "every: 'far' is no distance",
            "unknown key 'speed'",
            "'belt', none of chain, shaft",
            "needs fuel, which is no fact",
            "status 'hearsay'",
            "used twice",
            "do is missing",
            "source is missing",
            "things: a list of texts",
            "of 'nothing', which is no id",
            "b: count and of go together",
            "no characteristic of 'battery'",
        ):
            assert part in told, part
        assert "own.toml" in told

    def test_every_fault_of_the_walk_at_once(self) -> None:
        told = faults(
            """
            [facts.drive]
            choices = ["chain", "belt"]
            assumed = "rope"
            about = "final drive"
            [[item]]
            component = "tyre"
            at = "middle"
            also = ["wings"]
            [[item]]
            component = "horn"
            needs = { drive = "air" }
            [[item]]
            component = "horn"
            [[item]]
            component = "mirror"
            stage = "dreaming"
            at = ["left"]
            see = [
              { name = "glass", measures = ["shine"], conditions = ["purple"], of = ["rotor"] },
              { name = "glass", odd = 1 },
            ]
            [[stage]]
            name = "dreaming"
            """,
            "walk",
        )
        for part in (
            "assumed 'rope'", "at = 'middle'", "'wings' is not in", "'air', none of chain, belt",
            "'shine' is measured on none", "'purple' is no condition", "'rotor' is not in", "one name",
            "unknown key 'odd'", "no stage 'standing'", "stage 1: a name of its own and what it is",
            "'horn' is on the walk twice", "no item of the system 'papers'",
        ):  # fmt: skip
            assert part in told, part

    def test_every_fault_of_the_work_at_once(self) -> None:
        told = faults(
            """
            [[work]]
            component = "wings"
            undoes = ["axle nut"]
            [[work]]
            component = "tyre"
            undoes = ["horn", "axle bolt"]
            [[work]]
            component = "tyre"
            undoes = []
            """,
            "work",
        )
        for part in ("wings: is not in", "'horn' has no torque", "'axle bolt' has", "there twice"):
            assert part in told, part

    def test_a_text_that_is_no_toml(self) -> None:
        assert "own.toml" in faults("[[interval")

    @pytest.mark.parametrize("text", ["", "6000", "6000 ft", "0 km", "-5 km", "six km"])
    def test_what_is_no_distance(self, text: str) -> None:
        with pytest.raises(ValueError, match="no distance"):
            distance_km(text)

    def test_distances_are_exact(self) -> None:
        assert distance_km("6000 mi") == F(6000) * F("1.609344")  # the international mile
        assert distance_km("10000 km") == 10_000


class TestShipped:
    def test_what_the_trade_usually_does(self) -> None:
        rows = CARE.intervals.rows
        assert rows["brake fluid"].months == 24
        assert (rows["spokes"].months, rows["spokes"].km) == (12, distance_km("10000 mi"))
        assert (rows["sprockets"].count, rows["sprockets"].of) == (2, "new chain")
        assert rows["battery check"].months == 1
        assert {row.status for row in rows.values()} == {"common practice"}

    def test_the_walk_is_of_a_size_a_person_does_and_misses_no_system(self) -> None:
        items = walk_for(CARE.walk, CATALOGUE, {}).items
        assert 60 <= len(items) <= 90  # each lamp, seal, nut and mirror by its place
        logged_when_spoken = {"engine", "equipment"}
        assert {item.system for item in items} == set(CATALOGUE.systems) - logged_when_spoken
        assert {sight.stage.name for item in items for sight in item.sees} == {
            *("before start", "standing", "running", "loaded", "test ride")
        }

    def test_the_further_walks(self) -> None:
        assert tuple(CARE.others) == WALKS
        for name, has_it, has_not in (
            ("storage", "fuel system", "horn"),
            ("recommissioning", "front brake caliper", "left mirror"),
            ("recheck", "front spokes", "horn"),
        ):
            names = [item.key for item in walk_for(CARE.others[name], CATALOGUE, {}).items]
            assert has_it in names
            assert has_not not in names

    @pytest.mark.parametrize(
        ("facts", "there", "not_there"),
        [
            ({"drive": "shaft"}, "final drive oil", "drive chain"),
            ({"drive": "belt"}, "front pulley", "rear sprocket"),
            ({"rear_brake": "drum"}, "rear brake shoes", "rear brake pads"),
            ({"rear_brake": "drum"}, "front brake pads", "rear brake fluid"),
            ({"wheels": "cast"}, "front rim", "front spokes"),
            ({"cooling": "air"}, "engine oil", "coolant"),
            ({"clutch": "hydraulic"}, "clutch fluid", "clutch cable"),
            ({"battery_kind": "sealed"}, "battery", "vent hose"),
            ({"not_fitted": "horn, rear tyre"}, "front tyre", "rear tyre"),
            ({}, "coolant", "final drive oil"),
        ],
    )
    def test_it_leaves_out_what_the_vehicle_has_not(
        self, facts: dict[str, str], there: str, not_there: str
    ) -> None:
        names = [item.key for item in walk_for(CARE.walk, CATALOGUE, facts).items]
        assert there in names
        assert not_there not in names

    def test_an_unknown_value_of_a_fact_is_told(self) -> None:
        assert unknown({"drive": "rope", "wheels": "cast"}, CARE.walk.facts) == (
            "drive=rope is none of chain, belt, shaft",
        )

    def test_a_fact_nobody_set(self) -> None:
        assert has({"drive": "chain"}, {}, FACTS)
        assert not has({"drive": "shaft"}, {}, FACTS)
        assert has({"wheels": "spoked"}, {}, FACTS)  # asking too much is better than forgetting
        assert not has({"wheels": "spoked"}, {"wheels": "Cast "}, FACTS)


def test_the_page_is_the_one_that_is_generated() -> None:
    shown = Path(__file__).resolve().parents[1] / "docs" / "intervals.md"
    assert shown.read_text(encoding="utf-8") == page(CARE)


class TestSaid:
    @pytest.mark.parametrize(
        ("text", "wanted"),
        [
            ("brake fluid changed", [("brake fluid", None)]),
            ("Changed the brake fluid", [("brake fluid", None)]),
            ("front brake fluid was changed", [("brake fluid", "front")]),
            ("new rear tyre", [("new tyre", "rear")]),
            ("chain and sprockets replaced", [("sprockets", None), ("new chain", None)]),
            ("chain oiled", [("chain lubrication", None)]),
            ("chain changed", [("new chain", None)]),
            ("spokes trued", [("spokes", None)]),
            ("brake fluid was not changed", []),
            ("brake fluid needs to be changed", []),
            ("the owner changed brake fluid brands", []),
            ("chain", []),
            ("", []),
        ],
    )
    def test_only_a_whole_saying_counts(
        self, text: str, wanted: list[tuple[str, str | None]]
    ) -> None:
        found = said(text, CARE.intervals)
        assert [(each.interval.id, each.position) for each in found] == wanted

    def test_every_row_can_be_said(self) -> None:
        for row in CARE.intervals.rows.values():
            verb = row.verbs[0] if row.verbs else "changed"
            for thing in row.things:
                ids = [each.interval.id for each in said(f"{thing} {verb}", CARE.intervals)]
                assert row.id in ids, f"{thing} {verb}"

    @given(st.text(max_size=40))
    @pytest.mark.uncounted
    def test_any_text_is_read(self, text: str) -> None:
        said(text, Intervals(CARE.intervals.rows, ()))


class TestTorques:
    OWN = Limit(
        id="own", pack="own", component="caliper bolt", characteristic="torque", relation=Relation.IS,
        value=F(35), unit="N.m", aggregation=Aggregation.SINGLE, applies={"position": "front"},
        source="manual p. 9", edition="", read_on="", status=LimitStatus.ENTERED,
    )  # fmt: skip

    def test_the_vehicles_own_value_comes_first(self) -> None:
        facts = {"thread_caliper_bolt": "M8 8.8"}
        told = torques_for("brake pads", "front", CARE.work, [self.OWN], facts)
        assert told == (Tighten("caliper bolt", "front", "35 N·m", "manual p. 9"),)

    def test_a_value_for_the_other_end_is_not_used(self) -> None:
        (told,) = torques_for("brake pads", "rear", CARE.work, [self.OWN], {})
        assert told == Tighten("caliper bolt", "rear", "", MANUAL)

    def test_a_guideline_is_advice_with_its_edition(self) -> None:
        facts = {"thread_caliper_bolt": "M8x1 10.9"}
        (told,) = torques_for("brake pads", "rear", CARE.work, [], facts)
        # VDI 2230:2001 fine threads, published as 42.8
        assert "advice only: 42.7 N·m" in told.source
        assert torque.EDITION in told.source

    @pytest.mark.parametrize("fact", ["", "M8", "M8 9.9", "M99 8.8", "M8 8.8 dry"])
    def test_a_thread_that_is_not_in_the_table_gives_none(self, fact: str) -> None:
        (told,) = torques_for("brake pads", "rear", CARE.work, [], {"thread_caliper_bolt": fact})
        assert told.source == MANUAL

    def test_work_that_undoes_nothing(self) -> None:
        assert torques_for("horn", None, CARE.work, [self.OWN], {}) == ()


class TestWalkEdits:
    BASE = walk_for(CARE.walk, CATALOGUE, {"cooling": "air"}).items

    def test_edits_that_fit_nothing_are_notes(self) -> None:
        edits = [
            {"do": "remove", "item": "wings"}, {"do": "paint", "item": "horn"},
            {"do": "move", "item": "horn", "to": "wings"}, {"do": "remove", "item": "horn"},
        ]  # fmt: skip
        walk = walk_for(CARE.walk, CATALOGUE, {"cooling": "air"}, edits)
        assert len(walk.notes) == 3
        assert len(walk.items) == len(self.BASE) - 1

    def test_one_name_stands_for_both_ends(self) -> None:
        walk = walk_for(
            CARE.walk, CATALOGUE, {"cooling": "air"}, [{"do": "remove", "item": "tyre"}]
        )
        assert not {"front tyre", "rear tyre"} & {item.key for item in walk.items}

    def test_a_place_can_be_added_that_the_walk_has_not(self) -> None:
        edits = [{"do": "add", "item": "rear brake drum", "to": "horn"},
                 {"do": "add", "item": "wheel", "to": "horn"}]  # fmt: skip
        names = [i.key for i in walk_for(CARE.walk, CATALOGUE, {}, edits).items]
        at = names.index("horn")
        assert names[at + 1 : at + 4] == ["front wheel", "rear wheel", "rear brake drum"]


class TestProgress:
    WALK = (Item("lights", "tail lamp", all_in=("all lights",)),
            Item("brakes", "brake shoes", "rear", also=("brake drum",)),
            Item("tyres", "tyre", "front"), Item("tyres", "tyre", "rear"))  # fmt: skip

    @staticmethod
    def opened(*findings: tuple[str, str | None], skips: tuple[Skip, ...] = ()) -> list[str]:
        made = [Finding(name, place, None, condition="sound") for name, place in findings]
        return [item.key for item in checklist.progress(TestProgress.WALK, made, skips).open]

    def test_another_entry_may_check_an_item(self) -> None:
        assert "tail lamp" not in self.opened(("all lights", None))
        assert "rear brake shoes" not in self.opened(("brake drum", "rear"))
        assert "rear brake shoes" in self.opened(("brake drum", "front"))

    def test_a_skip_of_the_component_leaves_out_both_ends(self) -> None:
        assert self.opened(skips=(Skip("tyre", "no gauge"),)) == ["tail lamp", "rear brake shoes"]
        assert "rear tyre" in self.opened(skips=(Skip("front tyre", "no gauge"),))

    def test_what_is_no_item(self) -> None:
        with pytest.raises(UsageError, match="one of: front tyre"):
            checklist.named(self.WALK, "front tire")
