"""Random access to a file's bytes that never reads more than it was asked for."""

from __future__ import annotations

import os

HEAD_BYTES = 65536
"""Read in one go: holds a JPEG's Exif segment in nearly every file."""


class DamagedError(Exception):
    """The bytes do not follow their format; the text says how (internal to the readers)."""


class Source:
    """Bytes of one open file; short reads happen only at its end."""

    def __init__(self, fd: int, size: int) -> None:
        """Take the descriptor of a regular file of ``size`` bytes and read its head."""
        self.size = size
        self._fd = fd
        self._at = 0
        self._block = os.read(fd, HEAD_BYTES)

    def at(self, offset: int, count: int) -> bytes:
        """Up to ``count`` bytes from ``offset``. Raises ``DamagedError`` for a negative offset."""
        if offset < 0 or count < 0:
            raise DamagedError("an offset points outside the file")
        start = offset - self._at
        if start >= 0 and start + count <= len(self._block):
            return self._block[start : start + count]
        if offset >= self.size:
            return b""
        if count > 4096:
            return os.pread(self._fd, min(count, self.size - offset), offset)
        self._at, self._block = offset, os.pread(self._fd, 8192, offset)
        return self._block[:count]

    def exactly(self, offset: int, count: int) -> bytes:
        """``count`` bytes from ``offset``. Raises ``DamagedError`` when the file ends before."""
        data = self.at(offset, count)
        if len(data) < count:
            raise DamagedError("the file ends in the middle (truncated)")
        return data

    def find(self, needle: bytes, start: int) -> int:
        """Offset of the first ``needle`` at or after ``start``, or -1; reads 1 MiB at a time."""
        step = 1 << 20
        at = start
        while at < self.size:
            hit = os.pread(self._fd, step + len(needle) - 1, at).find(needle)
            if hit >= 0:
                return at + hit
            at += step
        return -1
