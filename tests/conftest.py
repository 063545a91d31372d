"""Hypothesis without deadlines, and threads that yield: time depends on the machine, not the code."""

from __future__ import annotations

import os

import pytest
from hypothesis import settings

# The same examples in every run: a rare random grammar takes minutes to parse, and a gate that hangs
# by chance says nothing. ``--hypothesis-profile explore`` looks for new ones.
settings.register_profile("fieldlog", deadline=None, derandomize=True)
settings.register_profile("explore", deadline=None)
settings.load_profile("fieldlog")

# Nothing that was made earlier: the readers' lines are run, and counted, by whoever needs what they read.
os.environ["FIELDLOG_CACHE"] = ""

if "PYTEST_XDIST_WORKER" in os.environ:
    # Two processes on two cores: native threads that wait by spinning would take the other's core.
    os.environ |= {"KMP_BLOCKTIME": "0", "OMP_WAIT_POLICY": "PASSIVE", "OPENBLAS_NUM_THREADS": "1"}

MEASURED = frozenset((
    "acceptance_parse", "acceptance_words", "aftercare", "aftercare_data", "aftercare_trend",
    "aftercare_year", "assess", "catalogue_read", "cautions", "cli_catalogue", "derived",
    "derived_published", "doubt", "doubt_question", "from_finding", "grammar_automaton", "grammar_check",
    "grammar_compilers", "grammar_hint", "grammar_parse", "grammar_reader", "language_answers",
    "language_figures", "language_settled", "language_utterances", "limits_aggregate",
    "limits_check", "limits_context", "limits_entered", "limits_packs", "limits_uncertainty",
    "limits_why", "listeners_whisper_parts", "looked_at", "listeners_whisper_search", "meaning_codes",
    "meaning_normalise", "meaning_quantity", "meaning_say", "meaning_twins", "photos_attach",
    "photos_clock", "photos_readings", "report_view", "report_words", "session", "session_walk", "shop_inspecting",
    "language_slips", "turns", "units", "language_trade", "shop_trade", "grammar_homophones", "crosschecks", "jobs",
    "language_breath", "limits_rules", "going_on", "review_deciding", "reviewing", "cli_review", "first_use",
    "said_aloud", "affirming", "phone_sound", "led_answers", "german", "remark_taken_back",
))  # fmt: skip
"""Test files whose lines are counted: the fewest quick ones that together run the pure core.

Counting costs as much again as the test itself, and the others of the core add a line in thousands:
they say the same lines again with other words. A new module of the core needs its test named here.
"""


LONGEST = (
    "demo", "cli_listen", "first_ten_minutes", "review_page", "phone_browser", "lab_hearing",
    "language_values_said", "lab_breath", "added", "breath_sound", "grammar_homophones", "no_prose_decides",
    "lab_fuzzing", "accounting", "dangerous_everywhere", "grammar_properties", "microphone_real", "cli_bad_store",
    "language_properties", "language_trade", "report_files", "photos_scan", "cli_hear", "photos_importer",
)  # fmt: skip
"""Test files that take more than five seconds, the longest first: started last, one of them would keep one process
busy at the end while the other has nothing left."""


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest files first; lines are counted only where the core's floor needs it."""
    first = {name: at for at, name in enumerate(LONGEST)}
    items.sort(key=lambda item: first.get(item.path.stem.removeprefix("test_"), len(first)))
    for item in items:
        if item.path.stem.removeprefix("test_") not in MEASURED:
            item.add_marker(pytest.mark.no_cover)
