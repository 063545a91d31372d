"""The plan of a million inspections says what was measured."""

from __future__ import annotations

from fieldlog.archive.job import Chore
from fieldlog.lab.benchmarks.archive import Cost, page


def test_a_million_times_what_one_bundle_costs() -> None:
    rounds = [[0.099, 0.055, 0.11, 0.1, 0.05], [0.2, 0.05, 0.2, 0.3, 0.06]]
    text = page(63_000.0, [Cost(Chore.RECHECK, 0.0864, 2000)], rounds)
    assert "| recheck | 0.086 | 2.0 | 1.0 | 0.4 | 2 |" in text
    assert "the machine's own efficiency: 0.99" in text
    assert "**efficiency 1.10** from one core to two; 1.00 against one worker" in text
    assert "100% of the rate of two" in text
    assert "| two workers | 0.050 | 0.050 0.060 |" in text
    assert "are 63 GB" in text
