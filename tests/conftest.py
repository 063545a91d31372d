"""Hypothesis without deadlines, and threads that yield: time depends on the machine, not the code."""

from __future__ import annotations

import os

from hypothesis import settings

settings.register_profile("fieldlog", deadline=None)
settings.load_profile("fieldlog")

if "PYTEST_XDIST_WORKER" in os.environ:
    # Two processes on two cores: native threads that wait by spinning would take the other's core.
    os.environ |= {"KMP_BLOCKTIME": "0", "OMP_WAIT_POLICY": "PASSIVE", "OPENBLAS_NUM_THREADS": "1"}
