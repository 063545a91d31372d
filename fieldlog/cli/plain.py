"""What is printed is text and nothing that a terminal acts on: the one sanitiser of the command line.

A name, a remark or a file name from a bundle may hold sequences that move the cursor, hide a line or turn
its reading direction; what is dangerous must not be hidden so. Everything that a terminal would act on is
shown as U+FFFD, whoever prints it: lines through ``click.echo`` by the streams that ``plain_output`` puts in
place, text through rich by its own table of control codes. What rich itself makes (weight, colour, a bar)
goes past the streams to the terminal.
"""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator
from typing import Any, TextIO

_BIDI = (*range(0x202A, 0x202F), *range(0x2066, 0x206A), 0x200E, 0x200F, 0x061C)
_ACTED_ON = {
    code: "\ufffd"
    for code in (*range(0x20), *range(0x7F, 0xA0), 0x2028, 0x2029, *_BIDI)
    if code not in (9, 10)
}
"""C0 but tab and line end, DEL, C1, line and paragraph separators, and what turns the reading direction."""


def plain(text: str) -> str:
    """``text`` with U+FFFD for each character that a terminal would act on, but tabs and line ends."""
    return text.translate(_ACTED_ON)


class _Plain:
    """A text stream that prints plain text; rich finds the stream behind it by the name it looks for."""

    def __init__(self, stream: TextIO) -> None:
        self.rich_proxied_file = stream

    def write(self, text: str) -> int:
        """Write ``text``, plainly."""
        return self.rich_proxied_file.write(plain(text))

    def writelines(self, lines: Any) -> None:
        """Write each of ``lines``, plainly."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        """Everything else is the stream's own."""
        return getattr(self.rich_proxied_file, name)


@contextlib.contextmanager
def plain_output() -> Iterator[None]:
    """Print plain text only, on standard output and standard error, while this lasts."""
    from rich import control

    control._CONTROL_STRIP_TRANSLATE.update(_ACTED_ON)
    before = sys.stdout, sys.stderr
    wrapped: Any = tuple(
        stream if stream is None or isinstance(stream, _Plain) else _Plain(stream)
        for stream in before
    )
    sys.stdout, sys.stderr = wrapped
    try:
        yield
    finally:
        for now, was, name in zip(wrapped, before, ("stdout", "stderr"), strict=True):
            if getattr(sys, name) is now:
                setattr(sys, name, was)
