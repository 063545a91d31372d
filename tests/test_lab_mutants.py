"""Every fault of the table can still be put in: the line that it changes is there, once."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldlog.errors import UsageError
from fieldlog.lab.mutants.command import Mutant, mutants

ROOT = Path(__file__).resolve().parents[1]


@pytest.mark.parametrize("mutant", mutants(), ids=lambda each: each.name)
def test_a_mutant_changes_its_file(mutant: Mutant) -> None:
    sound = (ROOT / mutant.file).read_text(encoding="utf-8")
    broken = mutant.applied(sound)
    assert broken != sound
    compile(broken, mutant.file, "exec")
    assert all((ROOT / test).is_file() for test in mutant.tests)


def test_a_line_that_is_gone_is_named() -> None:
    with pytest.raises(UsageError, match="stands 0 times"):
        Mutant("x", "f.py", "gone", "", ()).applied("other")
