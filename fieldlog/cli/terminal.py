"""Where lines and progress go: results to stdout, everything about the work to stderr."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import click
from rich.console import Console
from rich.progress import BarColumn, TextColumn, TimeRemainingColumn
from rich.progress import Progress as Bar

from fieldlog.errors import UsageError
from fieldlog.whole import refused


@dataclass(frozen=True, slots=True)
class Terminal:
    """Two consoles, which are one where both streams show on the same screen.

    A bar and lines on one screen must go through one console, or the lines land in the bar; where
    the results are redirected into a file they must never pass through the console of the bar.
    """

    lines: Console
    """For results (stdout)."""
    status: Console
    """For progress and notices (stderr)."""

    @classmethod
    def here(cls) -> Terminal:
        """The consoles for this process's streams as they are now."""
        lines = Console(highlight=False, markup=False, soft_wrap=True)
        if sys.stdout.isatty() and sys.stderr.isatty():
            return cls(lines, lines)
        return cls(lines, Console(stderr=True, highlight=False, markup=False, soft_wrap=True))

    def progress(self) -> Bar:
        """A bar that is gone when it ends; silent where nobody watches stderr."""
        return Bar(
            TextColumn("{task.description}", markup=False),
            BarColumn(),
            TextColumn("{task.percentage:>3.0f} %"),
            TimeRemainingColumn(),
            console=self.status,
            transient=True,
            redirect_stdout=False,
            redirect_stderr=self.status is self.lines,
            disable=not sys.stderr.isatty(),
        )


def page_out(text: str, out: Path | None) -> None:
    """Write a page to ``out``, or print it. Raises ``UsageError`` where ``out`` cannot be written."""
    if out is None:
        click.echo(text, nl=False)
        return
    with refused("cannot be written", out, "name another --out", UsageError):
        out.write_text(text, encoding="utf-8")


@contextlib.contextmanager
def alone_on_stderr() -> Iterator[None]:
    """Keep what libraries in C write to standard error off the screen; Python's own lines stay.

    The sound libraries tell of a lost device in lines of their source code, across whatever is shown.
    """
    ours = sys.stderr
    try:
        number = ours.fileno()
    except (OSError, ValueError):
        number = -1
    if number != 2:  # somebody holds it already: a test, a program around this one
        yield
        return
    ours.flush()
    kept = os.dup(2)
    with os.fdopen(kept, "w", encoding=ours.encoding, errors=ours.errors, buffering=1) as own:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 2)
        os.close(nowhere)
        sys.stderr = own
        try:
            yield
        finally:
            own.flush()
            sys.stderr = ours
            os.dup2(kept, 2)
