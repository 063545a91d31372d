"""A distance that does not follow on what is known is asked about; one that does becomes the vehicle's."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner

from fieldlog.cli import main
from fieldlog.derived.odometer import Unlike, unlike
from fieldlog.errors import UsageError
from fieldlog.model.finding import Quantity
from fieldlog.model.question import Asks
from fieldlog.model.understanding import Decision, Flag
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.workshop import Workshop

NOON = datetime(2026, 5, 1, 12, tzinfo=UTC)


def miles(n: int) -> Quantity:
    return Quantity(Fraction(n), "mi")


@pytest.mark.parametrize(
    ("distance", "days", "why"),
    [
        (miles(18_350), 1, None),
        (miles(18_349), 1, Unlike.BELOW),
        (miles(12), 1, Unlike.BELOW),
        (miles(183_500), 1, Unlike.FAR_ABOVE),
        (miles(25_000), 1, Unlike.ABOVE_LATER),
        (Quantity(Fraction(29_000), "km"), 1, Unlike.BELOW),
        (Quantity(Fraction(30_000), "km"), 1, None),
        (miles(17_000), -1, None),
        (miles(19_000), -1, Unlike.ABOVE_LATER),
    ],
)
def test_what_follows_on_what_is_known(distance: Quantity, days: int, why: Unlike | None) -> None:
    known = [(NOON, miles(18_350)), (NOON + timedelta(days=30), miles(20_000))]
    found = unlike(distance, NOON + timedelta(days=days), known)
    assert (found[0] if found else None) is why


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Workshop]:
    with Workshop.open(tmp_path, now=lambda: NOON) as opened:
        opened.add_vehicle("blue roadster", odometer=miles(18_350))
        opened.begin("blue roadster", started_at=NOON)
        yield opened


def said_last(one: Inspecting) -> tuple[Decision, Asks | None]:
    last = one.record.utterances[-1]
    return last.decision, last.asked.kind if last.asked else None


def standing(one: Inspecting) -> list[Fraction]:
    found = (each.finding.quantity for each in one.record.findings if each.stands)
    return [quantity.value for quantity in found if quantity is not None]


def test_a_distance_below_the_last_is_asked_and_settled_by_yes(shop: Workshop) -> None:
    one = shop.inspecting()
    one.type("odometer 12 miles")
    assert said_last(one) == (Decision.ASK, Asks.NOT_AS_KNOWN)
    assert standing(one) == []
    one.type("yes")
    assert standing(one) == [12]
    assert shop.vehicle("1").odometer[-1].distance == one.record.findings[-1].finding.quantity


def test_another_distance_is_held_against_what_is_known_too(shop: Workshop) -> None:
    one = shop.inspecting()
    one.type("odometer 12 miles")
    one.type("1835 miles")
    assert said_last(one) == (Decision.ASK, Asks.NOT_AS_KNOWN)
    one.type("no, 18360 miles")
    assert standing(one) == [18_360]


@pytest.mark.parametrize(
    "words", ["nearly 20000 miles", "19000 to 20000 miles", "20000 miles or more"]
)
def test_what_is_no_one_figure_is_asked_about(shop: Workshop, words: str) -> None:
    one = shop.inspecting()
    one.type(f"odometer {words}")
    assert said_last(one) == (Decision.ASK, Asks.IN_FULL)
    one.type(f"horn works, odometer {words}")
    assert said_last(one) == (Decision.ASK, Asks.IN_FULL)
    one.type("yes")
    assert standing(one) == []
    assert shop.vehicle("1").odometer[-1].distance == miles(18_350)
    one.type("odometer 19900 miles")
    assert standing(one) == [19_900]


def test_the_unit_settles_no_slip(shop: Workshop) -> None:
    one = shop.inspecting()
    one.type("odometer twenty three fifty")
    one.type("miles")  # 2,350 or 20,350
    assert said_last(one)[0] is Decision.ASK
    assert standing(one) == []


def test_the_question_of_the_unit_settles_no_distance(shop: Workshop) -> None:
    one = shop.inspecting()
    one.type("odometer 183500")
    one.type("miles")
    assert said_last(one) == (Decision.ASK, Asks.NOT_AS_KNOWN)
    one.type("183500 miles")
    assert standing(one) == [183_500]


def test_the_question_waits_for_another_process(shop: Workshop) -> None:
    shop.inspecting().type("odometer 12 miles")
    other = shop.inspecting()
    other.type("affirm")
    assert standing(other) == [12]


def test_in_a_breath_nothing_of_it_counts(shop: Workshop) -> None:
    one = shop.inspecting()
    one.type("odometer 12 miles, front pads 3 mm")
    assert said_last(one) == (Decision.ASK, Asks.IN_FULL)
    one.type("odometer 18400 miles, front pads 3 mm")
    assert standing(one) == [18_400, 3]


def test_what_was_found_is_the_vehicles_until_it_is_withdrawn(shop: Workshop) -> None:
    one = shop.inspecting()
    one.type("odometer 18400 miles")
    assert [int(read.distance.value) for read in shop.vehicle("1").odometer] == [18_350, 18_400]
    one.type("odometer 18380 miles")
    assert said_last(one) == (Decision.ASK, Asks.NOT_AS_KNOWN)
    one.type("disregard that")
    one.type("correction odometer 18380 miles")  # what it replaces is no reading to hold it against
    assert [int(read.distance.value) for read in shop.vehicle("1").odometer] == [18_350, 18_380]
    one.withdraw(one.scene.standing[-1].number, "misread")
    assert [int(read.distance.value) for read in shop.vehicle("1").odometer] == [18_350]


def test_by_hand_it_takes_a_word_more(shop: Workshop) -> None:
    one = shop.inspecting()
    one.type("odometer 18400 miles")
    number = one.scene.standing[-1].number
    with pytest.raises(UsageError, match="no distance goes down"):
        one.correct(number, shop.language.understand("odometer 12 miles"))
    one.correct(number, shop.language.understand("odometer 12 miles"), sure=True)
    assert standing(one) == [12]


@pytest.fixture
def run(tmp_path: Path) -> Callable[..., tuple[int, str]]:
    def command(*words: str) -> tuple[int, str]:
        done = CliRunner().invoke(main, [*words, "--store", str(tmp_path)])
        return done.exit_code, done.output

    command("vehicle", "add", "red single", "--odometer", "18350 mi")
    return command


@pytest.mark.parametrize(
    "words",
    [
        ["vehicle", "odometer", "1", "12 mi"],
        ["inspection", "start", "1", "--odometer", "12 mi"],
        ["inspection", "start", "1", "--odometer", "183500 mi"],
        ["vehicle", "done", "1", "engine oil changed", "--odometer", "12 mi"],
    ],
)
def test_a_command_saves_it_only_with_sure(
    run: Callable[..., tuple[int, str]], words: list[str]
) -> None:
    code, told = run(*words)
    assert code == 2
    assert "--sure" in told
    assert run(*words, "--sure")[0] == 0


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("18,360 mi", "18360 mi or 18.360 mi"),
        ("18.360 mi", "18.360 mi or 18360 mi"),
        ("1.8.3 mi", "no odometer"),
    ],
)
def test_figures_that_can_be_two_distances_are_not_saved(
    run: Callable[..., tuple[int, str]], text: str, told: str
) -> None:
    code, output = run("vehicle", "odometer", "1", text)
    assert code == 2
    assert told in output
    assert run("vehicle", "odometer", "1", "18360.5 mi")[0] == 0


@pytest.fixture
def placarded(tmp_path: Path) -> Iterator[Inspecting]:
    """Of a vehicle whose own pressures are 36 and 42 psi, and that has done 18,350 miles."""
    facts = {"pressure_front": "36psi", "pressure_rear": "42psi"}
    with Workshop.open(tmp_path, now=lambda: NOON) as opened:
        opened.add_vehicle("blue roadster", facts, odometer=miles(18_350))
        opened.begin("blue roadster", started_at=NOON)
        yield opened.inspecting()


def test_a_pressure_without_its_unit_is_in_the_vehicles_own(placarded: Inspecting) -> None:
    placarded.type("front tyre pressure 33")
    found = placarded.record.findings[-1].finding
    assert (found.quantity.value, found.quantity.unit) == (33, "psi")  # type: ignore[union-attr]
    assert Flag.UNIT_ASSUMED in placarded.record.utterances[-1].flags
    placarded.type("tyre pressure 40")
    asked = placarded.conversation.waiting
    assert asked is not None
    assert {one.quantity.unit for one in asked.offered if one.quantity} == {"psi"}
    placarded.type("rear")
    assert standing(placarded) == [33, 40]


@pytest.mark.parametrize("text", ["front tyre pressure 2.4", "front tyre pressure 250"])
def test_a_pressure_that_is_not_near_it_is_asked_in_every_unit(
    placarded: Inspecting, text: str
) -> None:
    placarded.type(text)
    assert standing(placarded) == []
    asked = placarded.conversation.waiting
    assert asked is not None
    assert "psi" not in {asked.offered[0].quantity.unit} or len(asked.offered) > 1  # type: ignore[union-attr]


def test_a_distance_without_its_unit_is_asked_in_the_vehicles_own(placarded: Inspecting) -> None:
    placarded.type("odometer 18360")
    asked = placarded.conversation.waiting
    assert asked is not None
    assert asked.question_text == "18360 mi?"
    placarded.type("yes")
    assert standing(placarded) == [18_360]
