"""Work follows from the fault: what is done, bought and ticked after an inspection."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner

from fieldlog.aftercare.files import load_care
from fieldlog.aftercare.job_lines import (
    CLEANING,
    CLOSING,
    WORK_ORDER,
    JobLine,
    Judged,
    Needed,
    job_lines,
    shopping,
)
from fieldlog.aftercare.repairs import read_repairs
from fieldlog.cli import main
from fieldlog.errors import LimitError
from fieldlog.language.files import load_language
from fieldlog.limits.assess import assess
from fieldlog.limits.context import parse_context
from fieldlog.limits.packs import shipped_limits
from fieldlog.model.finding import Finding
from fieldlog.model.limit import Limit
from fieldlog.model.state import Severity, State
from fieldlog.model.understanding import Decision
from fieldlog.model.verdict import Verdict
from fieldlog.report.lines import needed, tightening

LANGUAGE = load_language()
CARE = load_care()
TODAY = date(2026, 11, 29)
FACTS = {
    "chain": "520",
    "tyre_size_front": "120/70-17",
    "tyre_size_rear": "160/60-17",
    "brake_fluid": "DOT 4",
    "pressure_front": "36psi",
}
DIRTY_AND_DRY = (
    "chain dry",
    "chain dirty",
    "front tyre dirty",
    "rear tyre dirty",
    "front left disc rusted",
    "rear disc dirty",
    "front pads dirty",
    "throttle cable dry",
    "clutch cable dry",
    "brake lever dry",
    "clutch lever stiff",
    "side stand dry",
    "front rim dirty",
    "rear spokes rusty",
    "frame dirty",
    "headlamp dirty",
    "positive battery terminal corroded",
    "air filter dirty",
    "rear sprocket dirty",
    "steering head bearing dry",
    "front axle dry",
)
"""Nothing of it is worn or broken."""


def judged(*phrases: str, where: str | None = None) -> list[Judged]:
    found = []
    for number, words in enumerate(phrases, start=1):
        understood = LANGUAGE.understand(words)
        assert understood.decision is Decision.ACCEPT, f"{words}: {understood.reason}"
        assert understood.finding is not None
        context = parse_context(where)
        verdict = assess(
            understood.finding, shipped_limits(), context, LANGUAGE.catalogue, TODAY
        ).verdict
        found.append(Judged(str(number), understood.finding, verdict))
    return found


def lines(*phrases: str, limits: tuple[Limit, ...] = ()) -> tuple[JobLine, ...]:
    return job_lines(judged(*phrases), LANGUAGE.catalogue, limits, CARE.work, FACTS)


def work(*phrases: str) -> tuple[JobLine, ...]:
    """The lines before the test ride."""
    return tuple(line for line in lines(*phrases) if line.system != CLOSING)


def bought(*phrases: str) -> list[str]:
    return [needed(each) for each in shopping(lines(*phrases))]


def parts(*phrases: str) -> list[str]:
    return [needed(each) for each in shopping(lines(*phrases)) if not each.amount]


def bought_for(facts: dict[str, str], *phrases: str) -> list[str]:
    told = job_lines(judged(*phrases), LANGUAGE.catalogue, shipped_limits(), CARE.work, facts)
    return [needed(each) for each in shopping(told) if not each.amount]


class TestAWholeMotorcycle:
    def test_dirty_and_dry_buys_what_cleans_and_lubricates_and_nothing_else(self) -> None:
        assert len(DIRTY_AND_DRY) >= 20
        assert parts(*DIRTY_AND_DRY) == []
        told = shopping(lines(*DIRTY_AND_DRY))
        kinds = ("clean", "lubric", "grease", "oil", "rust remover", "corrosion protection")
        assert all(any(kind in each.item for kind in kinds) for each in told), told
        assert len(told) == len({each.item for each in told})

    def test_two_worn_tyres_and_two_cracked_discs_are_two_of_each(self) -> None:
        told = parts(
            "front tyre worn", "rear tyre worn", "front left disc cracked", "rear disc cracked"
        )
        assert told == [
            "1 x 120/70-17 tyre, front",
            "1 x valve stem, front",
            "1 x 160/60-17 tyre, rear",
            "1 x valve stem, rear",
            "1 x brake disc, front left",
            "2 sets brake pads, front",  # a left disc has a right one, each with a caliper
            "1 x brake disc, rear",
            "1 set brake pads, rear",
        ]

    def test_two_discs_of_one_end_need_pads_for_both_calipers(self) -> None:
        told = parts("front left disc cracked", "front right disc cracked", "front pads worn")
        assert told == [
            "1 x brake disc, front left",
            "2 sets brake pads, front",
            "1 x brake disc, front right",
        ]
        assert len(work("front left disc cracked", "front right disc cracked")) == 2

    @pytest.mark.parametrize("phrases", [DIRTY_AND_DRY, ("front tyre worn", "rear disc cracked")])
    def test_the_command(self, tmp_path: Path, phrases: tuple[str, ...]) -> None:
        def run(*args: str) -> str:
            result = CliRunner().invoke(main, [*args, "--store", str(tmp_path)])
            assert result.exit_code == 0, result.output
            return result.output

        run("vehicle", "add", "blue roadster", "--set", "tyre_size_front=120/70-17")
        run("inspection", "start", "1")
        for words in phrases:
            run("inspection", "enter", words)
        told = run("inspection", "jobs", "last")
        assert "test ride" in told
        assert ("1 x 120/70-17 tyre, front" in told) is ("front tyre worn" in phrases)


class TestByFault:
    @pytest.mark.parametrize(
        ("words", "do", "buys"),
        [
            ("chain dry", "lubricate it warm", ["chain cleaner, 1 can", "chain lubricant, 1 can"]),
            ("front pads dirty", "clean pads", ["brake cleaner, 1 can", "pad grease, 1 tube"]),
            ("rear disc rusted", "take surface rust off, measure", ["brake cleaner, 1 can"]),
            ("front axle rusted", "measure and grease", ["grease, 1 tube"]),
            ("front brake fluid low", "worn pads or a leak", ["brake fluid DOT 4, 0.5 L"]),
            ("battery twelve point one volts", "charge the battery", []),
            ("battery weak", "charge the battery", []),
            ("rear tyre has a nail in it", "may be plugged from inside where the local rule", []),
            ("front tyre nine psi", "set the cold pressure to 36 psi", []),
            ("headlamp aim offset five inches down", "5 in too low: raise it", []),
            ("headlamp aim low", "too low: raise it", []),
            ("headlamp aim offset six inches left", "6 in too far left: turn it right", []),
            ("headlamp dim", "measure the voltage", ["contact cleaner, 1 can"]),
            ("rear brake shoes worn", "replace the shoes", [
                "1 pair brake shoes, rear", "1 set shoe springs, rear", "brake cleaner, 1 can"]),
            ("rear brake shoes zero millimetres", "replace the shoes", [
                "1 pair brake shoes, rear", "1 set shoe springs, rear", "brake cleaner, 1 can"]),
            ("engine oil half a quart low", "find out where the engine oil went", [
                "engine oil, 1/2 qt"]),
            ("two rear spokes missing", "replace the spokes", ["2 x spoke and nipple, rear"]),
            ("left fork seal leaking", "both legs", [
                "2 x fork seal, left and right", "2 x dust seal, left and right",
                "fork oil, 1 L"]),
            ("front caliper bolt loose", "tighten the caliper bolt", []),
            ("rear wheel bearing has play", "both bearings", [
                "1 set wheel bearings, rear", "1 set wheel seals, rear", "bearing grease, 1 tube"]),
        ],
    )  # fmt: skip
    def test_what_is_done_and_bought(self, words: str, do: str, buys: list[str]) -> None:
        (line,) = work(words)
        assert do in line.do
        assert bought(words) == buys

    def test_a_replacement_takes_the_smaller_work_with_it(self) -> None:
        (line,) = work("chain dry", "chain worn", "rear sprocket hooked")
        assert line.because == ("2", "3", "1")
        assert parts("chain dry", "chain worn", "rear sprocket hooked") == [
            "1 x 520 chain",
            "1 x front sprocket",
            "1 x rear sprocket",
        ]
        assert len(work("front tyre worn", "rear tyre dirty")) == 2  # another place stays

    def test_what_the_inspection_read_fills_the_line(self) -> None:
        assert "1 x 520 chain, 110 links" in parts("chain worn", "chain length 110 links")

    def test_places_stay_apart(self) -> None:
        assert [each.position for each in work("front tyre worn", "rear tyre worn")] == [
            "front",
            "rear",
        ]

    def test_what_is_only_dirty_is_one_wash_that_comes_first(self) -> None:
        told = work(
            "chain slack ninety millimetres", "front tyre dirty", "frame dirty", "rear tyre dirty"
        )
        assert told[0].do == ("clean and look again: front tyre, frame, rear tyre")
        assert told[0].because == ("2", "3", "4")
        assert len(told) == 2
        (alone,) = work("rear tyre worn", "rear tyre dirty")  # what is replaced is not washed
        assert "replace the tyre" in alone.do

    def test_what_adds_is_summed_over_places(self) -> None:
        both = bought("front brake fluid dark", "rear brake fluid dark")
        assert both == ["brake fluid DOT 4, 1 L"]

    def test_a_fault_that_nobody_named_is_put_right_as_the_catalogue_says(self) -> None:
        (line,) = work("left fork gaiter torn")
        assert line.do == "fork gaiter: replace the gaiter"

    def test_another_cable_is_another_job(self) -> None:
        told = work("throttle cable frayed", "choke cable broken")
        assert [each.do.split(",")[0] for each in told] == [
            "replace the throttle cable",
            "replace the choke cable",
        ]
        (dead,) = work("speedometer dead")
        assert dead.parts == ()

    def test_a_cracked_drum_is_not_lost_in_the_shoes(self) -> None:
        told = work("front drum cracked", "front shoes worn")
        assert [line.because for line in told] == [("1",), ("2",)]
        assert "1 x brake drum, front" in parts("front drum cracked", "front shoes worn")

    def test_what_there_are_two_of_is_bought_twice(self) -> None:
        assert parts("left shock bent", "right shock bent") == ["2 x shock absorber"]
        assert parts("front pads worn") == ["1 set brake pads, front"]
        assert (
            bought_for({"front_discs": "two"}, "front pads worn")[0] == "2 sets brake pads, front"
        )
        assert bought_for({"front_discs": "two"}, "rear pads worn")[0] == "1 set brake pads, rear"
        assert bought_for({"shocks": "two"}, "shock weak") == ["2 x shock absorber"]

    def test_a_cast_wheel_and_a_tube_are_bought_as_such(self) -> None:
        assert bought_for({"wheels": "cast"}, "front rim cracked") == ["1 x wheel, front"]
        assert bought_for({"wheels": "spoked"}, "front rim cracked") == ["1 x rim, front"]
        for facts, stem in (
            ({"tyres": "tubed", "wheels": "spoked"}, "1 x inner tube, rear"),
            ({"wheels": "spoked"}, "1 x valve stem, or inner tube, rear"),
            ({"wheels": "cast"}, "1 x valve stem, rear"),
        ):
            assert bought_for(facts, "rear tyre worn")[1] == stem

    def test_what_there_is_one_of_is_bought_once(self) -> None:
        assert parts("belt frayed", "rear pulley worn") == ["1 x pulley, rear", "1 x drive belt"]
        (line,) = work("belt frayed", "rear pulley worn")
        assert line.because == ("2", "1")

    def test_a_new_tube_comes_with_the_tyre(self) -> None:
        both = bought_for({"tyres": "tubed"}, "rear tyre worn", "rear valve stem cracked")
        assert both == ["1 x tyre, rear", "1 x inner tube, rear"]
        told = job_lines(
            judged("rear tyre worn", "rear valve stem cracked"),
            LANGUAGE.catalogue, shipped_limits(), CARE.work, {"tyres": "tubed"},
        )  # fmt: skip
        assert [line.because for line in told if line.system != CLOSING] == [("1", "2")]

    @pytest.mark.parametrize(
        ("words", "looks_for"),
        [
            (("oil on the rear tyre", "rear tyre worn"), "where the oil comes from"),
            (("front disc oily", "front disc cracked"), "where the oil comes from"),
            (("rear tyre cupped", "rear tyre worn"), "what wears it"),
        ],
    )
    def test_a_new_part_does_not_take_the_cause_away(
        self, words: tuple[str, ...], looks_for: str
    ) -> None:
        told = work(*words)
        assert len(told) == 2
        assert any(looks_for in line.do for line in told)

    def test_fuel_is_stopped_before_any_other_work(self) -> None:
        first, *_ = work("battery weak", "frame dirty", "fuel leaking")
        assert first.components == ("fuel system",)
        assert "no sparks" in first.do

    def test_what_is_checked_afterwards_is_told_once(self) -> None:
        (line,) = work("front left disc cracked", "front pads worn")
        assert sum("pump the lever" in text for text in line.advice) == 1

    def test_every_line_names_what_is_worked_on(self) -> None:
        """By its last word at least; what the catalogue says by its whole name."""
        for component in LANGUAGE.catalogue:
            for name, condition, severity in component.judged():
                if severity is None:
                    continue
                found = Finding(component.name, "front left", name, condition=condition)
                each = Judged("a", found, Verdict(State.FAULTY, None, severity=severity))
                first, *_ = job_lines([each], LANGUAGE.catalogue, (), CARE.work)
                assert component.name.split()[-1] in first.do, (component.name, first.do)

    @pytest.mark.parametrize(
        ("component", "condition", "never"),
        [
            ("throttle body", "sticking", "grease"),
            ("carburettor", "sticking", "grease"),
            ("wiring harness", "corroded", "rust"),
            ("regulator", "corroded", "rust"),
            ("engine casing", "overheating", "gasket"),
            ("engine casing", "smoking", "gasket"),
            ("test ride", "loose", "tighten"),
            ("test ride", "sticking", "lubricate"),
            ("split pin", "loose", "tighten"),
            ("wheel weight", "loose", "tighten"),
            ("brake drum", "grooved", "run-out"),
            ("clutch fluid", "low", "pads"),
        ],
    )
    def test_no_work_that_makes_no_sense(self, component: str, condition: str, never: str) -> None:
        kinds = [name for name, word, _ in CARE.catalogue[component].judged() if word == condition]
        assert kinds
        for kind in kinds:
            found = Finding(component, "front", kind, condition=condition)
            each = Judged("a", found, Verdict(State.FAULTY, None, severity=Severity.MAJOR))
            first, *_ = job_lines([each], LANGUAGE.catalogue, (), CARE.work)
            told = [first.do, *(part.text for part in (*first.parts, *first.consumables))]
            assert not any(never in text for text in told), told

    def test_every_fault_of_the_catalogue_has_a_line(self) -> None:
        for component in LANGUAGE.catalogue:
            for name, condition, severity in component.judged():
                if severity is None:
                    continue
                found = Finding(component.name, "front left", name, condition=condition)
                each = Judged("a", found, Verdict(State.FAULTY, None, severity=severity))
                first, *_ = job_lines([each], LANGUAGE.catalogue, (), CARE.work)
                assert first.do
                assert "{" not in first.do

    def test_nothing_that_is_only_dirty_dry_or_loose_is_replaced(self) -> None:
        """What is bought for those is a washer, a pin, a filter's element, or a link: listed here."""
        cheap = {
            "2 x sealing washer, front", "1 x lock washer", "1 x split pin, front",
            "1 x master link", "1 x drain plug washer", "1 x oil filter", "1 x fuel filter",
            "1 x paper air filter",
            # loose in its seat is worn out
            "1 x valve stem, front", "1 x cush drive rubbers, front left",
            "1 x chain slider, front left", "1 set wheel bearings, front",
            "1 set wheel seals, front", "1 x lock washer, front left",
            "2 x sealing washer, front left", "1 x drain plug washer, front left",
            "1 x paper air filter, front left", "1 x cam belt, front left",
            "1 x valve cover gasket, front left", "1 x fuel filter, front left",
        }  # fmt: skip
        for component in LANGUAGE.catalogue:
            for condition in ("dirty", "dry", "stiff", "rusted", "loose", "low", "wet", "oily"):
                severity = component.conditions.get(condition)
                if severity is None or (component.name, condition) == ("brake pads", "oily"):
                    continue
                if (component.name, condition) == ("brake shoes", "oily"):
                    continue
                found = Finding(component.name, "front left", "condition", condition=condition)
                each = Judged("a", found, Verdict(State.FAULTY, None, severity=severity))
                told = job_lines([each], LANGUAGE.catalogue, (), CARE.work)
                things = {needed(part) for line in told for part in line.parts}
                assert things <= cheap, (component.name, condition, things)


class TestTicks:
    def test_a_torque_is_ticked_only_where_something_is_tightened(self) -> None:
        for words in (
            "tail lamp not working",
            "air filter dirty",
            "engine oil low",
            "front brake fluid dark",
            "front tyre dirty",
            "chain dry",
        ):
            assert [line.torques for line in work(words)] == [()], words
        (line,) = work("rear tyre worn")
        assert [each.fastener for each in line.torques] == ["axle nut", "pinch bolt"]
        told = tightening(line.torques[0])
        assert told.startswith("[ ] axle nut, rear: maker's manual")
        assert told.endswith("reached ________")

    def test_setting_the_slack_undoes_the_axle_alone(self) -> None:
        (line,) = work("chain slack ninety millimetres")
        assert [(each.fastener, each.place) for each in line.torques] == [("axle nut", "rear")]

    def test_a_chain_is_put_on_at_the_rear(self) -> None:
        (line,) = work("chain worn")
        assert [(each.fastener, each.place) for each in line.torques] == [
            ("axle nut", "rear"),
            ("sprocket", "front"),
            ("sprocket", "rear"),
        ]


class TestOrder:
    def test_it_ends_with_the_ride_and_what_is_looked_at_again(self) -> None:
        told = lines("front pads worn", "battery weak", "front spokes loose", "chain worn")
        assert [each.system for each in told] == [
            "battery",
            "final drive",
            "wheels",
            "brakes",
            CLOSING,
            CLOSING,
        ]
        assert told[-2].do.startswith("test ride")
        assert "50 to 100 miles" in told[-1].do
        for what in ("spokes", "chain", "lever, pads"):
            assert what in told[-1].do

    def test_every_system_has_its_turn(self) -> None:
        assert set(LANGUAGE.catalogue.systems) == set(WORK_ORDER) - {CLEANING}

    def test_papers_need_no_test_ride(self) -> None:
        assert [each.system for each in lines("insurance expired")] == ["papers"]

    def test_work_settles_its_own_interval_alone(self) -> None:
        (care,) = work("chain dry")
        assert care.settles == ("chain lubrication",)
        (flush,) = work("front brake fluid dark")
        assert flush.settles == ("brake fluid",)
        assert [line.settles for line in work("engine oil low")] == [()]


def test_shopping_takes_the_larger_count_at_one_place() -> None:
    def line(count: int) -> JobLine:
        part = Needed("sealing washer", "sealing washer", "front", count)
        return JobLine("do", "brakes", (), "front", (part,), (), (), (), Severity.MINOR)

    (got,) = shopping([line(1), line(2)])
    assert got.count == 2


def test_every_fault_of_the_file_at_once() -> None:
    text = """
        [use."tea"]
        amount = "1 cup"
        [recheck]
        spokes = "spokes"
        [[repair]]
        components = ["wings"]
        conditions = ["dirty"]
        do = "{tyre_size}"
        uses = ["coffee"]
        settles = ["flying"]
        recheck = "wings"
        covers = "sky"
        [[repair]]
        components = ["horn"]
        conditions = ["cords showing"]
        measures = ["tread depth"]
        side = "above"
        do = "x"
        [[repair]]
        do = "x"
    """
    with pytest.raises(LimitError) as caught:
        read_repairs(text, LANGUAGE.catalogue, ["spokes"], file="own.toml")
    for part in (
        "'wings' is not in the catalogue",
        "that leans on no fact",
        "uses 'coffee'",
        "settles 'flying'",
        "recheck 'wings'",
        "covers 'sky'",
        "never found 'cords showing'",
        "has no 'tread depth'",
        "side 'above'",
        "conditions or measures are needed",
    ):
        assert part in str(caught.value), part
