"""A cut of the campaigns with hostile input: every special case, and a few changed ones."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from fieldlog.lab.proofs import inputs
from fieldlog.lab.proofs.fuzzing import run
from fieldlog.lab.proofs.inputs import Campaign

CUT: dict[str, Callable[[Path], Campaign]] = {
    "bundle": inputs._bundle,
    "WAV": lambda _: inputs._wav(),
    "grammar": lambda _: inputs._grammar(),
    "pack": lambda _: inputs._pack(),
    "--set": lambda _: inputs._setting(),
}


@pytest.mark.parametrize("name", CUT)
def test_hostile_input_ends_in_an_outcome_or_a_clean_error(tmp_path: Path, name: str) -> None:
    """The whole of it: `python -m fieldlog.lab fuzz`."""
    tally = run(CUT[name](tmp_path), 3, 1)
    assert tally.faults == []
    assert tally.cases > 5


def test_a_fault_would_be_seen(tmp_path: Path) -> None:
    def broken(path: Path) -> None:
        if path.read_bytes()[:1] != b"#":
            raise KeyError(path.name)

    campaign = Campaign(
        "broken", "a test", "a", (b"#" * 50,), broken, {"x": inputs.write(b"x")}, (b"y",)
    )
    tally = run(campaign, 20, 1)
    assert tally.faults[0].startswith("x: KeyError: 'a'")
    assert tally.taken > 0
