"""The plan of a million inspections says what was measured."""

from __future__ import annotations

from fieldlog.archive.job import Chore
from fieldlog.lab.benchmarks.archive import Cost, page


def test_a_million_times_what_one_bundle_costs() -> None:
    text = page(63_000.0, [Cost(Chore.RECHECK, 0.0864, 2000)], one=0.1, two=0.05, plain=0.099)
    assert "| recheck | 0.086 | 2.0 | 1.0 | 0.4 | 2 |" in text
    assert "efficiency 1.00" in text
    assert "are 63 GB" in text
