"""Natural utterances, positives beside negatives, as tables in ``tests/data/utterances``."""

from __future__ import annotations

from typing import Any

import pytest

from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from tests.utterances import faults, rows

HAND_WRITTEN = (
    "acceptance.toml",
    *("tyres_brakes.toml", "battery_drive_fluids.toml", "rest_of_the_walk.toml"),
    "field_reports.toml",
)


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


@pytest.mark.parametrize("row", rows(*HAND_WRITTEN), ids=lambda row: row["w"] or "(nothing)")
def test_an_utterance_means_what_its_row_says(
    language: InspectionLanguage, row: dict[str, Any]
) -> None:
    wrong = faults(row, language.understand(row["w"]))
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("remark never ride ( leaks )", "never ride ( leaks )"),
        ("remark not safe . really", "not safe . really"),
        ("remark no uh brakes at all", "no uh brakes at all"),
        ("Remark: um, ran 3mm over", "um, ran 3mm over"),
        ("remark needs 1/2 turn", "needs 1/2 turn"),
        ("remark it's 5 N m", "it's 5 N m"),
    ],
)
def test_a_remark_keeps_every_word_that_was_typed(
    language: InspectionLanguage, typed: str, kept: str
) -> None:
    assert language.understand(typed).slots["remark"] == kept


def test_there_are_enough_hand_written_rows() -> None:
    assert len(rows(*HAND_WRITTEN)) >= 250
