"""What was looked at: which finding shows what of an item, and what is left open of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from fieldlog import config
from fieldlog.aftercare.checklist import Item, Progress, Skip, left_text, progress, told
from fieldlog.aftercare.files import load_care
from fieldlog.aftercare.plan import USUAL, WALKS
from fieldlog.aftercare.walk_list import new_items, walk_for
from fieldlog.catalogue.component import WORK
from fieldlog.catalogue.files import load_catalogue
from fieldlog.cli import main
from fieldlog.errors import UsageError
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.finding import Finding
from fieldlog.shop import events as ev
from fieldlog.shop.workshop import Workshop

CARE = load_care()
CATALOGUE = load_catalogue(config.grammars())
FACTS = {"cooling": "liquid", "wheels": "spoked", "centre_stand": "fitted"}
WALK = walk_for(CARE.walk, CATALOGUE, FACTS).items
START = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


def after(language: InspectionLanguage, *words: str, walk: tuple[Item, ...] = WALK) -> Progress:
    found: list[Finding] = []
    for text in words:
        breath = language.breath(text)
        found += [part.finding for part in breath.parts or (breath.whole,) if part.finding]
    assert len(found) >= len(words)
    return progress(walk, found)


def left_of(state: Progress, key: str) -> list[str]:
    """What is open of an item, sight by sight; an empty list where it is done."""
    return [sight.name or "it" for one in state.left if one.item.key == key for sight in one.sights]


class TestWhatShowsWhat:
    @pytest.mark.parametrize(
        ("words", "key", "left"),
        [
            (["rear tyre size 160/60 17"], "rear tyre", "pressure tread sidewall clearance"),
            (["rear tyre date code 2418"], "rear tyre", "pressure tread sidewall clearance"),
            (["rear tyre age 3 years"], "rear tyre", "pressure tread sidewall clearance"),
            (["rear tread four thirty-seconds"], "rear tyre", "pressure sidewall clearance"),
            (["rear tyre 36 psi"], "rear tyre", "tread sidewall clearance"),
            (["rear sidewall cracked"], "rear tyre", "pressure tread clearance"),
            (["rear tyre sound"], "rear tyre", "pressure clearance"),
            (["rear tyre flat"], "rear tyre", "sidewall clearance"),
            (["front brake fluid dot 4"], "front brake fluid", "level condition"),
            (["front brake fluid low"], "front brake fluid", "condition"),
            (["front brake fluid dark"], "front brake fluid", "level"),
            (["engine oil full"], "engine oil", "condition"),
            (["engine oil 10W-40"], "engine oil", "level condition"),
            (["drain plug dry"], "engine casing", "it"),
            (["neutral lamp works"], "instrument lamp",
             "instrument lamp high beam telltale oil pressure lamp"),
            (["front valve cap missing"], "front valve stem", "it"),
            (["centre stand sound"], "side stand", "it"),
            (["chain dry"], "drive chain", "slack"),
            (["chain slack 30 mm"], "drive chain", "links and lubrication"),
            (["battery twelve point four volts"], "battery", "case and strap charging"),
            (["battery dead"], "battery", "case and strap charging"),
            (["battery weak"], "battery", "case and strap charging"),
            (["battery leaking"], "battery", "charge charging"),
            (["battery good"], "battery", "charge charging"),
            (["chain tight"], "drive chain", "links and lubrication"),
            (["brake lamp works from the pedal"], "brake lamp", "from the lever"),
            (["brake lamp works"], "brake lamp", "from the lever from the pedal"),
            (["low beam works"], "headlamp", "high beam aim"),
            (["headlamp aimed five inches low"], "headlamp", "low beam high beam"),
            (["front axle nut tight"], "rear axle nut", "it"),
            (["left fork seal dry"], "right fork seal", "it"),
            (["left mirror cracked"], "right mirror", "it"),
            (["front sprocket sound"], "rear sprocket", "it"),
            (["positive battery terminal corroded"], "negative battery terminal", "it"),
            (["front pads squealing"], "front brake pads", "lining"),
            (["front pads dirty"], "front brake pads", "lining"),
            (["front pads worn"], "front brake pads", ""),
            (["tail lamp cracked"], "tail lamp", "light"),
            (["tail lamp dim"], "tail lamp", ""),
            (["front left indicator loose"], "front left indicator", "light"),
            (["horn loose"], "horn", "sound"),
            (["horn weak"], "horn", ""),
            (["left mirror dirty"], "left mirror", "it"),
            (["chain dirty"], "drive chain", "links and lubrication slack"),
            (["front disc dirty"], "front brake disc", "it"),
            (["engine oil dirty"], "engine oil", "level"),
            (["air filter dirty"], "air filter", ""),
        ],
    )  # fmt: skip
    def test_what_is_left(
        self, language: InspectionLanguage, words: list[str], key: str, left: str
    ) -> None:
        assert " ".join(left_of(after(language, *words), key)) == left

    def test_what_names_or_dates_a_part_shows_nothing_of_any(self) -> None:
        silent = CARE.walk.tells_nothing
        assert {"size", "grade", "age", "date code", "teeth"} <= set(silent)
        asked = 0
        for component in CATALOGUE:
            for each in component.characteristics:
                for item in new_items(component.name, CATALOGUE, silent):
                    found = Finding(component.name, item.position, each.name)
                    assert progress([item], [found]).complete is (each.name not in silent)
                    asked += each.name in silent
        assert asked > 10
        for name in set(silent) - {WORK}:
            assert any(component.characteristic(name) for component in CATALOGUE), name

    def test_work_done_is_no_look(self, language: InspectionLanguage) -> None:
        state = after(language, "rear brake pads replaced", "front axle nut replaced")
        assert left_of(state, "rear brake pads") == ["lining"]
        assert left_of(state, "front axle nut") == ["it"]

    def test_one_indicator_is_not_four(self, language: InspectionLanguage) -> None:
        state = after(language, "front left indicator works")
        assert left_of(state, "front left indicator") == []
        for other in ("front right", "rear left", "rear right"):
            assert left_of(state, f"{other} indicator") == ["light"]

    @pytest.mark.parametrize("words", ["all lights work", "hazard lamps work"])
    def test_all_of_them_work(self, language: InspectionLanguage, words: str) -> None:
        state = after(language, words)
        assert not [item for item in state.open if item.component == "indicator"]

    def test_all_lights_say_nothing_of_aim_or_tell_tales(
        self, language: InspectionLanguage
    ) -> None:
        state = after(language, "all lights work")
        assert left_of(state, "headlamp") == ["aim"]
        assert left_of(state, "brake lamp") == []
        assert len(left_of(state, "instrument lamp")) == 4

    def test_that_not_all_work_shows_none(self, language: InspectionLanguage) -> None:
        state = after(language, "hazard lamps not working")
        assert left_of(state, "rear left indicator") == ["light"]

    def test_a_condition_without_a_place_is_of_the_whole_and_a_value_is_not(self) -> None:
        walk = (Item("controls and chassis", "fork", "left"),)
        assert progress(walk, [Finding("fork", None, "condition", condition="sound")]).complete
        assert not progress(
            walk, [Finding("fork", "right", "condition", condition="bent")]
        ).complete

    def test_two_discs_where_the_vehicle_has_two(self, language: InspectionLanguage) -> None:
        walk = walk_for(CARE.walk, CATALOGUE, FACTS | {"front_discs": "two"}).items
        state = after(language, "front left brake disc sound", walk=walk)
        assert left_of(state, "front right brake disc") == ["it"]
        one = after(language, "front brake disc 4.5 mm", walk=walk)
        assert left_of(one, "front left brake disc") == ["it"]


class TestWhatIsTold:
    def test_half_done_items_say_what_is_open(self, language: InspectionLanguage) -> None:
        state = after(language, "rear tread 5 mm", "rear tyre 36 psi")
        texts = [left_text(each) for each in state.left if each.item.key == "rear tyre"]
        assert texts == [
            "rear tyre: sidewall not looked at",
            "rear tyre: clearance not looked at",
        ]

    def test_stage_by_stage(self, language: InspectionLanguage) -> None:
        groups = told(after(language, "horn works").left)
        assert [stage.name for stage in groups] == [
            *("before start", "standing", "running", "loaded", "test ride"),
        ]
        by_name = {stage.name: texts for stage, texts in groups.items()}
        assert "front tyre (pressure)" in by_name["before start"]
        assert "registration" in by_name["before start"]
        assert "drive chain (slack)" in by_name["loaded"]
        assert "headlamp (aim)" in by_name["loaded"]
        assert by_name["test ride"] == ("test ride",)
        assert "mirror (left, right)" in by_name["standing"]
        assert not any("horn" in text for texts in groups.values() for text in texts)

    def test_an_item_with_something_open_is_open_once(self, language: InspectionLanguage) -> None:
        state = after(language, "rear tread 5 mm")
        assert [item.key for item in state.open].count("rear tyre") == 1
        assert "rear tyre" not in [item.key for item in state.checked]

    def test_what_is_left_out_is_left_out_whole(self) -> None:
        state = progress(WALK, [], [Skip("rear tyre", "no gauge")])
        assert left_of(state, "rear tyre") == []

    def test_every_stage_has_something_and_its_words(self) -> None:
        for stage in CARE.walk.stages.values():
            assert stage.about
            walks = (CARE.walk, *CARE.others.values())
            sights = (see for walk in walks for stop in walk.places for see in stop.item.sees)
            assert any(see.stage == stage for see in sights), stage.name


@pytest.fixture
def shop(tmp_path: Path, language: InspectionLanguage) -> Iterator[Workshop]:
    with Workshop.open(tmp_path, language=language) as made:
        made.add_vehicle("grey twin", FACTS)
        yield made


class TestWalks:
    def test_the_walk_is_chosen_at_the_start(self, shop: Workshop) -> None:
        sizes = {}
        for name in (USUAL, *WALKS):
            head = shop.begin("grey twin", walk=name, started_at=START)
            record = shop.store.inspection_record(head.id)
            sizes[name] = [item.key for item in shop.progress(record).open]
            assert shop.inspecting(head.id).scene.progress.open
        assert "front brake caliper" in sizes["recommissioning"]
        assert "fuel system" in sizes["storage"]
        assert set(sizes["recheck"]) < set(sizes[USUAL])
        with pytest.raises(UsageError, match="'around' is no walk"):
            shop.begin("grey twin", walk="around")

    def test_the_walk_is_no_setting_of_the_checks(self, shop: Workshop) -> None:
        head = shop.begin("grey twin", walk="storage", started_at=START)
        (saved,) = shop.inspecting(head.id).type("rear tyre 36 psi")
        assert isinstance(saved, ev.FindingSaved)
        assert "unknown setting" not in saved.assessment.verdict.reason

    def test_the_help_names_every_walk(self) -> None:
        told_in = CliRunner().invoke(main, ["inspection", "start", "--help"]).output
        listen = CliRunner().invoke(main, ["listen", "--help"]).output
        for name in (USUAL, *WALKS):
            assert name in told_in
            assert name in listen

    def test_the_distance_entered_at_the_start_is_read(self, shop: Workshop) -> None:
        from fractions import Fraction

        from fieldlog.model.finding import Quantity

        with_it = shop.begin("grey twin", odometer=Quantity(Fraction(100), "km"), started_at=START)
        without = shop.begin("grey twin", started_at=START)
        for head, there in ((with_it, False), (without, True)):
            record = shop.store.inspection_record(head.id)
            assert ("odometer" in [i.key for i in shop.progress(record).open]) is there
            names = [each.item.key for each in shop.inspecting(head.id).scene.left]
            assert ("odometer" in names) is there


class TestSigning:
    @pytest.fixture
    def run(self, tmp_path: Path) -> Callable[..., Result]:
        runner = CliRunner(env={"FIELDLOG_HOME": str(tmp_path)})

        def call(*arguments: str, code: int = 0) -> Result:
            result = runner.invoke(main, list(arguments))
            assert result.exit_code == code, result.output
            return result

        call("vehicle", "add", "grey twin")
        call("inspection", "start", "grey twin", "--jurisdiction", "US-VA")
        call("inspection", "enter", "rear tyre bulging")
        return call

    def test_nothing_is_signed_where_nobody_can_be_asked(self, run: Callable[..., Result]) -> None:
        refused = run("inspection", "sign-off", "A. Smith", code=2).output
        assert "DANGEROUS, not put right: 1, rear tyre: bulging, beyond" in refused
        assert "open: before start: " in refused
        assert "nothing is signed: 1 dangerous finding stands and" in refused
        assert "--as-it-stands" in refused
        assert "signed off" not in run("inspection", "show", "--json").output
        assert "rear tyre: bulging" in run("inspection", "show").output
        signed = run("inspection", "sign-off", "A. Smith", "--as-it-stands").output
        assert "DANGEROUS" in signed
        assert "signed off by A. Smith" in signed

    @pytest.mark.parametrize(("answer", "signs"), [("y\n", True), ("n\n", False)])
    def test_on_a_terminal_it_is_asked(
        self,
        run: Callable[..., Result],
        monkeypatch: pytest.MonkeyPatch,
        tmp_path: Path,
        answer: str,
        signs: bool,
    ) -> None:
        monkeypatch.setattr("fieldlog.cli.inspection.is_asked", lambda: True)
        runner = CliRunner(env={"FIELDLOG_HOME": str(tmp_path)})
        result = runner.invoke(main, ["inspection", "sign-off", "A. Smith"], input=answer)
        assert "Sign it off as A. Smith all the same?" in result.output
        assert ("signed off by" in result.output) is signs
        assert (result.exit_code == 0) is signs
        assert ("signed off" in run("inspection", "show", "--json").output) is signs

    def test_a_spoken_one_shows_it_and_wants_its_answer(self, shop: Workshop) -> None:
        head = shop.begin("grey twin", started_at=START, inspector="A. Smith")
        inspecting = shop.inspecting(head.id)
        inspecting.type("rear tyre bulging")
        asked, known = inspecting.type("sign off the inspection")
        assert isinstance(asked, ev.Asked)
        assert isinstance(known, ev.BeforeSigning)
        assert [kept.finding.component for kept in known.dangerous] == ["tyre"]
        assert "horn" in known.items
        inspecting.type("negative")
        assert inspecting.record.events == ()
        inspecting.type("sign off the inspection")
        (signed,) = inspecting.type("affirm")
        assert isinstance(signed, ev.SignedOff)
        with pytest.raises(UsageError, match="nothing is signed: 1 dangerous finding stands"):
            inspecting.sign_off("B. Jones")
        signed_off = [
            each
            for each in shop.store.inspection_record("last").events
            if each.name == "signed off"
        ]
        assert len(signed_off) == 1
