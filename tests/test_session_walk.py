"""The walk as it is spoken: skips with their reasons, what is open, cells said one by one."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from fieldlog.aftercare.files import load_care
from fieldlog.aftercare.plan import progress_of, vehicle_walk
from fieldlog.audio.clip import RATE, Clip
from fieldlog.cli import main
from fieldlog.cli.verdict_lines import session_text
from fieldlog.hearing import Heard
from fieldlog.inspection_language import InspectionLanguage
from fieldlog.limits.packs import shipped_limits
from fieldlog.model import Context, Decision, Hearing, State
from fieldlog.session import Outcome, Rules, Session
from fieldlog.store.records import InspectionRecord
from fieldlog.store.repository import Repository

START = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return InspectionLanguage.load()


class Walking:
    """A session with the vehicle's checklist, typed into."""

    def __init__(self, folder: Path, language: InspectionLanguage) -> None:
        self.folder, self.language = folder, language
        self.store = Repository.open(folder)
        vehicle = self.store.add_vehicle("grey twin", facts={"cooling": "air", "wheels": "cast"})
        self.walk = vehicle_walk(vehicle, load_care()).items
        self.id = self.store.start_inspection(
            vehicle.id, started_at=START, settings={"charge": "charged"}
        ).id
        context = Context(None, {"charge": "charged"})
        rules = Rules(language.catalogue, shipped_limits(), context, self.walk)
        self.session = Session(self.store, self.id, START, rules, understand=language.understand)
        self.at = 0.0

    def say(self, words: str) -> Outcome:
        self.at += 5.0
        clip = Clip(np.full(RATE // 10, self.at / 1_000, dtype=np.float32), self.at)
        understood = self.language.understand(words)
        return self.session.take(
            Heard(clip, Hearing("typed", (), 0.0), understood, (), 0.0), "typed"
        )

    @property
    def record(self) -> InspectionRecord:
        return self.store.inspection_record(self.id)

    def states(self) -> dict[str, State]:
        return {
            f.finding.position or "": f.verdict.state
            for f in self.record.findings
            if f.stands and f.verdict
        }


@pytest.fixture
def walking(tmp_path: Path, language: InspectionLanguage) -> Iterator[Walking]:
    made = Walking(tmp_path, language)
    yield made
    made.store.close()


def test_a_spoken_skip_is_in_the_record_like_a_typed_one(walking: Walking) -> None:
    outcome = walking.say("skip the front tyre because no gauge")
    assert outcome.skipped == "front tyre"
    result = CliRunner().invoke(
        main,
        ["inspection", "skip", "rear tyre", "--reason", "no tool", "--store", str(walking.folder)],
    )
    assert result.exit_code == 0, result.output
    spoken, typed = walking.record.events
    assert (spoken.name, spoken.text) == (typed.name, typed.text) == ("skipped", "no tool")
    assert (spoken.data["item"], typed.data["item"]) == ("front tyre", "rear tyre")
    state = progress_of(walking.record, walking.walk, {})
    assert [(item.key, why) for item, why in state.skipped] == [
        ("front tyre", "no tool"),
        ("rear tyre", "no tool"),
    ]
    assert "left out: front tyre (no tool)" in session_text(outcome).plain


def test_a_skip_without_a_reason_is_asked_for_it(walking: Walking) -> None:
    outcome = walking.say("skip front tyre")
    assert outcome.heard.understanding.decision is Decision.ASK
    assert walking.record.events == ()
    assert outcome.skipped is None


def test_what_is_open_shrinks(walking: Walking) -> None:
    before = walking.say("what is open").open
    assert before is not None
    assert {"front tyre", "rear tyre", "horn"} <= set(before)
    assert "coolant" not in before
    walking.say("front tyre good")
    walking.say("skip rear tyre no time")
    walking.say("horn works")
    outcome = walking.say("what is open")
    assert outcome.open is not None
    assert set(before) - set(outcome.open) == {"front tyre", "rear tyre", "horn"}
    assert session_text(outcome).plain.startswith("open: ")
    assert walking.store.verify().agrees


def test_the_next_item_and_how_to_check_it(walking: Walking) -> None:
    first = walking.walk[0]
    outcome = walking.say("next item")
    assert outcome.open == (first.key,)
    assert session_text(outcome).plain == f"next: {first.key}"
    catalogue = walking.language.catalogue
    asked = walking.say("how to check")
    assert asked.advice == f"{first.component}: {catalogue[first.component].how_to_check}"
    named = walking.say("how to check the brake pads")
    assert named.advice is not None
    assert "friction material" in named.advice
    assert session_text(named).plain == named.advice


def test_cells_said_one_by_one_are_judged_together(walking: Walking) -> None:
    # TM 9-6140-200-14 para 4-7: more than 0.025 between any two cells of a charged battery
    walking.say("battery cell one one point two six")
    walking.say("battery cell two one point two six")
    assert State.BEYOND not in walking.states().values()
    outcome = walking.say("battery cell three one point two two")
    assert outcome.assessment is not None
    assert outcome.assessment.verdict.state is State.BEYOND
    assert "with 3 cells" in outcome.assessment.verdict.reason


def test_a_cell_put_right_takes_its_spread_back(walking: Walking) -> None:
    walking.say("battery cell one one point two two")
    walking.say("battery cell two one point two six")
    assert walking.states()["cell 2"] is State.BEYOND
    walking.say("correction battery cell one one point two six")
    assert walking.states() == {"cell 1": State.WITHIN, "cell 2": State.WITHIN}
    assert walking.store.verify().agrees


def test_a_cell_disregarded_takes_its_spread_back(walking: Walking) -> None:
    walking.say("battery cell one one point two six")
    walking.say("battery cell two one point two two")
    walking.say("battery cell three one point two six")
    assert walking.states()["cell 3"] is State.BEYOND
    walking.say("disregard that")  # cell 3
    walking.say("disregard that")  # cell 2
    assert walking.states() == {"cell 1": State.WITHIN}


def test_typed_cells_and_their_withdrawal(walking: Walking) -> None:
    def run(*words: str) -> str:
        result = CliRunner().invoke(main, ["inspection", *words, "--store", str(walking.folder)])
        assert result.exit_code == 0, result.output
        return result.output

    run("enter", "battery cell one one point two two")
    assert "beyond" in run("enter", "battery cell two one point two six")
    run("withdraw", "1", "--reason", "read the wrong cell")
    assert walking.states() == {"cell 2": State.WITHIN}
