"""Answers to questions: what was asked is completed by a place, a unit, a value, affirm."""

from __future__ import annotations

from fractions import Fraction

import pytest

from fieldlog.doubt.question import waits
from fieldlog.grammar.language import is_said
from fieldlog.grammar.sample import Sampler
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.command import Command
from fieldlog.model.question import Asks
from fieldlog.model.understanding import Decision, Flag, Kind


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


def what(language: InspectionLanguage, first: str, second: str) -> tuple[object, ...]:
    asked = language.understand(first)
    assert asked.decision is Decision.ASK, asked
    found = language.answer(asked, second)
    finding = found.finding
    if finding is None:
        return (found.decision.value, len(found.candidates))
    value = finding.quantity
    said = (value.value, value.unit) if value else finding.condition or finding.code
    return (found.decision.value, finding.component, finding.position, finding.characteristic, said)


MM = "mm"


@pytest.mark.parametrize(
    ("said", "answer", "places"),
    [
        ("brake fluid is black", "both", ["front", "rear"]),
        ("mirrors loose", "both of them", ["left", "right"]),
        ("indicators dead", "all four", ["front left", "front right", "rear left", "rear right"]),
        ("pads two millimetres", "all", ["front", "rear"]),
        ("pads two", "both", None),  # the unit is open too
        ("mirrors loose", "all four", None),  # there are two
        ("indicators dead", "both", None),  # there are four
        ("front pads three four millimetres", "both", None),  # it cannot be both
    ],
)
def test_every_place_that_was_asked_about_may_be_meant(
    language: InspectionLanguage, said: str, answer: str, places: list[str] | None
) -> None:
    asked = language.understand(said)
    assert asked.decision is Decision.ASK
    found = language.answer(asked, answer)
    if places is None:
        assert found.decision is not Decision.ACCEPT
        return
    assert found.decision is Decision.ACCEPT
    findings = [part.finding for part in found.parts]
    assert [one.position for one in findings if one is not None] == places
    assert len({(one.component, one.quantity, one.condition) for one in findings if one}) == 1


def test_psi_and_then_both(language: InspectionLanguage) -> None:
    asked = language.understand("tyre pressure thirty six")
    left = language.answer(asked, "psi")
    assert left.asks is Asks.WHICH
    found = language.answer(left, "both")
    assert [part.finding.position for part in found.parts if part.finding] == ["front", "rear"]
    assert all(Flag.ANSWERED in part.flags for part in found.parts)


@pytest.mark.parametrize(
    ("first", "second", "wanted"),
    [
        ("pads two millimetres", "front", ("accept", "brake pads", "front", "thickness", (2, MM))),
        ("pads two millimetres", "the rear one", ("accept", "brake pads", "rear", "thickness", (2, MM))),
        ("pads two millimetres", "the horn", ("ask", 2)),
        ("front pads two", "affirm", ("accept", "brake pads", "front", "thickness", (2, MM))),
        ("front pads two", "millimetres", ("accept", "brake pads", "front", "thickness", (2, MM))),
        ("rear tread three", "three millimetres", ("accept", "tyre", "rear", "tread depth", (3, MM))),
        ("chain slack thirty five", "millimetres", ("accept", "drive chain", None, "slack", (35, MM))),
        ("front pads three four millimetres", "four", ("accept", "brake pads", "front", "thickness", (4, MM))),
        ("front pads three four millimetres", "affirm", ("ask", 2)),
        (
            "rear tread forty three thirty seconds",
            "four thirty seconds",
            ("accept", "tyre", "rear", "tread depth", (Fraction(1, 8), "in")),
        ),
        ("coolant ninety five degrees", "celsius", ("accept", "coolant", None, "temperature", (95, "degC"))),
        (
            "front rim run out one millimetre",
            "lateral",
            ("accept", "rim", "front", "run-out lateral", (1, MM)),
        ),
        (
            "front rim run out one millimetre",
            "radial run out",
            ("accept", "rim", "front", "run-out radial", (1, MM)),
        ),
        ("fork seals leaking", "on the left", ("accept", "fork seal", "left", "condition", "leaking")),
        ("indicator not working", "front left", ("accept", "indicator", "front left", "condition", "not working")),
        ("indicator not working", "left front", ("accept", "indicator", "front left", "condition", "not working")),
        ("indicator not working", "front", ("ask", 2)),
        ("brake fluid dot four", "rear", ("accept", "brake fluid", "rear", "grade", "DOT 4")),
        (
            "pads two millimetres",
            "rear pads three millimetres",
            ("accept", "brake pads", "rear", "thickness", (3, MM)),
        ),
    ],
)  # fmt: skip
def test_an_answer_completes_what_was_asked(
    language: InspectionLanguage, first: str, second: str, wanted: tuple[object, ...]
) -> None:
    if second == "the horn":
        asked = language.understand(first)
        found = language.answer(asked, second)
        assert found.decision is Decision.REFUSE
        assert found.candidates == asked.candidates
        assert found.question_text == asked.question_text
    else:
        assert what(language, first, second) == wanted


def test_the_place_may_come_before_the_unit(language: InspectionLanguage) -> None:
    asked = language.understand("chain tread three")
    assert asked.decision is Decision.REFUSE
    asked = language.understand("tread three")
    front = language.answer(asked, "front")
    assert (front.decision, front.question_text) == (Decision.ASK, "3 mm?")
    assert "unit assumed" in front.flags
    both = language.answer(front, "millimetres")
    assert both.decision is Decision.ACCEPT
    assert both.finding is not None
    assert both.finding.position == "front"
    assert "unit assumed" not in both.flags


@pytest.mark.parametrize("answer", ["affirm", "fifty", "fifty millimetres"])
def test_a_place_that_is_needed_is_asked_for_after_the_value(
    language: InspectionLanguage, answer: str
) -> None:
    asked = language.understand("pads fifty millimetres")
    assert asked.question_text.startswith("Was that 50 mm?")
    found = language.answer(asked, answer)
    assert found.decision is Decision.ASK
    if answer != "fifty millimetres":  # that is as implausible as before
        assert {one.position for one in found.candidates} == {"front", "rear"}
        placed = language.answer(found, "rear").finding
        assert placed is not None
        assert placed.position == "rear"


@pytest.mark.parametrize("answer", ["two", "front", "thickness"])
def test_only_its_unit_or_yes_confirms_a_unit_that_was_assumed(
    language: InspectionLanguage, answer: str
) -> None:
    asked = language.understand("front pads two")
    found = language.answer(asked, answer)
    assert found.decision is not Decision.ACCEPT
    assert found.question_text == asked.question_text


@pytest.mark.parametrize(
    ("answer", "left"),
    [("front", "36 psi or 36 kPa?"), ("psi", "Front or rear?"), ("affirm", None)],
)
def test_what_is_asked_next_is_what_is_still_open(
    language: InspectionLanguage, answer: str, left: str | None
) -> None:
    asked = language.understand("tyre pressure thirty six")
    found = language.answer(asked, answer)
    assert found.decision is Decision.ASK
    assert found.question_text == (left or asked.question_text)


def test_the_value_said_anew_keeps_the_correction(language: InspectionLanguage) -> None:
    asked = language.understand("correction front pads fifty millimetres")
    found = language.answer(asked, "five millimetres")
    assert (found.decision, found.dialogue) == (Decision.ACCEPT, "correction")


def test_negative_withdraws_what_was_asked(language: InspectionLanguage) -> None:
    asked = language.understand("front pads two")
    found = language.answer(asked, "negative")
    assert (found.decision, found.dialogue) == (Decision.REFUSE, "negative")


def test_both_utterances_stay_in_the_record(language: InspectionLanguage) -> None:
    found = language.answer(language.understand("pads two millimetres"), "front")
    assert found.finding is not None
    assert found.finding.words == "pads two millimetres / front"
    assert "answered" in found.flags


def test_another_command_is_not_swallowed(language: InspectionLanguage) -> None:
    asked = language.understand("pads two millimetres")
    assert language.answer(asked, "take photo").dialogue == "photo"
    assert language.answer(asked, "remark it squeals").kind is Kind.REMARK


def test_a_listener_may_be_offered_the_answers(language: InspectionLanguage) -> None:
    asked = language.understand("pads two millimetres")
    answering = language.answering(asked)
    assert answering.word_graph().accepts(["front"])
    assert answering.word_graph().accepts(["rear", "pads", "two", "millimetres"])
    assert not language.word_graph().accepts(["front"])
    assert answering.understand("front").decision is Decision.ACCEPT
    assert answering.meaning("front") == answering.meaning("the front one") != ""
    assert answering.meaning("front") != answering.meaning("rear")
    assert "front" in answering.words()
    assert "<answer" in answering.jsgf() or "answer" in answering.jsgf()


def test_every_answer_that_can_be_said_is_taken_or_refused_with_the_question(
    language: InspectionLanguage,
) -> None:
    asked = language.understand("pads two millimetres")
    grammar = language.answering(asked).grammar
    sampler = Sampler(grammar.rules, ["answer.answer"], seed=2)
    for _ in range(300):
        found = language.answer(asked, sampler.next_phrase())
        if found.decision is Decision.REFUSE and found.dialogue is not Command.NEGATIVE:
            assert found.question_text == asked.question_text


@pytest.mark.parametrize(
    ("first", "second", "wanted"),
    [
        ("front pads two", "yes 2 mm", ("accept", "brake pads", "front", "thickness", (2, MM))),
        ("front pads two", "no, 4 mm", ("accept", "brake pads", "front", "thickness", (4, MM))),
        ("front pads two", "yes 3 mm", ("ask", 2)),
        ("front pads two", "no 2 mm", ("ask", "brake pads", "front", "thickness", (2, MM))),
        ("front pads two", "yes two", ("accept", "brake pads", "front", "thickness", (2, MM))),
        ("front pads two", "that's right", ("accept", "brake pads", "front", "thickness", (2, MM))),
        ("front pads two", "yeah", ("accept", "brake pads", "front", "thickness", (2, MM))),
        ("front pads two", "rear 3 mm", ("refuse", 1)),
        ("front tyre pressure 36", "yes psi", ("accept", "tyre", "front", "pressure", (36, "psi"))),
        ("tyre pressure 36", "front 36 psi", ("accept", "tyre", "front", "pressure", (36, "psi"))),
        ("tyre pressure 36", "36 psi at the rear", ("accept", "tyre", "rear", "pressure", (36, "psi"))),
        ("tyre pressure 36", "front psi", ("accept", "tyre", "front", "pressure", (36, "psi"))),
        ("tyre pressure 36", "rear 2.4 bar", ("accept", "tyre", "rear", "pressure", (Fraction(12, 5), "bar"))),
        ("rear tyre date code 317", "three one seven", ("accept", "tyre", "rear", "date code", "317")),
        ("rear tyre date code 317", "3117", ("accept", "tyre", "rear", "date code", "3117")),
        ("battery one two six volts", "twelve six", ("ask", "battery", None, "resting voltage", (Fraction(63, 5), "V"))),
    ],
)  # fmt: skip
def test_yes_no_and_a_place_may_stand_before_what_is_said(
    language: InspectionLanguage, first: str, second: str, wanted: tuple[object, ...]
) -> None:
    assert what(language, first, second) == wanted


def test_the_reason_that_was_asked_for_is_enough(language: InspectionLanguage) -> None:
    asked = language.understand("skip drive belt")
    assert waits(asked)
    for said, reason in (("no time", "no time"), ("because it has none", "not fitted")):
        found = language.answer(asked, said)
        assert found.decision is Decision.ACCEPT
        assert found.slots == {"component": "drive belt", "reason": reason}
    assert language.answer(asked, "banana").decision is Decision.REFUSE
    assert language.answer(asked, "no").decision is Decision.REFUSE  # it is not skipped then


def test_sign_off_alone_is_agreed_to_when_typed(language: InspectionLanguage) -> None:
    asked = language.understand("sign off")
    assert asked.asks is Asks.SIGN_OFF
    assert not is_said(language.word_graph(), ["sign", "off"])


def test_a_fraction_said_again_is_asked_about_where_it_means_another_unit(
    language: InspectionLanguage,
) -> None:
    """ "Three eighths" are of an inch where no unit is said, and 3/8 mm was asked about."""
    first, second = "front disc thickness three eighths millimetres", "three eighths"
    assert what(language, first, second) == ("ask", 2)


@pytest.mark.parametrize(
    "said", ["no frame cracks", "no fuel leaking", "no front pads cracked", "no chain rust"]
)
def test_none_of_a_fault_behind_a_question_is_no_fault(
    language: InspectionLanguage, said: str
) -> None:
    """ "No frame cracks" after a question was "no" and a cracked frame."""
    for first in ("throttle body not sticking", "front pads two", "brake pads worn"):
        asked = language.understand(first)
        assert asked.decision is Decision.ASK, first
        assert language.answer(asked, said).decision is not Decision.ACCEPT, first


def test_no_and_another_value_is_still_an_answer(language: InspectionLanguage) -> None:
    asked = language.understand("front pads two")
    found = language.answer(asked, "no, rear pads 4 mm")
    assert found.finding is not None
    assert found.finding.position == "rear"
