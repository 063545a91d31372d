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
from fieldlog.cli.event_lines import event_text
from fieldlog.hearing import Heard
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.hearing import Hearing
from fieldlog.model.state import State
from fieldlog.shop import events as ev
from fieldlog.shop.events import Event
from fieldlog.shop.workshop import Workshop
from fieldlog.store.records import InspectionRecord
from fieldlog.store.repository import Repository

START = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


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
        self.inspecting = Workshop(self.store, language=language).inspecting(self.id)
        self.at = 0.0

    def say(self, words: str) -> Event:
        self.at += 5.0
        clip = Clip(np.full(RATE // 10, self.at / 1_000, dtype=np.float32), self.at)
        understood = self.language.understand(words)
        heard = Heard(clip, Hearing("typed", (), 0.0), understood, (), 0.0)
        return self.inspecting.say(heard, "file")[0]

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
    event = walking.say("skip the front tyre because no gauge")
    assert isinstance(event, ev.ItemSkipped)
    assert event.items == ("front tyre",)
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
    assert "left out: front tyre (no tool)" in event_text(event).plain


def test_a_skip_without_a_reason_is_asked_for_it(walking: Walking) -> None:
    assert isinstance(walking.say("skip front tyre"), ev.Asked)
    assert walking.record.events == ()


def test_what_is_open_shrinks(walking: Walking) -> None:
    before = walking.say("what is open")
    assert isinstance(before, ev.OpenTold)
    assert {"front tyre", "rear tyre", "horn"} <= set(before.items)
    assert "coolant" not in before.items
    for words in ("front tyre good", "front tyre 34 psi", "front tyre clearance 12 mm"):
        walking.say(words)
    walking.say("skip rear tyre no time")
    walking.say("horn works")
    event = walking.say("what is open")
    assert isinstance(event, ev.OpenTold)
    assert set(before.items) - set(event.items) == {"front tyre", "rear tyre", "horn"}
    assert event_text(event).plain.startswith("open: ")
    assert walking.store.verify().agrees


def test_the_next_item_and_how_to_check_it(walking: Walking) -> None:
    event = walking.say("next item")
    assert isinstance(event, ev.NextTold)
    assert event.item == "battery"  # what is read before the engine runs comes first
    assert event_text(event).plain == "next: battery (charge) (before start)"
    catalogue = walking.language.catalogue
    asked = walking.say("how to check")
    assert isinstance(asked, ev.HowToCheckTold)
    assert (asked.component, asked.advice) == ("battery", catalogue["battery"].how_to_check)
    walking.say("battery twelve point seven volts")
    event = walking.say("next item")
    assert event_text(event).plain == "next: front tyre (pressure) (before start)"
    asked = walking.say("how to check")
    assert isinstance(asked, ev.HowToCheckTold)
    assert asked.advice.startswith("Cold, at least three hours")
    named = walking.say("how to check the brake pads")
    assert isinstance(named, ev.HowToCheckTold)
    assert "friction material" in named.advice
    assert event_text(named).plain == f"brake pads: {named.advice}"


def test_cells_said_one_by_one_are_judged_together(walking: Walking) -> None:
    # TM 9-6140-200-14 para 4-7: more than 0.025 between any two cells of a charged battery
    walking.say("battery cell one one point two six")
    walking.say("battery cell two one point two six")
    assert State.BEYOND not in walking.states().values()
    event = walking.say("battery cell three one point two two")
    assert isinstance(event, ev.FindingSaved)
    assert event.assessment.verdict.state is State.BEYOND
    assert "with 3 cells" in event.assessment.verdict.reason


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
