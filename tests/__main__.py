"""Every check of the project, in the order that fails fastest: ``python -m tests``.

Format, lint, strict types, then the tests (warnings are errors) with the coverage of the pure core.
Arguments are handed to pytest: ``python -m tests -k endpointer``.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PYTHON = sys.executable

STEPS: tuple[tuple[str, list[str]], ...] = (
    ("format", [PYTHON, "-m", "ruff", "format", "--check", "--quiet", "."]),
    ("lint", [PYTHON, "-m", "ruff", "check", "--quiet", "."]),
    ("types", [PYTHON, "-m", "mypy"]),
    ("tests", [PYTHON, "-m", "pytest", "--cov=fieldlog", "--cov-report=term:skip-covered"]),
)


def main(arguments: list[str]) -> int:
    """Run the steps; stop at the first that fails and say which."""
    for name, command in STEPS:
        print(f"== {name}", flush=True)
        extra = arguments if name == "tests" else []
        code = subprocess.run([*command, *extra], cwd=ROOT, check=False).returncode
        if code:
            print(f"== {name} failed with exit code {code}", flush=True)
            return code
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
