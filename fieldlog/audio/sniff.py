"""What no decoder says of a file: that it is text, or an OGG without its end; views of parts of files."""

from __future__ import annotations

import io
from pathlib import Path
from typing import BinaryIO


def is_text(head: bytes) -> bool:
    """Whether these first bytes of a file are text, which some decoder would take for sound (pure)."""
    if b"\0" in head:
        return False
    try:
        head[: len(head) - 4 if len(head) > 8 else None].decode("utf-8")
    except UnicodeDecodeError:
        return False
    printable = sum(byte >= 32 or byte in b"\t\r\n\f" for byte in head)
    return bool(head) and printable > 0.95 * len(head)


def whole_ogg_bytes(file: BinaryIO, length: int) -> tuple[int, bool]:
    """Bytes from the start that are complete OGG pages, and whether the last one ends the stream.

    Page layout: RFC 3533, section 6; bit 2 of the header type marks the last page.
    """
    at = 0
    finished = False
    while True:
        file.seek(at)
        head = file.read(27)
        if len(head) < 27 or head[:4] != b"OggS":
            return at, finished
        table = file.read(head[26])
        end = at + 27 + head[26] + sum(table)
        if len(table) < head[26] or end > length:
            return at, False
        finished = bool(head[5] & 4)
        at = end


class Window(io.RawIOBase):
    """A read-only view of the bytes ``start`` .. ``start + length`` of a file."""

    def __init__(self, path: Path, start: int, length: int) -> None:
        """Open ``path`` on its own; raises ``OSError``."""
        super().__init__()
        self._file = path.open("rb")
        self._start = start
        self._length = length
        self._at = 0

    def readable(self) -> bool:
        """True."""
        return True

    def seekable(self) -> bool:
        """True."""
        return True

    def tell(self) -> int:
        """Position inside the window."""
        return self._at

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        """Move inside the window, as for any file."""
        base = {io.SEEK_SET: 0, io.SEEK_CUR: self._at, io.SEEK_END: self._length}[whence]
        self._at = max(0, base + offset)
        return self._at

    def readinto(self, buffer: bytearray | memoryview) -> int:  # type: ignore[override]
        """Fill ``buffer`` from the window; 0 at its end."""
        view = memoryview(buffer).cast("B")
        wanted = max(0, min(len(view), self._length - self._at))
        self._file.seek(self._start + self._at)
        data = self._file.read(wanted)
        view[: len(data)] = data
        self._at += len(data)
        return len(data)

    def close(self) -> None:
        """Close the file behind the window."""
        self._file.close()
        super().close()
