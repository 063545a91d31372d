"""A mechanic's own words: what phrases mean, what is asked about them, and what never comes of them."""

from __future__ import annotations

import hashlib
import tomllib
from pathlib import Path
from typing import Any

import pytest

from fieldlog.catalogue.component import CONDITION, SOUND, WORK
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.language.sides import by_side_of_traffic
from fieldlog.limits.context import keeps_left
from fieldlog.model.command import Command
from fieldlog.model.question import Asks
from fieldlog.model.understanding import Decision, Flag, Kind
from fieldlog.words import tell
from tests.breaths import written
from tests.shared import need_shared

DATA = Path(__file__).parent / "data"
LEAST = 0.92
"""Share of phrases that are to be accepted, or rightly asked about."""


def rows(name: str) -> list[dict[str, Any]]:
    return list(tomllib.loads((DATA / name).read_text("utf-8"))["rows"])


OWN = rows("trade_phrases.toml")
MORE = rows("trade_more.toml")
AS_SAID = rows("trade_as_said.toml")


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


def faults(row: dict[str, Any], language: InspectionLanguage, words: str) -> list[str]:
    """What is wrong of the meaning of ``words``."""
    breath = language.typed(words)
    said = breath.whole
    found = [written(one) for part in breath.parts for one in part.offered]
    wrong = []
    if said.decision.value != row["d"]:
        wrong.append(f"wanted {row['d']}, got {said.decision.value}")
    if said.decision is not Decision.REFUSE and found != row.get("is", []):
        wrong.append(f"wanted {row.get('is', [])}, got {found}")
    if row.get("why", "") not in said.reason:
        wrong.append(f"wanted {row['why']!r} in {said.reason!r}")
    return wrong


ASKED_WITH = {
    "front brake was spongy": ["front brake: spongy"],
    "the chain was dry": ["drive chain: dry"],
    "rear pads could be below two mil": ["rear brake pads, thickness: less than 2 mm"],
    "rear pads may be two mil": ["rear brake pads, thickness: 2 mm"],
    "rear pads maybe two mil": ["rear brake pads, thickness: 2 mm"],
    "pressures thirty six front forty two rear": [
        "front tyre, pressure: 36 psi", "front tyre, pressure: 36 kPa",
        "rear tyre, pressure: 42 psi", "rear tyre, pressure: 42 kPa",
    ],
    "pressures thirty six psi front forty two psi rear": [
        "front tyre, pressure: 36 psi", "rear tyre, pressure: 42 psi",
    ],
    "both mirrors are loose, left one's cracked": ["left mirror: loose", "right mirror: loose"],
    "everything works": [],
    "everything else is fine": [],
    "all good": [],
}  # fmt: skip
"""What is thought, was so once, or is of no part in particular: asked, with what it may be."""


@pytest.mark.parametrize("words", ASKED_WITH)
def test_what_is_not_certain_is_asked_about(language: InspectionLanguage, words: str) -> None:
    whole = language.typed(words).whole
    assert whole.decision is Decision.ASK
    assert [tell.finding(one) for one in whole.offered] == ASKED_WITH[words]


@pytest.mark.parametrize(
    "words",
    ["rear tread was four thirty-seconds", "front brake is still spongy", "chain was lubed"],
)
def test_a_reading_that_was_taken_is_one(language: InspectionLanguage, words: str) -> None:
    """What was read, what was done, and what is so still."""
    assert language.typed(words).whole.decision is Decision.ACCEPT


@pytest.mark.parametrize("row", OWN, ids=lambda row: row["w"])
def test_a_phrase_means_what_its_row_says(
    language: InspectionLanguage, row: dict[str, Any]
) -> None:
    wrong = faults(row, language, row["w"])
    assert not wrong, "\n".join(wrong)


def test_phrases_of_more_sets_mean_what_their_rows_say(language: InspectionLanguage) -> None:
    """Sets that were first read when the rules of the set before stood; as many are understood now."""
    wrong = {row["w"]: told for row in MORE if (told := faults(row, language, row["w"]))}
    assert not wrong
    assert len(MORE) >= 800
    assert sum(row["d"] != "refuse" for row in MORE) >= LEAST * len(MORE)


def test_what_others_say_was_plans_and_cannot_be_means_what_its_rows_say(
    language: InspectionLanguage,
) -> None:
    """Two units in a breath and repairs in repairs as well; most of it must not be taken as it stands."""
    wrong = {row["w"]: told for row in AS_SAID if (told := faults(row, language, row["w"]))}
    assert not wrong
    assert len(AS_SAID) >= 150


FAULTY = [
    row for row in MORE if row["d"] == "accept" and row.get("is") and "correction" not in row["w"]
]
AROUND = (
    *("if {}", "should {}", "not {}", "maybe {}", "the other bike's {}", "last year {}", "is {}"),
    *("{}?", "{} last year", "{} maybe", "{} or not", "{} sometimes", "{} soon", "{} no longer"),
    *("{} but not really", "{} until i fixed it", "{} on the other bike", "no {}", "{} any more"),
)


@pytest.mark.parametrize("around", AROUND)
@pytest.mark.uncounted
def test_what_is_asked_doubted_or_of_another_time_is_never_taken(
    language: InspectionLanguage, around: str
) -> None:
    """Of every accepted phrase, with words around it that make something else of it."""
    some = FAULTY[AROUND.index(around) % 9 :: 9]
    taken = [
        said
        for row in some
        if (found := language.typed(said := around.format(row["w"])).whole).decision
        is Decision.ACCEPT
        and found.kind is Kind.FINDING
    ]
    assert not taken


def test_hardly_any_phrase_is_refused() -> None:
    assert len(OWN) >= 150
    understood = [row for row in OWN if row["d"] != "refuse"]
    assert len(understood) >= LEAST * len(OWN)


def test_every_phrase_of_the_extra_material_means_what_is_expected(
    language: InspectionLanguage,
) -> None:
    """Its phrases are kept apart; what they mean is here, by the hash of each."""
    text = need_shared("text/mechanics_phrases.txt").read_text("utf-8")
    phrases = [line.strip() for line in text.splitlines() if line.strip()]
    expected = {row["h"]: row for row in rows("trade_expected.toml")}
    wrong, refused = {}, 0
    for phrase in phrases:
        row = expected.get(hashlib.sha256(phrase.lower().encode()).hexdigest()[:16])
        told = ["has no expected meaning"] if row is None else faults(row, language, phrase)
        refused += row is not None and row["d"] == "refuse"
        if told:
            wrong[phrase] = told
    assert not wrong
    assert refused <= (1 - LEAST) * len(phrases)


# --- what must never happen ----------------------------------------------------------------------

DENIED = (
    *("front brake not good", "brake lever not firm", "horn isn't too good", "steering not smooth"),
    *("rear disc isn't cracked", "front caliper not leaking", "no leaks from the front caliper"),
    *("oil not changed", "front pads were not replaced", "chain not adjusted"),
    *("swing arm bearings have no play", "front wheel bearing no play"),
    *("new front pads not fitted", "new front pads but not fitted", "new chain has tight spots"),
    *("new a b s light on", "new front wheel bearing play"),
    *("front brake no good", "rear tyre not worn much", "no rear brake"),
)
VAGUE = (
    *("front tyre almost bald", "clutch might be slipping", "left fork seal starting to weep"),
    *(
        "air filter needs replacing",
        "front pads at minimum",
        "rear tyre is due",
        "oil to be changed",
    ),
    *("rear pads half worn", "front pads at fifty percent", "front tyre about half left"),
    *("new rear tyre needed", "new front pads to be fitted", "needs new rear pads"),
)


@pytest.mark.parametrize("words", [*DENIED, *VAGUE])
def test_what_is_denied_or_not_told_is_never_taken(
    language: InspectionLanguage, words: str
) -> None:
    assert language.understand(words).decision is not Decision.ACCEPT


@pytest.mark.parametrize(
    "words", ["rear shock", "front tyre", "battery", "horn", "clutch", "chain"]
)
@pytest.mark.parametrize("said", ["is shot", "is knackered", "has had it", "is on its last legs"])
def test_what_is_done_for_is_never_sound(
    language: InspectionLanguage, words: str, said: str
) -> None:
    found = language.understand(f"{words} {said}")
    assert found.decision is not Decision.REFUSE
    assert all(one.condition != SOUND for one in found.offered)


def test_no_typed_word_judges_one_part_in_two_ways_in_silence(language: InspectionLanguage) -> None:
    """Typed words that stand for two conditions of an entry are asked about, never one of them."""
    both = language.understand("throttle cable snagging")
    assert both.asks is Asks.WHICH
    assert [one.condition for one in both.offered] == ["chafed", "sticking"]
    assert language.understand("rear shock blown").asks is Asks.WHICH


# --- single rules --------------------------------------------------------------------------------


def test_small_words_are_dropped_and_a_spot_is_kept(language: InspectionLanguage) -> None:
    found = language.understand("the frame's badly cracked near the headstock").finding
    assert found is not None
    assert (found.component, found.condition) == ("frame", "cracked")
    assert found.given == (("noted", "near the headstock"),)


@pytest.mark.parametrize(
    "words",
    ["front pads at minimum", "rear pads half worn", "front disc near the limit", "front tyre 40%"],
)
def test_a_share_is_asked_for_a_measurement(language: InspectionLanguage, words: str) -> None:
    found = language.understand(words)
    assert found.asks is Asks.IN_FULL
    assert "no measurement" in found.reason


@pytest.mark.parametrize(
    ("words", "unit"),
    [
        ("chain slack thirty five mil", "mm"),
        ("rear pads two mil", "mm"),
        ("spark plug gap thirty mil", "in"),
        ("front disc run out two mil", None),
        ("wheel bearing play two mil", None),
    ],
)
def test_mil_is_a_millimetre_where_a_thousandth_of_an_inch_cannot_be_meant(
    language: InspectionLanguage, words: str, unit: str | None
) -> None:
    found = language.understand(words)
    units = {one.quantity.unit for one in found.offered if one.quantity is not None}
    assert units == ({"mm", "in"} if unit is None else {unit})
    assert (found.decision is Decision.ACCEPT) is (unit is not None)


@pytest.mark.parametrize(
    ("words", "places"),
    [
        ("clutch side mirror cracked", ["left"]),
        ("throttle side grip torn", ["right"]),
        ("brake side bar end loose", ["right"]),
        ("drive side chain adjuster loose", ["left", "right"]),
        ("disc side fork seal leaking", ["left", "right"]),
        ("clutch side foot peg loose", ["left", "right"]),
    ],
)
def test_a_side_told_by_what_is_there(
    language: InspectionLanguage, words: str, places: list[str]
) -> None:
    found = language.understand(words)
    assert [one.position for one in found.offered] == places
    assert (found.decision is Decision.ACCEPT) is (len(places) == 1)


@pytest.mark.parametrize("words", ["nearside mirror cracked", "n/s mirror cracked"])
def test_nearside_is_left_only_where_traffic_keeps_left(
    language: InspectionLanguage, words: str
) -> None:
    said = language.understand(words)
    assert said.finding is not None
    assert said.finding.position == "left"
    assert Flag.NEARSIDE in said.flags
    assert by_side_of_traffic(said, keeps_left=True) == said
    asked = by_side_of_traffic(said, keeps_left=False)
    assert (asked.decision, asked.asks) == (Decision.ASK, Asks.PLACE)
    assert [one.position for one in asked.offered] == ["left", "right"]
    answered = language.answer(asked, "the right one")
    assert answered.finding is not None
    assert answered.finding.position == "right"
    assert by_side_of_traffic(answered, keeps_left=False) == answered


@pytest.mark.parametrize(
    ("jurisdiction", "left"),
    [("GB", True), ("IE", True), ("US-VA", False), ("DE", False), (None, False)],
)
def test_where_traffic_keeps_left(jurisdiction: str | None, left: bool) -> None:
    assert keeps_left(jurisdiction) is left


def test_both_of_a_breath_are_asked_about_their_side(language: InspectionLanguage) -> None:
    said = language.understand("nearside mirror cracked and offside mirror loose")
    assert len(said.parts) == 2
    asked = by_side_of_traffic(said, keeps_left=False)
    assert asked.decision is Decision.ASK
    assert asked.finding is None


@pytest.mark.parametrize(
    ("words", "component", "work"),
    [
        ("oil changed", "engine oil", "replaced"),
        ("replaced the air filter", "air filter", "replaced"),
        ("new front disc fitted", "brake disc", "replaced"),
        ("throttle cable greased", "throttle cable", "lubricated"),
        ("plugs changed", "spark plug", "replaced"),
        ("rear wheel trued", "wheel", "trued"),
        ("clutch cable lubed", "clutch cable", "lubricated"),
    ],
)
def test_work_that_was_done_is_a_finding_of_its_own(
    language: InspectionLanguage, words: str, component: str, work: str
) -> None:
    found = language.understand(words).finding
    assert found is not None
    assert (found.component, found.characteristic, found.condition) == (component, WORK, work)


def test_of_cables_it_is_asked_which_was_greased(language: InspectionLanguage) -> None:
    found = language.understand("cable greased")
    assert found.decision is Decision.ASK
    assert len({one.component for one in found.offered}) > 2


def test_the_same_is_said_of_several(language: InspectionLanguage) -> None:
    lamps = language.understand("high and low beam work").parts
    assert [one.finding.component for one in lamps if one.finding] == ["high beam", "low beam"]
    four = language.understand("all four indicators work").parts
    assert len({one.finding.position for one in four if one.finding}) == 4
    assert all(one.finding and one.finding.condition == SOUND for one in four)


def test_a_part_that_is_not_named_is_asked_about(language: InspectionLanguage) -> None:
    found = language.understand("front's at thirty three psi")
    assert found.decision is Decision.ASK
    assert "tyre" in {one.component for one in found.offered}


def test_a_piece_without_an_entry_is_not_taken_for_its_part(language: InspectionLanguage) -> None:
    found = language.understand("number plate bracket broken")
    assert found.decision is Decision.ASK
    assert not found.offered


def test_a_word_of_another_program_is_none_here(language: InspectionLanguage) -> None:
    assert language.understand("scratch that").decision is Decision.REFUSE
    assert language.understand("disregard that").dialogue is Command.DISREGARD


def test_listeners_are_offered_none_of_it(language: InspectionLanguage) -> None:
    """Nothing of trade.jsgf is in the language that is listened for."""
    assert not {"knackered", "manky", "minging", "toast"} & language.words()
    assert not any(name.startswith("trade.") for name in language.grammar.rules)


def test_a_condition_of_the_part_comes_before_one_of_what_is_measured(
    language: InspectionLanguage,
) -> None:
    found = language.understand("front tyre scalloped").finding
    assert found is not None
    assert found.characteristic == CONDITION


@pytest.mark.parametrize(
    "words",
    ["seat good, mostly", "seat mostly good", "seat good a lot", "seat a bit good", "seat fairly good",
     "chain good, starting to get dirty"],
)  # fmt: skip
def test_what_is_well_for_the_most_part_is_not_taken_as_well(words: str) -> None:
    assert load_language().understand(words).decision is not Decision.ACCEPT


@pytest.mark.parametrize("words", ["seat really good", "seat all good", "seat good too"])
def test_small_words_that_leave_nothing_open_change_nothing(words: str) -> None:
    found = load_language().understand(words).finding
    assert found is not None
    assert found.condition == "sound"


def test_of_a_wheel_it_is_not_said_that_it_works() -> None:
    """ "Both wheels were ..." was heard as "both wheels work", which said that both are in order."""
    for words in ("front wheel works", "both wheels work"):
        assert load_language().understand(words).decision is not Decision.ACCEPT
    assert load_language().understand("front brake works").finding is not None


@pytest.mark.parametrize(
    ("words", "taken"),
    [
        ("chain was loose, tightened", []),
        ("oil low, topped up half a litre", []),
        ("chain adjusted, slack thirty millimetres", ["work: adjusted", "slack: 30 mm"]),
        ("chain slack thirty millimetres, lubed", ["slack: 30 mm", "work: lubricated"]),
    ],
)
def test_what_was_put_right_behind_it_is_asked(
    language: InspectionLanguage, words: str, taken: list[str]
) -> None:
    """How it is now was not said; what was measured after the work is how it is."""
    found = language.typed(words).whole
    said = [written(one.finding) for one in found.parts if one.finding]
    assert said == [f"drive chain, {one}" for one in taken]
    assert taken or found.asks is Asks.IN_FULL


@pytest.mark.parametrize(
    "words",
    [
        *("front disc two mil below minimum", "battery half a volt low", "rear pads two mil worn"),
        *("rear tyre worn two mil", "idle seven hundred too low"),
    ],
)
def test_by_how_much_is_no_reading(language: InspectionLanguage, words: str) -> None:
    found = language.typed(words).whole
    assert found.decision is not Decision.ACCEPT
    assert found.asks not in (Asks.ALL_OF_IT, Asks.WHICH)
    values = [one.quantity.value for one in found.offered if one.quantity is not None]
    assert 702 not in values
    assert len(language.typed("rear pads two mil, worn").parts) == 2


@pytest.mark.parametrize(
    "words",
    [
        *("any play in the head bearings", "is play in the rear wheel bearing"),
        *(
            "horn only works",
            "horn just works",
            "hoses spongy",
            "battery corroded and low on water",
        ),
        *("battery resting voltage thirteen volts at idle", "clunk when i pull the front brake"),
        *("front wheel works", "did screw in the rear tyre", "front end loose"),
    ],
)
def test_what_may_be_something_else_is_not_taken(language: InspectionLanguage, words: str) -> None:
    assert language.typed(words).whole.decision is not Decision.ACCEPT


@pytest.mark.parametrize(
    ("words", "finding"),
    [
        ("no damping left in the rear shock", "shock absorber, condition: weak"),
        ("front axle nut done up to seventy newton metres", "axle nut, front, torque: 70 N.m"),
        ("torqued the front axle nut to seventy newton metres", "axle nut, front, torque: 70 N.m"),
        ("left mirror's glass is cracked", "mirror, left, condition: cracked"),
        ("rear axle nut's missing its split pin", "split pin, rear, condition: missing"),
        ("rear tyre has no valve cap", "valve cap, rear, condition: missing"),
        ("front tyre four mil in the middle", "tyre, front, tread depth: 4 mm (noted in the middle)"),
        ("a few stiff links in the chain", "drive chain, condition: stiff (noted a few)"),
        ("brake light doesn't work off the pedal", "brake lamp, pedal, condition: not working"),
        ("nothing wrong with the fork", "fork, condition: sound"),
        ("front tyre only thirty psi", "tyre, front, pressure: 30 psi"),
        ("rear tyre is six years old", "tyre, rear, age: 6 a"),
        ("battery charging at fourteen volts at idle", "battery, charging voltage: 14 V (noted at idle)"),
    ],
)  # fmt: skip
def test_further_ways_to_say_it(language: InspectionLanguage, words: str, finding: str) -> None:
    found = language.typed(words).whole.finding
    assert found is not None
    assert written(found) == finding


@pytest.mark.parametrize(
    ("words", "why"),
    [
        ("couldn't check the valve clearances", None),
        ("can't get at the rear spark plug", "not reachable"),
        ("front wheel bearing not checked, no time", "no time"),
        ("battery not tested", None),
    ],
)
def test_what_was_not_looked_at_is_left_out_with_its_reason(
    language: InspectionLanguage, words: str, why: str | None
) -> None:
    found = language.typed(words).whole
    assert found.dialogue is Command.SKIP
    assert found.slots.get("reason") == why
    assert (found.asks is Asks.WHY_SKIPPED) is (why is None)


@pytest.mark.parametrize(
    ("words", "offered"),
    [
        ("front brake judders", []),
        ("left mirror cracked and the bloke wants it back", ["mirror, left, condition: cracked"]),
        ("pedal play twenty millimetres", ["brake pedal, free play: 20 mm"]),
        ("wobbles at sixty", ["test ride, condition: weaving (noted at sixty)"]),
    ],
)
def test_what_is_typed_is_asked_about_and_what_is_heard_is_not(
    language: InspectionLanguage, words: str, offered: list[str]
) -> None:
    """Of words that were only guessed there is nothing to ask."""
    typed = language.typed(words).whole
    assert (typed.decision, typed.asks) == (Decision.ASK, Asks.IN_FULL)
    assert [written(one) for one in typed.offered] == offered
    assert language.understand(words).decision is Decision.REFUSE
    assert language.meaning(words) == ""


def test_a_part_with_typed_names_alone_is_offered_to_no_listener(
    language: InspectionLanguage,
) -> None:
    only = [one for one in language.catalogue if not one.spoken]
    assert "grab rail" in {one.name for one in only}
    assert all(one.typed for one in only)
    rules = " ".join(language.grammar.rules)
    assert not any(one.name.replace(" ", "_") in rules for one in only)
    found = language.understand("left grab rail loose").finding
    assert found is not None
    assert (found.component, found.position) == ("grab rail", "left")


def test_a_question_about_parts_names_them(language: InspectionLanguage) -> None:
    found = language.understand("bearings notchy")
    assert found.question_text == "Steering head bearing or swing arm?"
