"""The whole stream on disk as it arrives, so that a crash or a power cut loses next to nothing.

While it runs the file is called ``*.recording.wav``; every block is handed to the system at once
(a killed process loses none), and every two seconds the header is put right and everything is
forced to the disk (a power cut loses at most that). ``recover`` repairs what a crash left behind.
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import struct
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE, SoundFlag
from fieldlog.audio.wav import header, read_layout
from fieldlog.errors import StoreError

RUNNING = ".recording.wav"
"""Ending of a file that is being written, or was when its program died."""

_SYNC_BYTES = 2 * RATE * 2
_HEADER_BYTES = 44


def stream_name(started: datetime) -> str:
    """Name of the stream that began at ``started`` (aware): ``stream-20260301T101500.250Z``."""
    utc = started.astimezone(UTC)
    return f"stream-{utc:%Y%m%dT%H%M%S}.{utc.microsecond // 1000:03d}Z"


class Recorder:
    """Appends mono float32 blocks at ``RATE`` to one 16-bit WAV. Use as a context manager."""

    def __init__(self, folder: Path, name: str) -> None:
        """Make ``folder/name.recording.wav``; raises ``StoreError`` when that is not possible."""
        self.path = folder / f"{name}{RUNNING}"
        self._final = folder / f"{name}.wav"
        self._bytes = 0
        self._unsynced = 0
        try:
            folder.mkdir(parents=True, exist_ok=True)
            if self._final.exists():
                raise FileExistsError(errno.EEXIST, "a recording of that name exists")
            self._file: BinaryIO | None = self.path.open("x+b", buffering=0)
            locked(self._file)
            self._file.write(header(RATE, 1, 0))
        except OSError as error:
            raise _cannot("start recording", self.path, error) from error

    @property
    def seconds(self) -> float:
        """How much is on disk."""
        return self._bytes / 2 / RATE

    def write(self, samples: NDArray[np.float32]) -> None:
        """Append ``samples``; raises ``StoreError`` (full disk): what was written before stays."""
        if self._file is None:
            raise StoreError("the recording is closed", where=str(self.path))
        data = (np.clip(samples, -1.0, 1.0) * 32_767.0).round().astype("<i2").tobytes()
        try:
            self._append(data)
            if self._unsynced >= _SYNC_BYTES:
                self._settle()
        except OSError as error:
            raise _cannot("keep the recording", self.path, error) from error

    def mark(self, flag: SoundFlag) -> None:
        """Note that the sound from here on carries ``flag``, in a file beside it, at once.

        Called before that sound is written, so that a crash leaves no sound without it. Where the disk takes
        nothing more it takes no sound either.
        """
        row = json.dumps({"at_s": self.seconds, "flag": flag}) + "\n"
        with (
            contextlib.suppress(OSError),
            marks_beside(self._final).open("ab", buffering=0) as file,
        ):
            file.write(row.encode())

    def close(self) -> Path:
        """Finish: header right, everything on disk, the final name. Returns it; repeatable."""
        file, self._file = self._file, None
        if file is None:
            return self._final
        try:
            with file:
                _write_sizes(file, self._bytes)
                os.fsync(file.fileno())
            self.path.rename(self._final)
        except OSError as error:
            raise _cannot("finish the recording", self.path, error) from error
        return self._final

    def leave(self) -> None:
        """Let go of the file as the system does for a program that was killed: nothing is finished."""
        file, self._file = self._file, None
        if file is not None:
            file.close()

    def __enter__(self) -> Recorder:
        """The recorder itself."""
        return self

    def __exit__(self, *failed: object) -> None:
        """Finish the file."""
        self.close()

    def _append(self, data: bytes) -> None:
        assert self._file is not None
        view = memoryview(data)
        while view:
            written = self._file.write(view)
            self._bytes += written
            self._unsynced += written
            view = view[written:]

    def _settle(self) -> None:
        assert self._file is not None
        _write_sizes(self._file, self._bytes)
        self._file.seek(0, os.SEEK_END)
        os.fsync(self._file.fileno())
        self._unsynced = 0


def marks_beside(stream: Path) -> Path:
    """The file that says where in ``stream`` (by its final name) something is wrong with the sound."""
    return stream.with_suffix(".marks.jsonl")


def marks_of(stream: Path) -> tuple[tuple[float, SoundFlag], ...]:
    """Seconds and flag of everything that was noted of ``stream``; a line that a crash cut is none."""
    try:
        lines = marks_beside(stream).read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return ()
    found = []
    for line in lines:
        try:
            row = json.loads(line)
            found.append((float(row["at_s"]), SoundFlag(row["flag"])))
        except (ValueError, KeyError, TypeError):
            continue
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Recovered:
    """A recording that a crash had left open."""

    path: Path
    seconds: float


def recover(folder: Path) -> list[Recovered]:
    """Repair and rename every recording in ``folder`` that nobody writes any more.

    A recording that another program still writes is left alone. Empty ones are removed.
    Raises ``StoreError`` when the folder cannot be written.
    """
    found = []
    for path in sorted(folder.glob(f"*{RUNNING}")):
        try:
            with path.open("r+b") as file:
                if not locked(file):
                    continue
                length = path.stat().st_size
                if length > _HEADER_BYTES:
                    repair(path)
            if length <= _HEADER_BYTES:
                path.unlink()
                continue
            final = path.with_name(path.name.removesuffix(RUNNING) + ".wav")
            path.rename(final)
        except OSError as error:
            raise _cannot("recover a recording", path, error) from error
        found.append(Recovered(final, (length - _HEADER_BYTES) // 2 / RATE))
    return found


def repair(path: Path) -> bool:
    """Put the sizes in a WAV's header right; returns whether anything was changed.

    A healthy file, and anything that is not a readable WAV, stays byte for byte as it is.
    Raises ``OSError``.
    """
    length = path.stat().st_size
    with path.open("r+b") as file:
        layout = read_layout(file, length)
        if layout is None or not layout.lies:
            return False
        file.seek(4)
        file.write(struct.pack("<I", layout.data_start + layout.data_bytes - 8))
        file.seek(layout.data_start - 4)
        file.write(struct.pack("<I", layout.data_bytes))
        file.flush()
        os.fsync(file.fileno())
    return True


def _write_sizes(file: BinaryIO, data_bytes: int) -> None:
    file.seek(0)
    file.write(header(RATE, 1, data_bytes - data_bytes % 2))


def locked(file: BinaryIO) -> bool:
    """Take the file for this program; False when another one holds it. Freed by the system."""
    try:
        import fcntl
    except ImportError:
        # Windows: a file another program has open cannot be renamed, which guards it as well.
        return True
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _cannot(what: str, path: Path, error: OSError) -> StoreError:
    full = error.errno in (errno.ENOSPC, errno.EDQUOT)
    todo = "free some space" if full else "check that the folder exists and may be written"
    return StoreError(f"cannot {what} ({error.strerror or error})", where=str(path), todo=todo)
