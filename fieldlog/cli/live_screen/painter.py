"""Puts lines on the terminal: only those that changed, at most ten times a second, on a page of their own."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import Self, TextIO

from rich.console import Console
from rich.text import Text

AT_MOST_EVERY_S = 0.1
_OWN_PAGE, _BACK = "\x1b[?1049h\x1b[?25l\x1b[2J", "\x1b[?25h\x1b[?1049l"


class Painter:
    """The terminal's second page, as long as the session lasts; the lines before come back then."""

    def __init__(self, file: TextIO, *, clock: Callable[[], float] = time.monotonic) -> None:
        """``file``: the terminal."""
        self._file = file
        self._clock = clock
        self._console = Console(
            file=file, force_terminal=True, color_system="standard", highlight=False, markup=False
        )
        self._shown: list[str] = []
        self._size = (0, 0)
        self._painted = float("-inf")

    def __enter__(self) -> Self:
        """Turn to the page."""
        self._write(_OWN_PAGE)
        return self

    def __exit__(self, *failed: object) -> None:
        """Turn back, whatever happened."""
        self._write(_BACK)

    @property
    def size(self) -> tuple[int, int]:
        """Columns and rows of the terminal as it is now."""
        size = self._console.size
        return size.width, size.height

    def is_due(self) -> bool:
        """Whether enough time has passed for what can wait."""
        return self._clock() - self._painted >= AT_MOST_EVERY_S

    def paint(self, lines: Sequence[Text]) -> int:
        """Show ``lines``, one for each row; returns how many of them had changed."""
        if self._size != self.size:
            self._size, self._shown = self.size, []
            self._write("\x1b[2J")
        rows = [self._styled(line) for line in lines]
        changed = [
            (at, row)
            for at, row in enumerate(rows)
            if at >= len(self._shown) or self._shown[at] != row
        ]
        self._write("".join(f"\x1b[{at + 1};1H{row}\x1b[K" for at, row in changed))
        self._shown, self._painted = rows, self._clock()
        return len(changed)

    def _styled(self, line: Text) -> str:
        with self._console.capture() as captured:
            self._console.print(line, end="", no_wrap=True, crop=True, overflow="crop")
        return captured.get()

    def _write(self, text: str) -> None:
        if text:
            self._file.write(text)
            self._file.flush()
