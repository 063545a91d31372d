"""What was asked about, or stands, is never lost to a word that says another thing."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from fieldlog.aftercare.plan import left_open
from fieldlog.cli.event_lines import events_text
from fieldlog.language.files import load_language
from fieldlog.language.tongues import language_of
from fieldlog.model.context import Context
from fieldlog.model.finding import Says
from fieldlog.model.question import Asks
from fieldlog.shop import events as ev
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.workshop import Workshop
from fieldlog.store.repository import Repository


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Repository]:
    with Repository.open(tmp_path / "record") as opened:
        yield opened


@pytest.fixture
def inspecting(store: Repository) -> Inspecting:
    shop = Workshop(store, language=load_language())
    vehicle = shop.add_vehicle("grey twin", {"cooling": "air"})
    return shop.inspecting(shop.begin(vehicle.name, Context("US-VA")).id)


def standing(inspecting: Inspecting) -> list[str]:
    """Place, part and what is said of it."""
    return [
        f"{one.position} {one.component} {one.quantity.value if one.quantity else one.condition}"
        for one in (each.finding for each in inspecting.record.findings if each.stands)
    ]


def said(inspecting: Inspecting, *words: str) -> list[list[str]]:
    """What each of ``words`` led to."""
    return [[type(each).__name__ for each in inspecting.type(one)] for one in words]


def test_fine_is_no_answer_that_takes_a_value_or_a_fault_away(inspecting: Inspecting) -> None:
    """ "1 mm?", "fine": that is yes, or that nothing was measured; it was "sound, within"."""
    assert said(inspecting, "rear tread one", "fine") == [["Asked"], ["Asked"]]
    waiting = inspecting.conversation.waiting
    assert waiting is not None
    assert waiting.asks is Asks.WHICH
    said(inspecting, "one millimetre")
    said(inspecting, "mirror loose", "fine", "left", "loose")
    said(inspecting, "front tyre pressure thirty two", "no, fine", "disregard that")
    assert standing(inspecting) == ["rear tyre 1", "left mirror loose"]


def test_what_was_chosen_among_the_two_counts(inspecting: Inspecting) -> None:
    said(inspecting, "rear tread one", "fine", "sound")
    said(inspecting, "mirror fine", "loose", "left")  # a fault behind "fine" takes nothing away
    assert standing(inspecting) == ["rear tyre sound", "left mirror loose"]


def test_a_value_is_no_answer_about_a_fault(inspecting: Inspecting) -> None:
    said(inspecting, "pads worn", "two millimetres", "front", "worn")
    assert standing(inspecting) == ["front brake pads worn"]


@pytest.mark.parametrize("anew", [False, True])
def test_a_whole_finding_that_says_another_thing_leaves_the_question(
    store: Repository, inspecting: Inspecting, anew: bool
) -> None:
    """ "Mirror loose", "left mirror fine": the loose one is still to be told, and nothing hides that."""
    assert said(inspecting, "mirror loose", "left mirror fine")[1] == ["FindingSaved", "AskedAgain"]
    if anew:
        shop = Workshop(store, language=load_language())
        inspecting = shop.inspecting(inspecting.head.id)
    record = inspecting.record
    assert left_open(record, record.utterances[0])
    said(inspecting, "right")
    assert standing(inspecting) == ["left mirror sound", "right mirror loose"]
    record = inspecting.record
    assert not left_open(record, record.utterances[0])


def test_a_correction_says_what_it_means(inspecting: Inspecting) -> None:
    said(inspecting, "rear tread one", "correction rear tread fine")
    assert standing(inspecting) == ["rear tyre sound"]
    assert inspecting.conversation.waiting is None


def test_so_in_german(store: Repository) -> None:
    shop = Workshop(store, language=language_of("de"))
    vehicle = shop.add_vehicle("grey twin", {"cooling": "air"})
    inspecting = shop.inspecting(shop.begin(vehicle.name, Context("DE")).id)
    said(inspecting, "spiegel locker", "linker spiegel in ordnung", "rechts")
    assert standing(inspecting) == ["left mirror sound", "right mirror loose"]


def test_what_a_later_version_keeps_of_a_question_is_left_out_by_nothing() -> None:
    assert not any(one.leaves_out("colour") for one in Says)
    lost = {(was, now) for was in Says for now in Says if now.leaves_out(was)}
    value, state, sound = Says.VALUE, Says.STATE, Says.SOUND
    assert lost == {(value, state), (value, sound), (state, value), (state, sound)}


def test_disregard_behind_a_skip_is_of_no_finding(inspecting: Inspecting) -> None:
    """It took the mirror, which nobody meant."""
    said(inspecting, "left mirror loose", "skip the horn because no time")
    told = inspecting.type("disregard that")
    assert [type(each) for each in told] == [ev.SkipTakenBack]
    assert events_text(told).plain == "not left out after all: horn"
    assert standing(inspecting) == ["left mirror loose"]
    said(inspecting, "disregard that")  # once more: that is of the finding
    assert standing(inspecting) == []


def test_disregard_behind_a_finding_that_was_refused_is_of_that(inspecting: Inspecting) -> None:
    said(inspecting, "left mirror loose", "rear pads three blah", "disregard that")
    assert standing(inspecting) == ["left mirror loose"]
    for words in ("lovely weather", "disregard that itch please"):  # of nothing that was found
        said(inspecting, "left mirror loose", words, "disregard that")
        assert standing(inspecting) == ["left mirror loose"]
    said(inspecting, "disregard that")
    assert standing(inspecting) == []


def test_a_bare_correction_behind_what_was_refused_is_of_nothing_before(
    inspecting: Inspecting,
) -> None:
    """ "Rear pads three ..." was refused, and "correction four" went to the tread before it."""
    told = said(
        inspecting,
        "rear tread two millimetres",
        "rear pads three blah",
        "correction four millimetres",
    )
    assert told == [["FindingSaved"], ["Refused"], ["Asked"]]
    assert standing(inspecting) == ["rear tyre 2"]


def test_a_bare_correction_of_what_was_said_of_two_asks_which(inspecting: Inspecting) -> None:
    """ "Pads two millimetres", "both", "correction three millimetres": the front ones stayed at two."""
    said(inspecting, "pads two millimetres", "both")
    assert said(inspecting, "correction three millimetres") == [["Asked"]]
    assert standing(inspecting) == ["front brake pads 2", "rear brake pads 2"]
    said(inspecting, "correction rear pads three millimetres", "correction four millimetres")
    assert standing(inspecting) == ["front brake pads 2", "rear brake pads 4"]
    said(inspecting, "front tyre four millimetres, rear tyre five millimetres")
    said(inspecting, "correction three millimetres")
    assert standing(inspecting)[2:] == ["front tyre 4", "rear tyre 3"]


def test_a_correction_is_of_no_other_place_that_nobody_meant(inspecting: Inspecting) -> None:
    """The front left one was found broken, and "correction rear left indicator fine" took that away."""
    said(inspecting, "front left indicator broken", "rear left indicator broken", "disregard that")
    told = said(inspecting, "correction rear left indicator fine")
    assert told == [["FindingSaved"]]
    assert standing(inspecting) == ["front left indicator broken", "rear left indicator sound"]


def test_nor_of_one_whose_own_place_was_withdrawn(inspecting: Inspecting) -> None:
    said(inspecting, "rear pads two millimetres", "front pads three millimetres", "disregard that")
    said(inspecting, "correction front pads four millimetres")
    assert standing(inspecting) == ["rear brake pads 2", "front brake pads 4"]


def test_nor_of_one_of_several_that_were_said_alike(inspecting: Inspecting) -> None:
    said(inspecting, "front indicators both broken", "correction rear left indicator loose")
    assert len(standing(inspecting)) == 3
    said(inspecting, "left mirror loose", "correction right mirror loose")  # the place was wrong
    assert standing(inspecting)[3:] == ["right mirror loose"]
