"""Hypothesis without deadlines, and threads that yield: time depends on the machine, not the code."""

from __future__ import annotations

import os

import pytest
from hypothesis import settings

settings.register_profile("fieldlog", deadline=None)
settings.load_profile("fieldlog")

if "PYTEST_XDIST_WORKER" in os.environ:
    # Two processes on two cores: native threads that wait by spinning would take the other's core.
    os.environ |= {"KMP_BLOCKTIME": "0", "OMP_WAIT_POLICY": "PASSIVE", "OPENBLAS_NUM_THREADS": "1"}

MEASURED = (
    *("acceptance", "aftercare", "assess", "catalogue", "derived", "doubt", "from", "grammar"),
    *("language", "limits", "meaning", "questions", "report_view", "report_words", "severity"),
    *("session", "shop", "store_chain", "store_repository", "turns", "units"),
    *("listeners_whisper_parts", "listeners_whisper_search", "photos_clock", "photos_attach"),
)
"""Tests whose lines are counted, by the beginnings of their files' names: those of the pure core."""
EXHAUSTIVE = ("properties", "utterances", "numbers", "reach", "severity")
"""Ends of the names of files that only say the same lines again, thousands of times."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Counting lines costs as much again as the test itself: only where the core's floor needs it."""
    for item in items:
        name = item.path.stem.removeprefix("test_")
        if not name.startswith(MEASURED) or name.endswith(EXHAUSTIVE):
            item.add_marker(pytest.mark.no_cover)
