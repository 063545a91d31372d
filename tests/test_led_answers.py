"""A bare value behind what the walk asked for: of that, named when it is read back, and of nothing else."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from fieldlog.language.files import load_language
from fieldlog.language.led import Led
from fieldlog.model.context import Context
from fieldlog.model.understanding import Decision, Flag
from fieldlog.shop import events as ev
from fieldlog.shop.events import Event
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.led import led_by
from fieldlog.shop.saying import Say, saying
from fieldlog.shop.workshop import Workshop
from fieldlog.store.repository import Repository

LANGUAGE = load_language()


@pytest.fixture
def inspecting(tmp_path: Path) -> Iterator[Inspecting]:
    with Repository.open(tmp_path / "record") as store:
        shop = Workshop(store, language=LANGUAGE)
        vehicle = shop.add_vehicle("grey twin", {"cooling": "air"})
        yield shop.inspecting(shop.begin(vehicle.name, Context("US-VA")).id)


def found(inspecting: Inspecting) -> list[str]:
    return [each.finding.words for each in inspecting.record.findings if each.stands]


def saved(events: tuple[Event, ...]) -> ev.FindingSaved:
    (one,) = (each for each in events if isinstance(each, ev.FindingSaved))
    return one


def ask(inspecting: Inspecting, item: str) -> None:
    """As if the walk had come to ``item``."""
    left = next(each for each in inspecting.scene.left if each.item.key == item)
    heard = inspecting.conversation.typed("what is left")
    inspecting.conversation.asks_for(led_by(left), heard)


@pytest.mark.parametrize(
    ("item", "words", "meaning"),
    [
        ("front brake pads", "two point five millimetres", "front brake pads, thickness, two decimal five millimetres"),
        ("front brake pads", "fine", "front brake pads, as it should be"),
        ("front tyre", "fine", "front tyre, pressure, as it should be"),
        ("side stand", "not fitted", "side stand, missing"),
        ("rear axle nut", "ninety newton metres", "rear axle nut, torque, nine zero newton metres"),
        ("left mirror", "loose", "left mirror, loose"),
        ("clutch cable", "three millimetres", "clutch cable, free play, three millimetres"),
    ],
)  # fmt: skip
def test_a_bare_answer_is_of_what_was_asked_for_and_names_it(
    inspecting: Inspecting, item: str, words: str, meaning: str
) -> None:
    ask(inspecting, item)
    event = saved(inspecting.type(words))
    assert Flag.LED in event.said.understanding.flags
    assert meaning.split(",")[0] in saying((event,), Say.VALUES).words
    assert event.said.understanding.text.endswith(words)


def test_the_walk_asks_and_takes_the_answer_and_asks_for_the_next(inspecting: Inspecting) -> None:
    told = inspecting.type("go ahead")
    first = next(each for each in told if isinstance(each, ev.NextTold)).left
    assert first is not None
    assert first.item.key == "battery"
    told = inspecting.type("twelve point six volts")
    event = saved(told)
    assert (event.kept.finding.component, event.kept.finding.characteristic) == (
        "battery",
        "resting voltage",
    )
    following = next(each for each in told if isinstance(each, ev.NextTold)).left
    assert following is not None
    assert following.item.key == "front tyre"
    assert saved(inspecting.type("thirty four psi")).kept.finding.position == "front"
    assert saved(inspecting.type("thirty six psi")).kept.finding.position == "rear"


@pytest.mark.parametrize(
    ("item", "words"),
    [
        ("front brake pads", "twelve point six volts"),
        ("front tyre", "cracked"),  # its pressure was asked for
        ("front brake pads", "next"),
        ("left mirror", "two point five millimetres"),
        ("throttle", "the weather is fine"),
    ],
)
def test_what_is_no_answer_to_it_is_not_understood(
    inspecting: Inspecting, item: str, words: str
) -> None:
    ask(inspecting, item)
    inspecting.type(words)
    assert found(inspecting) == []


def test_what_names_its_part_is_of_that(inspecting: Inspecting) -> None:
    ask(inspecting, "front brake pads")
    event = saved(inspecting.type("rear brake pads three millimetres"))
    assert event.kept.finding.position == "rear"
    assert Flag.LED not in event.said.understanding.flags


def test_behind_a_finding_on_something_else_a_bare_value_is_of_nothing(
    inspecting: Inspecting,
) -> None:
    ask(inspecting, "front brake pads")
    inspecting.type("horn works")
    assert not any(
        isinstance(each, ev.FindingSaved) for each in inspecting.type("three millimetres")
    )
    ask(inspecting, "front brake pads")
    inspecting.type("take photo")  # of what is looked at
    assert saved(inspecting.type("three millimetres")).kept.finding.component == "brake pads"


def test_a_question_that_waits_goes_before_the_walk(inspecting: Inspecting) -> None:
    ask(inspecting, "left mirror")
    inspecting.type("brake pads three millimetres")  # front or rear?
    assert inspecting.conversation.waiting is not None
    ask_again = inspecting.type("front")
    assert saved(ask_again).kept.finding.position == "front"


def test_who_goes_round_on_their_own_is_asked_by_next_item(inspecting: Inspecting) -> None:
    inspecting.type("next item")
    assert saved(inspecting.type("twelve point six volts")).kept.finding.component == "battery"
    assert not any(isinstance(each, ev.FindingSaved) for each in inspecting.type("thirty four psi"))


def test_standing_by_nothing_is_taken(inspecting: Inspecting) -> None:
    inspecting.type("go ahead")
    inspecting.type("stand by")
    inspecting.type("twelve point six volts")
    assert found(inspecting) == []


def test_a_value_that_may_be_of_two_things_is_of_none() -> None:
    understand = LANGUAGE.understand
    both = Led(("left mirror", "right mirror"), lambda finding: True)
    assert both.named(understand, "loose") is None
    one = Led(("left mirror",), lambda finding: True).named(understand, "loose")
    assert one is not None
    assert one.decision is Decision.ACCEPT


def test_listeners_are_offered_bare_answers_only_then() -> None:
    offered = LANGUAGE.led(Led(("front brake pads",), lambda finding: finding.position == "front"))
    for words in ("two point five millimetres", "fine", "not fitted"):
        assert offered.word_graph().accepts(words.split())
        assert not LANGUAGE.word_graph().accepts(words.split())
    assert offered.understand("horn works").finding is not None
    assert offered.meaning("fine") == LANGUAGE.meaning("front brake pads fine")
