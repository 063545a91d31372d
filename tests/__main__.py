"""Every check of the project, in the order that fails fastest: ``python -m tests``.

Format, lint and layers, then strict types beside the tests (warnings are errors) with the coverage of
the pure core (tests/conftest.py says which tests are counted); the tests run in three processes.
Arguments are handed to pytest: ``python -m tests -k endpointer``; ``-n 0`` keeps them in one process,
as a debugger needs it.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.pure_core import pure_modules

ROOT = Path(__file__).resolve().parents[1]
PYTHON = sys.executable

FORMAT = ("format", [PYTHON, "-m", "ruff", "format", "--check", "--quiet", "."])
LINT = ("lint", [PYTHON, "-m", "ruff", "check", "--quiet", "."])
LAYERS = ("layers", [str(Path(PYTHON).with_name("lint-imports"))])
TYPES = ("types", [PYTHON, "-m", "mypy"])
WORKERS = 1 if os.cpu_count() == 1 else 3
"""Processes of tests: two cores have work for both while a third waits for a browser or for sound in real time."""
TESTS = (
    "tests",
    [
        *(PYTHON, "-m", "pytest", "-n", f"{WORKERS}", "--dist", "loadfile"),
        "--no-loadscope-reorder",  # the longest first (tests/conftest.py), not the one with most tests
    ],
)  # one file stays in one process: what it loads once is loaded once
COUNTED = ["--cov=fieldlog", "--cov-report="]
"""Lines are counted in a whole run alone; the table of the core is printed at its end."""
POLITENESS = 5
"""Niceness of the types: a tenth of the machine, so that they are done before the tests and hold up none."""

TOOK: dict[str, float] = {}
"""Seconds of each step, from its start to its end."""

CORE_FLOOR = 98
"""Per cent of the pure core's lines that the tests must run."""


def main(arguments: list[str]) -> int:
    """Run the steps; say which fails, at once. The types do not wait for the tests to say so."""
    # The tests start some hundred processes: without this each would compile the package anew.
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    for step in (FORMAT, LINT, LAYERS):
        if code := shown(*step):
            return code
    with ThreadPoolExecutor(1) as beside, TemporaryDirectory(prefix="fieldlog-tests-") as kept:
        os.environ["FIELDLOG_TESTS_CACHE"] = kept
        types = beside.submit(told, *TYPES)
        tests = shown(TESTS[0], [*TESTS[1], *(arguments or COUNTED)])
        core = 0 if tests or arguments else shown("coverage of the pure core", core_coverage())
        code = types.result() or tests or core
    print("== seconds:", ", ".join(f"{name} {seconds:.0f}" for name, seconds in TOOK.items()))
    return code


def core_coverage() -> list[str]:
    """The command that fails when the tests leave too much of the pure core alone."""
    modules = ",".join(str(path.relative_to(ROOT)) for path in pure_modules())
    return [
        *(PYTHON, "-m", "coverage", "report", f"--include={modules}"),
        *("--skip-covered", f"--fail-under={CORE_FLOOR}"),
    ]


def shown(name: str, command: list[str]) -> int:
    """Run a step with its output as it comes; its exit code."""
    print(f"== {name}", flush=True)
    began = time.monotonic()
    done = subprocess.run(command, cwd=ROOT, check=False)
    return ended(name, done.returncode, began)


def told(name: str, command: list[str]) -> int:
    """Run a step beside another one; its output in one piece, at its end."""
    polite, began = shutil.which("nice"), time.monotonic()
    done = subprocess.run(
        [polite, "-n", f"{POLITENESS}", *command] if polite else command,
        cwd=ROOT,
        check=False,
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )
    print(f"== {name}\n{done.stdout.rstrip()}", flush=True)
    return ended(name, done.returncode, began)


def ended(name: str, code: int, began: float) -> int:
    """The exit code, said where it is a failure; how long it took is kept."""
    TOOK[name] = time.monotonic() - began
    if code:
        print(f"== {name} failed with exit code {code}", flush=True)
    return code


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
