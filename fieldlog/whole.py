"""Files that are there whole or not at all, and what is told where the system refuses one."""

from __future__ import annotations

import contextlib
import hashlib
import os
from collections.abc import Iterator
from pathlib import Path

from fieldlog.errors import FieldlogError, StoreError


def write_whole(target: Path, data: bytes, mode: int = 0o666) -> None:
    """Write ``data`` to ``target`` so that it is there whole, and on the disk, or not at all."""
    target.parent.mkdir(parents=True, exist_ok=True)
    partial = target.with_name(f".{os.urandom(8).hex()}")
    try:
        handle = os.open(
            partial, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), mode
        )
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        partial.replace(target)
    finally:
        with contextlib.suppress(OSError):
            partial.unlink()


def free_name(path: Path) -> Path:
    """``path``, or with the first number behind it whose name nothing has."""
    candidate, count = path, 1
    while candidate.exists():
        count += 1
        candidate = path.with_name(f"{path.name}-{count}")
    return candidate


def sha256_of(path: Path) -> str:
    """Hex SHA-256 of a file, read in pieces."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def reason(error: OSError) -> str:
    """Why the system refused it, in small letters: "no space left on device"."""
    return (error.strerror or str(error)).lower()


@contextlib.contextmanager
def refused(
    what: str, where: Path | str, todo: str = "", kind: type[FieldlogError] = StoreError
) -> Iterator[None]:
    """What the system refuses meanwhile is raised as ``kind``: ``what``, and why; "" where why says it all."""
    try:
        yield
    except OSError as error:
        told = f"{what} ({reason(error)})" if what else reason(error)
        raise kind(told, where=str(where), todo=todo) from error
