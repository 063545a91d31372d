"""Several findings in one breath: what is taken, what is asked, and that no half is taken alone."""

from __future__ import annotations

from typing import Any

import pytest

from fieldlog.grammar.language import is_said
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.understanding import Decision, Flag, Kind
from tests import breaths
from tests.utterances import rows


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


@pytest.mark.parametrize("row", breaths.rows(), ids=lambda row: row["w"])
def test_a_breath_holds_what_its_row_says(
    language: InspectionLanguage, row: dict[str, Any]
) -> None:
    wrong = breaths.faults(row, language.breath(row["w"]))
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize(
    "words",
    [
        "both tyres worn",
        "front and rear tires cracked",
        "valve caps missing at both ends",
        "front and rear wheel bearings rough",
        "front and rear pads two millimetres",
        "rear and front discs grooved",
        "both discs grooved",  # which two is asked
    ],
)
def test_two_of_a_kind_are_heard_in_the_plural(language: InspectionLanguage, words: str) -> None:
    assert is_said(language.word_graph(), words.split())


def test_there_are_enough_rows_of_every_kind() -> None:
    kinds = [row.get("d", "accept") for row in breaths.rows()]
    assert len(kinds) >= 60
    assert min(kinds.count(kind) for kind in ("accept", "ask", "refuse")) >= 15


@pytest.mark.uncounted
def test_one_finding_is_what_it_was(language: InspectionLanguage) -> None:
    """A breath of one thing is what ``understand`` makes of it, for every row but a few kinds."""
    for row in rows():
        said = language.understand(row["w"])
        found = language.breath(row["w"])
        if said.decision is Decision.REFUSE or Flag.REPAIRED in said.flags:
            continue
        assert found.parts == (said,), row["w"]


def test_a_refusal_is_never_half_taken(language: InspectionLanguage) -> None:
    """What was refused as one is refused, asked about, or understood to its last word."""
    for row in rows():
        said = language.understand(row["w"])
        found = language.breath(row["w"])
        if said.decision is Decision.REFUSE and found.whole.decision is Decision.ACCEPT:
            assert found.several or said.kind is Kind.NOTHING, row["w"]
            assert not found.left_over, row["w"]


@pytest.mark.uncounted
def test_no_half_of_two_findings_is_taken_alone(language: InspectionLanguage) -> None:
    """Two of the rows, joined in any way: both in their order, or nothing."""
    outcomes = {pair: breaths.outcome(language, *pair) for pair in breaths.pairs(60)}
    assert [pair for pair, became in outcomes.items() if became == "WRONG"] == []
    assert sum(became == "both right" for became in outcomes.values()) >= 50
