"""Bays that write and people who review at once: what the lab's load test says is so."""

from __future__ import annotations

import time
from pathlib import Path

from fieldlog.config import ADDRESS
from fieldlog.lab.benchmarks.fleet import DECIDE, SAVE, Load, at_share, run
from tests import postgres_server

LOAD = Load(bays=3, reviewers=2, seconds=2.4, every_s=0.15)


def test_a_server_without_power_in_between_loses_and_doubles_nothing(tmp_path: Path) -> None:
    with postgres_server.running() as server:
        (tmp_path / ADDRESS).write_text(server.empty() + "\n")

        def cut() -> None:
            server.stop()
            time.sleep(0.2)
            server.start()

        found = run(tmp_path, LOAD, cut)
    assert (found.lost, found.doubled, found.faults) == (0, 0, ())
    assert found.retries
    assert len(found.times_ms[SAVE]) > 3
    assert found.announced == len(found.times_ms[SAVE]) + len(found.times_ms.get(DECIDE, ()))


def test_the_same_on_a_file(tmp_path: Path) -> None:
    found = run(tmp_path, Load(bays=2, reviewers=1, seconds=1.0, every_s=0.1))
    assert (found.lost, found.doubled, found.retries, found.faults) == (0, 0, 0, ())
    assert found.announced


def test_the_time_that_a_share_stays_below() -> None:
    assert at_share((1.0, 2.0, 3.0, 4.0), 0.5) == 3.0
    assert at_share((1.0,), 0.95) == 1.0
