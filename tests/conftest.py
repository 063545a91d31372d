"""Hypothesis without deadlines, and threads that yield: time depends on the machine, not the code.

What a whole run of several processes need not do twice, or need not do at all, is left out here: DEVELOPERS.md
says what each of these takes.
"""

from __future__ import annotations

import gc
import importlib
import os
import warnings
from collections import Counter
from collections.abc import Generator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from coverage import Coverage
from hypothesis import settings

from tests.pure_core import pure_modules

# The same examples in every run: a rare random grammar takes minutes to parse, and a gate that hangs
# by chance says nothing. ``--hypothesis-profile explore`` looks for new ones.
settings.register_profile("fieldlog", deadline=None, derandomize=True, max_examples=60)
settings.register_profile("explore", deadline=None)
settings.load_profile("fieldlog")

# Nothing that was made before this run: `python -m tests` has a folder for what its processes, and the many
# that they start, read of the grammars and the limits, and without it each makes its own.
os.environ["FIELDLOG_CACHE"] = os.environ.get("FIELDLOG_TESTS_CACHE", "")

WORKER = os.environ.get("PYTEST_XDIST_WORKER")
if WORKER:
    # More processes than cores: native threads that wait by spinning would take the other's core.
    os.environ |= {"KMP_BLOCKTIME": "0", "OMP_WAIT_POLICY": "PASSIVE", "OPENBLAS_NUM_THREADS": "1"}

MEASURED = frozenset((
    "acceptance_words", "aftercare", "aftercare_data", "aftercare_trend",
    "aftercare_year", "assess", "catalogue_read", "cautions", "cli_catalogue", "derived",
    "derived_published", "doubt", "doubt_breath", "doubt_question", "from_finding", "grammar_automaton", "grammar_check",
    "grammar_compilers", "grammar_hint", "grammar_parse", "grammar_reader", "language_answers",
    "language_figures", "language_settled", "limits_aggregate",
    "limits_check", "limits_context", "limits_entered", "limits_packs", "limits_uncertainty",
    "limits_why", "listeners_whisper_memory", "listeners_whisper_parts", "looked_at", "listeners_whisper_search", "meaning_codes",
    "meaning_normalise", "meaning_quantity", "meaning_say", "meaning_twins", "photos_attach",
    "photos_clock", "photos_readings", "report_view", "report_words", "session", "session_walk", "shop_breath", "shop_corrections", "shop_inspecting",
    "shop_next_process", "shop_signing",
    "language_slips", "turns", "turns_heard", "units", "language_trade", "shop_trade", "grammar_homophones", "crosschecks", "jobs",
    "as_json", "language_breath", "limits_rules", "going_on", "review_deciding", "reviewing", "cli_review", "first_use",
    "said_aloud", "affirming", "phone_sound", "led_answers", "german", "german_told",
    "remark_taken_back", "doubt_second", "said_last", "kept", "cli_why", "report_trend",
    "whose_voice", "giving_way", "severity", "odometer", "review_page", "echo",
))  # fmt: skip
"""Test files whose lines are counted: the fewest quick ones that together run the pure core.

Counting takes two to four times as long as the test itself, and the others of the core add a line in thousands:
they say the same lines again with other words. A new module of the core needs its test named here; a test
in one of these files that takes long and says nothing new is marked ``uncounted``.
"""


LONGEST = (
    "phone_browser", "phone_page", "review_signing", "microphone_real", "review_page", "archive", "demo", "german", "language_trade",
    "cli_listen", "first_ten_minutes", "lab_hearing", "photos_importer", "listeners_contract", "lab_tampering", "handover",
    "no_prose_decides", "lab_speech_set", "proving", "cli_bad_store", "report_view", "language_breath", "store_merge",
    "lab_fuzzing", "language_figures", "breath_sound", "lab_bundle", "cli_hear", "cli_bad_input", "accounting", "phone_command",
    "store_contract", "severity", "lab_breath", "added", "listeners_vosk", "dangerous_everywhere", "lab_adapting", "said_last",
    "report_files", "listen_goes_on", "questions", "listeners_whisper_listener", "listeners_others", "phone_hostile",
    "grammar_properties", "photos_scan", "shop_inspecting", "store_chain", "language_properties", "language_values_said",
)  # fmt: skip
"""Test files that take more than five seconds, the longest first: started last, one of them would keep one process
busy at the end while the others have nothing left. Those that wait come first of all: what the processor is not asked for
meanwhile the others take."""


def counter(config: pytest.Config) -> Any:
    """What counts lines in this process; None where nothing is counted."""
    plugin = config.pluginmanager.getplugin("_cov")
    return plugin.cov_controller if plugin is not None else None


@pytest.hookimpl(trylast=True)
def pytest_sessionstart(session: pytest.Session) -> None:
    """The lines of the core that its import runs are counted; then nothing is until a test that is counted."""
    counting = counter(session.config)
    if counting is None or (not WORKER and session.config.getoption("numprocesses", None)):
        return
    root = Path(__file__).resolve().parents[1]
    for path in pure_modules():
        parts = path.relative_to(root).with_suffix("").parts
        importlib.import_module(".".join(parts).removesuffix(".__init__"))
    counting.pause()
    # In a process of two pytest-cov has begun twice: the counter of the whole run, which nobody reads here,
    # would go on wherever ours stops.
    while (under := Coverage.current()) is not None:
        under.stop()


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_runtest_protocol(item: pytest.Item) -> Generator[None, object, object]:
    """The counter runs from the set-up to the end of a test that is counted, and through no other."""
    counting = counter(item.config)
    if counting is not None:
        wanted = (
            item.path.stem.removeprefix("test_") in MEASURED
            and item.get_closest_marker("uncounted") is None
        )
        if wanted != counting.started:
            (counting.resume if wanted else counting.pause)()
    return (yield)


@pytest.hookimpl(tryfirst=True)
def pytest_collection(session: pytest.Session) -> None:
    """The processes compile the tests from several ends: the first from the beginning of the alphabet, the
    second from its end, the third from a third of it.

    Each takes from the disk what the others have compiled. A module that cannot be imported, or warns,
    is imported again when it is collected, which then says so.
    """
    here = Path(__file__).parent
    if [Path(each).resolve() for each in session.config.args] != [here]:
        return
    files = sorted(here.glob("test_*.py"))
    third = len(files) // 3
    orders = {"gw1": files[::-1], "gw2": [*files[third:], *files[:third]]}
    for path in orders.get(WORKER or "", ()):
        with warnings.catch_warnings(), suppress(Exception, pytest.skip.Exception):
            warnings.simplefilter("error")
            importlib.import_module(f"tests.{path.stem}")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest files first."""
    first = {name: at for at, name in enumerate(LONGEST)}
    items.sort(key=lambda item: first.get(item.path.stem.removeprefix("test_"), len(first)))


def pytest_collection_finish() -> None:
    """What was imported and collected stays to the end: no search for waste goes through it again."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(*WASTE)


WASTE = (20_000, 20, 20)
"""New objects until the first search for waste, and searches until the next larger one."""

TOLD = 12
"""So many of the files that took longest are told at the end of a run of all."""

_seconds: Counter[str] = Counter()


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    _seconds[report.nodeid.partition("::")[0]] += report.duration  # type: ignore[assignment]


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Where the time goes, so that whoever adds a test sees it."""
    if len(_seconds) > TOLD:
        most = sorted(_seconds.items(), key=lambda each: -each[1])[:TOLD]
        told = ", ".join(
            f"{Path(file).stem.removeprefix('test_')} {took:.0f}" for file, took in most
        )
        whole = sum(_seconds.values())
        terminalreporter.write_line(
            f"seconds in the longest of {len(_seconds)} files: {told}; all {whole:.0f}"
        )
