"""The command that puts each fault into a copy of the checkout and runs the tests that should see it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import click

from fieldlog.errors import UsageError

ROOT = Path(__file__).resolve().parents[3]
TABLE = Path(__file__).with_name("mutants.toml")
NEEDED = ("fieldlog", "grammars", "demo_media", "tests", "pyproject.toml", "README.md")


@dataclass(frozen=True, slots=True)
class Mutant:
    """One fault: ``old`` becomes ``new`` in ``file``, and one of ``tests`` must fail."""

    name: str
    file: str
    old: str
    new: str
    tests: tuple[str, ...]

    def applied(self, text: str) -> str:
        """The text with the fault in it; raises ``UsageError`` where ``old`` stands not just once."""
        if text.count(self.old) != 1:
            raise UsageError(
                f"{self.old.strip()!r} stands {text.count(self.old)} times, not once",
                where=self.file,
                todo=f"put the line that {self.name!r} is about into {TABLE.name}",
            )
        return text.replace(self.old, self.new)


def mutants() -> tuple[Mutant, ...]:
    """All of them, as the table has them."""
    rows = tomllib.loads(TABLE.read_text(encoding="utf-8"))["mutant"]
    return tuple(Mutant(**{**row, "tests": tuple(row["tests"])}) for row in rows)


@contextmanager
def copied() -> Iterator[Path]:
    """A copy of what the tests need, thrown away afterwards."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder)
        for name in NEEDED:
            source = ROOT / name
            if source.is_dir():
                shutil.copytree(
                    source, copy / name, ignore=shutil.ignore_patterns("__pycache__"), symlinks=True
                )
            else:
                shutil.copy2(source, copy / name)
        yield copy


def is_seen(mutant: Mutant, copy: Path) -> bool:
    """Whether a test fails on the fault; the copy is as it was afterwards."""
    path = copy / mutant.file
    sound = path.read_text(encoding="utf-8")
    path.write_text(mutant.applied(sound), encoding="utf-8")
    try:
        return _tests_fail(copy, mutant.tests)
    finally:
        path.write_text(sound, encoding="utf-8")


def _tests_fail(copy: Path, tests: tuple[str, ...]) -> bool:
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *tests],
        cwd=copy,
        env={**os.environ, "PYTHONPATH": str(copy)},
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode not in (0, 1):
        raise UsageError("the tests cannot be run", where=", ".join(tests), todo=done.stdout[-800:])
    return done.returncode == 1


@click.command("mutants")
@click.option("--only", metavar="TEXT", default="", help="Only those with this in their name.")
def mutants_command(only: str) -> None:
    """Put each known fault into a copy of the checkout: do the tests see it?

    \b
    Example:
      python -m fieldlog.lab mutants --only tail
    """
    chosen = [each for each in mutants() if only in each.name]
    survived = 0
    with copied() as copy:
        for each in chosen:
            seen = is_seen(each, copy)
            survived += not seen
            click.echo(f"{'seen' if seen else 'NOT SEEN':<8}  {each.name}")
    click.echo(f"{len(chosen) - survived} of {len(chosen)} faults are seen by a test")
    if survived:
        raise SystemExit(1)
