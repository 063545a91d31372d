"""The counter of lines is off where nothing is counted: it once took half of a whole run without being seen."""

from __future__ import annotations

import os
import sys

import pytest


@pytest.mark.skipif(
    "PYTEST_XDIST_WORKER" not in os.environ,
    reason="one process alone may have a debugger, which traces too",
)
def test_nothing_traces_a_test_whose_lines_are_not_counted() -> None:
    assert sys.gettrace() is None
