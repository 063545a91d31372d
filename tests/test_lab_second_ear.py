"""`python -m fieldlog.lab second-ear` counts what both ears came to with the product's own rule."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldlog.errors import UsageError
from fieldlog.lab.benchmarks.calibrate_evidence import Line, write_lines
from fieldlog.lab.benchmarks.second_ear import rows, second_ear, table
from fieldlog.language.files import load_language
from fieldlog.model.hearing import Hearing, Hypothesis

SURE = {"margin": 8.0, "logprob": -0.1, "tokens": 5.0}
UNSURE = {"margin": 1.2, "logprob": -1.5, "tokens": 5.0, "bend": -0.2}
WORN, GOOD = "rear brake pads worn", "rear brake pads good"


def line(
    name: str, said: str, heard: str, evidence: dict[str, float], kind: str = "phrase"
) -> Line:
    hearing = Hearing("whisper", (Hypothesis(heard, 0.0, evidence),), 1.0)
    return Line(name, "test", kind, "clean", said, (), 1.0, hearing, {})


FIRST = [
    line("wrong", WORN, GOOD, SURE),
    line("unsure", WORN, WORN, UNSURE),
    line("other", "", GOOD, SURE, "chatter"),
    line("alone", WORN, WORN, SURE),
]
SECOND = [
    line("wrong", WORN, WORN, SURE),
    line("unsure", WORN, WORN, SURE),
    line("other", "", WORN, SURE, "chatter"),
]


def test_rows_count_by_one_ear_and_by_both() -> None:
    (row,) = rows(FIRST, SECOND, load_language())
    assert (row.first.phrases, row.first.silent, row.first.asked_right, row.first.accepted) == (
        2,
        1,
        1,
        1,
    )
    assert (row.both.phrases, row.both.silent, row.both.asked_right, row.both.accepted) == (
        2,
        0,
        0,
        0,
    )
    assert (row.both.asked_wrong, row.both.offered, row.second_right) == (1, 1, 2)
    assert "| clean, **both** | 2 | 1 (50.0 %) | 0 (0.0 %, at most 77.6 %) |" in table("A", [row])


def test_the_page_is_written_and_nothing_is_said_of_nothing(tmp_path: Path) -> None:
    first, second = tmp_path / "first", tmp_path / "second"
    for folder, lines in ((first, FIRST), (second, SECOND)):
        folder.mkdir()
        write_lines(iter(lines), folder / "test-inspection.jsonl", lambda count: None)
    args = ["--pair", "Ours", str(first), str(second), "--docs", str(tmp_path)]
    second_ear.main(args, standalone_mode=False)
    assert "## Ours, test part" in (tmp_path / "second-ear.md").read_text(encoding="utf-8")
    with pytest.raises(UsageError, match="no evidence"):
        second_ear.main(["--pair", "None", str(first), str(tmp_path)], standalone_mode=False)
