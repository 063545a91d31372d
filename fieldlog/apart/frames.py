"""Messages on a stream of bytes: four bytes of length, then the message."""

from __future__ import annotations

from typing import IO

READY = b"ready"
"""The first answer of a process: from then on the time limit of a message counts."""

_LENGTH = 4


def write_frame(stream: IO[bytes], message: bytes) -> None:
    """Write one message (below 4 GiB) and send it off."""
    stream.write(len(message).to_bytes(_LENGTH, "big") + message)
    stream.flush()


def read_frame(stream: IO[bytes]) -> bytes | None:
    """The next message; None where the stream ends, be it in the middle of one."""
    head = stream.read(_LENGTH)
    if len(head) < _LENGTH:
        return None
    length = int.from_bytes(head, "big")
    message = stream.read(length)
    return message if len(message) == length else None
