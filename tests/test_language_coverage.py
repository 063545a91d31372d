"""Every component, characteristic, unit and condition of the catalogue has an utterance row."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from fieldlog.catalogue.component import Catalogue
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from tests.utterances import FOLDER, faults, rows

GENERATED = sorted((FOLDER / "generated").glob("*.toml"))


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


@pytest.mark.parametrize("file", GENERATED, ids=lambda file: file.stem)
def test_everything_that_can_be_said_is_understood(language: InspectionLanguage, file: Any) -> None:
    wrong = {
        row["w"]: found
        for row in rows(f"generated/{file.name}")
        if (found := faults(row, language.understand(row["w"])))
    }
    assert not wrong, "\n".join(f"{words}: {found}" for words, found in wrong.items())


def test_no_item_of_the_catalogue_is_without_a_row(language: InspectionLanguage) -> None:
    missing = sorted(set(wanted(language.catalogue)) - set(covered(rows())))
    assert not missing, (
        f"{len(missing)} items have no utterance row; run python -m tests.write_utterances "
        f"or write rows by hand: {missing[:20]}"
    )


def test_an_item_without_a_row_is_noticed(language: InspectionLanguage) -> None:
    without = [row for row in rows() if row.get("c") != "horn"]
    assert ("horn", "condition", "weak") in set(wanted(language.catalogue)) - set(covered(without))


def wanted(catalogue: Catalogue) -> Iterator[tuple[str, str, str]]:
    """(component, characteristic, unit or condition or kind of code) of the whole catalogue."""
    for component in catalogue:
        for characteristic, condition, _ in component.judged():
            yield component.name, characteristic, condition
        for one in component.characteristics:
            for said in (*one.units, *filter(None, [one.code and "code"])):
                yield component.name, one.name, said


def covered(found: list[dict[str, Any]]) -> Iterator[tuple[str, str, str]]:
    """What rows with an accepted finding cover."""
    for row in found:
        if row.get("d", "accept") != "accept" or "c" not in row:
            continue
        quantities = [row["v"]] if "v" in row else row.get("r", [])
        for said in [q.rpartition(" ")[2] for q in quantities]:
            yield row["c"], row["k"], said
        if "s" in row:
            yield row["c"], row["k"], row["s"]
        if "g" in row:
            yield row["c"], row["k"], "code"
