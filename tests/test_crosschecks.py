"""What one finding makes a mechanic look at as well stays open until a finding answers it."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner

from fieldlog.aftercare.crosschecks import WorkDone, read_crosschecks, unanswered
from fieldlog.aftercare.due import Done, due_from_intervals
from fieldlog.aftercare.files import load_care
from fieldlog.aftercare.intervals import distance_km, said
from fieldlog.cli import main
from fieldlog.errors import LimitError
from fieldlog.language.files import load_language
from fieldlog.model.finding import Finding
from fieldlog.model.understanding import Decision
from fieldlog.report.surroundings import Surroundings
from fieldlog.report.view import build
from fieldlog.report.write import surroundings
from fieldlog.shop.events import BeforeSigning
from fieldlog.store.repository import Repository

CARE = load_care()
LANGUAGE = load_language()
TODAY = date(2026, 11, 29)


def finding(words: str) -> Finding:
    understood = LANGUAGE.understand(words)
    assert understood.decision is Decision.ACCEPT, f"{words}: {understood.reason}"
    assert understood.finding is not None
    return understood.finding


def left(*phrases: str, done: tuple[WorkDone, ...] = ()) -> dict[str, list[str]]:
    found = unanswered([finding(words) for words in phrases], done, CARE.crosschecks)
    return {each.check.id: [look.what for look in each.left] for each in found}


class TestRaisedAndAnswered:
    def test_nothing_is_asked_of_what_is_sound(self) -> None:
        assert left("left fork seal good", "front brake fluid level full") == {}

    @pytest.mark.parametrize(
        ("words", "check", "answers"),
        [
            ("left fork seal leaking", "fork seal", ("front pads good", "front disc good")),
            (
                "front brake fluid low",
                "brake fluid low",
                (
                    "front pads three millimetres",
                    "front brake line good",
                    "front brake caliper good",
                    "front master cylinder good",
                ),
            ),
            (
                "rear brake line leaking",
                "brake fluid leaks",
                ("rear pads oily", "rear brake fluid level full"),
            ),
            ("front tyre cupped", "cupped front tyre", ("steering head bearing good", "fork good")),
            (
                "rear tyre cupped",
                "cupped rear tyre",
                ("steering head bearing good", "shock absorber good"),
            ),
            (
                "test ride pulls to the left",
                "pulls to one side",
                ("front caliper good", "steering head bearing good", "rear wheel good"),
            ),
            (
                "test ride steering out of line",
                "pulls to one side",
                ("front caliper good", "steering head bearing good", "rear wheel good"),
            ),
        ],
    )
    def test_each_answer_takes_one_question_away(
        self, words: str, check: str, answers: tuple[str, ...]
    ) -> None:
        asked = left(words)[check]
        assert len(asked) == len(answers)
        for count in range(1, len(answers)):
            assert len(left(words, *answers[:count])[check]) == len(answers) - count
        assert check not in left(words, *answers)

    def test_another_end_answers_nothing(self) -> None:
        assert (
            len(left("front brake fluid low", "rear pads three millimetres")["brake fluid low"])
            == 4
        )

    def test_a_thickness_tells_nothing_of_oil(self) -> None:
        told = left("left fork seal leaking", "front pads three millimetres")
        assert "front pads free of oil" in told["fork seal"]

    def test_that_a_disc_is_cracked_tells_nothing_of_oil(self) -> None:
        told = left("left fork seal leaking", "front disc cracked", "front pads worn")
        assert told["fork seal"] == ["front pads free of oil", "front disc free of oil"]

    @pytest.mark.parametrize(
        ("words", "beside_it"),
        [
            ("front brake fluid low", "front brake line chafed"),
            ("front brake fluid low", "front caliper sticking"),
            ("front brake fluid low", "front master cylinder corroded"),
            ("front brake fluid low", "front pads dirty"),
            ("rear brake line leaking", "rear brake fluid dark"),
            ("test ride pulls to the left", "front caliper dirty"),
            ("test ride pulls to the left", "rear wheel dirty"),
            ("front tyre cupped", "fork dirty"),
            ("rear tyre cupped", "left shock rusty"),
        ],
    )
    def test_what_tells_something_else_answers_nothing(self, words: str, beside_it: str) -> None:
        assert left(words, beside_it) == left(words)

    def test_the_other_side_answers_nothing(self) -> None:
        both = ["front pads free of oil", "front disc free of oil"]
        assert left("left fork seal leaking", "front right disc good")["fork seal"] == both
        assert left("left fork seal leaking", "front left disc good")["fork seal"] == both[:1]
        assert left("left fork seal leaking", "front disc good")["fork seal"] == both[:1]
        two = ("left fork seal leaking", "right fork seal leaking")
        for side in ("left", "right"):
            assert left(*two, f"front {side} disc good")["fork seal"] == both

    def test_each_look_can_be_answered_by_what_is_sound(self) -> None:
        for check in CARE.crosschecks:
            assert all("sound" in (look.conditions or ["sound"]) for look in check.looks), check.id

    def test_what_raises_it_answers_nothing_of_it(self) -> None:
        told = left("front brake fluid leaking", "front brake caliper leaking")
        assert told["brake fluid leaks"] == ["pads or shoes free of fluid", "fluid level"]

    @pytest.mark.parametrize(
        ("work", "check", "answers"),
        [
            (
                WorkDone("new chain"),
                "new chain",
                ("rear axle nut torque ninety newton metres", "rear wheel good"),
            ),
            (
                WorkDone("new brake line", "front"),
                "new brake line",
                ("front brake good", "front brake line good"),
            ),
        ],
    )
    def test_work_raises_one_too(
        self, work: WorkDone, check: str, answers: tuple[str, ...]
    ) -> None:
        assert len(left(done=(work,))[check]) == 2
        assert left(*answers, done=(work,)) == {}


class TestFaces:
    @pytest.fixture
    def shop(self, tmp_path: Path) -> Path:
        with Repository.open(tmp_path) as store:
            vehicle = store.add_vehicle("blue roadster")
            at = datetime(2026, 11, 29, 9, tzinfo=UTC)
            store.start_inspection(vehicle.id, started_at=at)
        self.run(tmp_path, "inspection", "enter", "left fork seal leaking")
        self.run(tmp_path, "inspection", "remark", "chain replaced.")
        return tmp_path

    @staticmethod
    def run(shop: Path, *args: str, fails: bool = False) -> str:
        result = CliRunner().invoke(main, [*args, "--store", str(shop)])
        assert (result.exit_code == 0) is not fails, result.output
        return " ".join(result.output.split())

    ASK = "did the oil reach the brake? still open: front pads free of oil; front disc free of oil"

    @pytest.mark.parametrize("command", ["open", "jobs"])
    def test_the_commands(self, shop: Path, command: str) -> None:
        assert self.ASK in self.run(shop, "inspection", command)
        assert "is the wheel held and straight?" in self.run(shop, "inspection", command)
        document = json.loads(self.run(shop, "inspection", command, "--json"))
        assert [each["id"] for each in document["cross_checks"]] == ["fork seal", "new chain"]

    def test_who_signs_is_told(self, shop: Path) -> None:
        told = self.run(shop, "inspection", "sign-off", "A. Smith", fails=True)
        assert f"still to be looked at: a fork seal leaks: {self.ASK}" in told
        assert "2 cross-checks are open" in told
        self.run(shop, "inspection", "sign-off", "A. Smith", "--as-it-stands")

    def test_a_cross_check_alone_is_something_to_confirm(self) -> None:
        raised = unanswered([finding("left fork seal leaking")], (), CARE.crosschecks)
        assert not BeforeSigning(None, (), (), raised).nothing
        assert BeforeSigning(None, (), ()).nothing

    def test_the_report(self, shop: Path) -> None:
        with Repository.open(shop) as store:
            record = store.inspection_record("last")
            report = build(record, surroundings(store, record, datetime(2026, 11, 30, tzinfo=UTC)))
        assert any(self.ASK in line for line in report.cross_checks)
        bare = Surroundings(LANGUAGE.catalogue, datetime(2026, 11, 30, tzinfo=UTC))
        assert build(record, bare).cross_checks == ()
        self.run(shop, "report", "--out", str(shop / "out"))
        page = next((shop / "out").glob("*.html")).read_text(encoding="utf-8")
        assert "did the oil reach the brake?" in page


class TestLookedAtAgain:
    ROW = CARE.intervals.rows["recheck spokes"]

    def test_nothing_before_the_work(self) -> None:
        assert due_from_intervals([self.ROW], [], TODAY, None) == ()

    def test_a_hundred_miles_after_it(self) -> None:
        done = [Done("spokes", date(2026, 11, 20), Fraction(10_000))]
        (item,) = due_from_intervals([self.ROW], done, TODAY, Fraction(10_100))
        assert item.by_km == 10_000 + distance_km("100 mi")
        assert item.by_date == date(2026, 12, 20)
        (late,) = due_from_intervals([self.ROW], done, TODAY, Fraction(10_300))
        assert late.when.value == "overdue"

    def test_not_once_it_was_looked_at(self) -> None:
        done = [
            Done("spokes", date(2026, 11, 1)),
            Done("recheck spokes", date(2026, 11, 9)),
        ]
        assert due_from_intervals([self.ROW], done, TODAY, None) == ()

    def test_the_work_is_not_the_second_look(self) -> None:
        assert [each.interval.id for each in said("spokes trued", CARE.intervals)] == ["spokes"]
        assert [each.interval.id for each in said("spokes rechecked", CARE.intervals)] == [
            "recheck spokes"
        ]
        assert "recheck spokes" not in [
            each.interval.id for each in said("spokes done", CARE.intervals)
        ]

    def test_every_recheck_of_the_jobs_has_one(self) -> None:
        rows = {name.removeprefix("recheck ") for name in CARE.intervals.rows if "recheck" in name}
        assert rows == set(CARE.work.repairs.rechecks)


def test_every_fault_of_the_file_at_once() -> None:
    text = """
        [[crosscheck]]
        id = "a"
        components = ["wings"]
        conditions = ["dirty"]
        work = ["flying"]
        look = [{ what = "", components = ["feathers"], at = "up", measures = ["count"] }]
        [[crosscheck]]
        id = "b"
        components = ["horn"]
        conditions = ["cords showing"]
        ask = "?"
    """
    with pytest.raises(LimitError) as caught:
        read_crosschecks(text, LANGUAGE.catalogue, ["spokes"], "own.toml")
    for part in (
        "'wings' is not in",
        "ask and look are needed",
        "or work does",
        "work 'flying'",
        "look: what, and at",
        "'feathers' is not in",
        "there is no 'count'",
        "never found 'cords showing'",
    ):
        assert part in str(caught.value), part
