"""Hypothesis without deadlines: how long an example takes depends on the machine, not the code."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("fieldlog", deadline=None)
settings.load_profile("fieldlog")
