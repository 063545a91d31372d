"""A cut of the table of tampering: one way with every other part, all of which must be seen."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldlog.lab.proofs.forgeries import TABLE, WAYS
from fieldlog.lab.proofs.tampering import outcome, prepare

DONE = {part: [way for way in WAYS if not isinstance(TABLE[part][way], str)] for part in TABLE}
CUT = {
    part: DONE[part][number % len(DONE[part])] for number, part in enumerate(TABLE) if number % 2
}
WITNESSED = {("whole store", "older copy"), ("bundle file", "rehash")}


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("tampering")
    prepare(folder)
    return folder


def test_every_part_has_every_way() -> None:
    assert all(tuple(cells) == WAYS for cells in TABLE.values())
    assert len(TABLE) == 19


@pytest.mark.parametrize(("part", "way"), list(CUT.items()))
def test_it_is_seen(template: Path, part: str, way: str) -> None:
    """The whole of it: `python -m fieldlog.lab tampering`."""
    assert outcome(template, part, way).how in {"named", "by a witness"}


@pytest.mark.parametrize(("part", "way"), sorted(WITNESSED))
def test_alone_it_agrees_with_itself(template: Path, part: str, way: str) -> None:
    assert outcome(template, part, way).how == "by a witness"
