"""What is asked: only what differs, in the finding's words."""

from __future__ import annotations

import pytest

from fieldlog.doubt.question import distinct, what_to_ask
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.understanding import Decision, Kind, Understanding


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


@pytest.mark.parametrize(
    ("said", "others", "question"),
    [
        (
            "front axle nut torque fifty newton metres",
            ["front axle nut torque fifteen newton metres"],
            "50 N·m or 15 N·m?",
        ),
        ("front tyre cracked", ["rear tyre cracked"], "Front or rear?"),
        ("front tyre worn", ["front tyre good"], "Worn or sound?"),
        (
            "front brake pads two millimetres",
            [],
            "Did you say front brake pads, thickness: two millimetres?",
        ),
        # Another wording of the same meaning is no alternative.
        (
            "front brake pads two millimetres",
            ["front brake pads at two millimetres"],
            "Did you say front brake pads, thickness: two millimetres?",
        ),
        (
            "front brake pads two millimetres",
            ["correction front brake pads two millimetres"],
            "A new finding or a correction: front brake pads, thickness: 2 mm?",
        ),
        (
            "front brake pads two millimetres",
            ["correction front brake pads three millimetres"],
            "A new finding or a correction: 2 mm or correction, 3 mm?",
        ),
        (
            "correction front axle nut torque fifty newton metres",
            ["front axle nut torque fifteen newton metres"],
            "A new finding or a correction: correction, 50 N·m or 15 N·m?",
        ),
        (
            "front tread four thirty seconds",
            [],
            "Did you say front tyre, tread depth: four thirty seconds?",
        ),
        ("say again", [], "Did you say 'say again'?"),
    ],
)
def test_only_what_differs_is_asked(
    language: InspectionLanguage, said: str, others: list[str], question: str
) -> None:
    best = language.understand(said)
    assert best.decision is Decision.ACCEPT, best.reason
    parsed = [language.understand(text) for text in others]
    assert what_to_ask(best, parsed).text == question
    assert len(distinct([best, *parsed])) == len(
        {language.meaning(t).replace("correction", "") for t in (said, *others) if best.finding}
    )


def _order(text: str) -> Understanding:
    return Understanding(Decision.ACCEPT, Kind.ORDER, "fits", text)


def test_orders_are_told_apart_by_their_words() -> None:
    assert what_to_ask(_order("a large tea please"), [_order("a small tea please")]).text == (
        "Large or small?"
    )
    assert what_to_ask(_order("tea"), [_order("tea with milk")]).text == (
        "Did you say 'tea' or 'tea with milk'?"
    )
    assert what_to_ask(_order(""), []).text == "Say again?"
