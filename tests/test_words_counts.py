"""One of a thing is never told as several: "1 bundles handed over" reads like a fault."""

from __future__ import annotations

import re
from pathlib import Path

from fieldlog.words.english import FLAGS, counted, flag, originals

COMMANDS = Path(__file__).resolve().parents[1] / "fieldlog" / "cli"
SEVERAL = re.compile(
    r"\{[^{}]*\} (?:bundles|clips|faults|files|findings|inspections|items|limits|packs|photos|results|rows|rules)\b"
)
ALWAYS_SEVERAL = {"none of the {total} files", "{len(left_out)} of {total} files",
    "instants for {files} files", "{len(found)} photos named"}  # fmt: skip
"""Reached with two or more only."""


def test_one_is_told_as_one() -> None:
    assert [counted(n, "row") for n in (0, 1, 2)] == ["0 rows", "1 row", "2 rows"]
    assert counted(1, "bundle was", "bundles were") == "1 bundle was"
    assert [originals(n) for n in (1, 8)] == ["1 clip or photo", "8 clips and photos"]


def test_commands_count_with_the_word_for_one() -> None:
    found = {
        f"{path.name}: {hit}"
        for path in COMMANDS.glob("*.py")
        for line in path.read_text(encoding="utf-8").splitlines()
        for hit in SEVERAL.findall(line)
        if not any(each in line for each in ALWAYS_SEVERAL)
    }
    assert found == set()


def test_marks_explain_themselves() -> None:
    assert all(text and text != mark for mark, text in FLAGS.items())
    assert flag("teen/ty twin") == "sounds like another number (fifteen, fifty)"
    assert flag("more was said") == "more was said"
