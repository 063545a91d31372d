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


def test_there_are_enough_hand_written_rows() -> None:
    assert len(rows(*HAND_WRITTEN)) >= 250
