"""Where lines and progress go: results to stdout, everything about the work to stderr."""

from __future__ import annotations

import sys
from dataclasses import dataclass

from rich.console import Console
from rich.progress import BarColumn, TextColumn, TimeRemainingColumn
from rich.progress import Progress as Bar


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
