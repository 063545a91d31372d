"""Originals under their own hash: ``media/<aa>/<sha256>.<suffix>``, written once, never changed.

A file appears under its name only when every byte of it is on the disk: it is written beside,
synced, then renamed. Saving the same bytes again changes nothing.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import io
import os
import re
import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from fieldlog.audio.clip import RATE, Clip
from fieldlog.errors import StoreError

_NAME = re.compile(r"[0-9a-f]{64}\.[a-z0-9]{1,8}")
_CHUNK = 1 << 20


class MediaFolder:
    """The folder of clips and photos beside the database."""

    def __init__(self, folder: Path) -> None:
        """Keep ``folder``; it is made when the first file is saved."""
        self.folder = folder

    def path(self, name: str) -> Path:
        """Where ``name`` (``<sha256>.<suffix>``) lies; raises ``StoreError`` for any other name."""
        if not _NAME.fullmatch(name):
            raise StoreError(f"{name!r} is not the name of a stored original")
        return self.folder / name[:2] / name

    def save_clip(self, clip: Clip) -> str:
        """Keep ``clip`` as 16-bit mono FLAC; returns its name. Raises ``StoreError``."""
        return self.save_bytes(clip_flac(clip), "flac")

    def save_bytes(self, data: bytes, suffix: str) -> str:
        """Keep ``data``; returns its name. Raises ``StoreError`` when it cannot be written."""
        with self._arriving() as (stream, arrive):
            stream.write(data)
            return arrive(hashlib.sha256(data).hexdigest(), suffix)

    def save_file(self, source: Path, suffix: str | None = None) -> str:
        """Keep a byte-for-byte copy of ``source`` and return its name.

        ``suffix`` defaults to the file's own, lower-case. Raises ``StoreError``.
        """
        ending = suffix if suffix is not None else source.suffix.lstrip(".").lower() or "bin"
        sha = hashlib.sha256()
        try:
            original = source.open("rb")
        except OSError as error:
            raise StoreError(f"cannot be read ({_reason(error)})", where=str(source)) from error
        with original, self._arriving() as (stream, arrive):
            while chunk := original.read(_CHUNK):
                sha.update(chunk)
                stream.write(chunk)
            return arrive(sha.hexdigest(), ending)

    def read(self, name: str) -> bytes:
        """The bytes of ``name``; raises ``StoreError`` when missing or changed since."""
        path = self.path(name)
        try:
            data = path.read_bytes()
        except OSError as error:
            raise StoreError(f"cannot be read ({_reason(error)})", where=str(path)) from error
        if hashlib.sha256(data).hexdigest() != name[:64]:
            raise StoreError("changed since it was kept", where=str(path))
        return data

    def fault(self, name: str) -> str | None:
        """What is wrong with ``name`` on the disk, or None when it is as it was kept."""
        path = self.path(name)
        sha = hashlib.sha256()
        try:
            with path.open("rb") as stream:
                while chunk := stream.read(_CHUNK):
                    sha.update(chunk)
        except FileNotFoundError:
            return "is missing from the media folder"
        except OSError as error:
            return f"cannot be read ({_reason(error)})"
        return None if sha.hexdigest() == name[:64] else "changed since it was kept"

    @contextlib.contextmanager
    def _arriving(self) -> Iterator[tuple[IO[bytes], _Arrive]]:
        temporary = self.folder / "arriving" / secrets.token_hex(8)
        try:
            temporary.parent.mkdir(parents=True, exist_ok=True)
            with temporary.open("xb") as stream:
                yield stream, _Arrive(self, stream, temporary)
        except OSError as error:
            raise StoreError(
                f"the original cannot be kept ({_reason(error)})",
                where=str(self.folder),
                todo=_todo(error),
            ) from error
        finally:
            with contextlib.suppress(OSError):
                temporary.unlink()


class _Arrive:
    """Puts the finished temporary file under its name."""

    def __init__(self, media: MediaFolder, stream: IO[bytes], temporary: Path) -> None:
        self._media, self._stream, self._temporary = media, stream, temporary

    def __call__(self, sha256: str, suffix: str) -> str:
        name = f"{sha256}.{suffix}"
        target = self._media.path(name)
        self._stream.flush()
        if target.exists() and target.stat().st_size == self._stream.tell():
            return name
        os.fsync(self._stream.fileno())
        self._stream.close()
        target.parent.mkdir(parents=True, exist_ok=True)
        self._temporary.replace(target)
        _sync_folder(target.parent)
        return name


def clip_flac(clip: Clip) -> bytes:
    """``clip`` as 16-bit mono FLAC at ``RATE``."""
    import soundfile

    buffer = io.BytesIO()
    soundfile.write(buffer, clip.samples, RATE, format="FLAC", subtype="PCM_16")
    return buffer.getvalue()


def clip_name(clip: Clip) -> str:
    """The name that ``save_clip`` gives to ``clip``."""
    return f"{hashlib.sha256(clip_flac(clip)).hexdigest()}.flac"


def _sync_folder(folder: Path) -> None:
    # The rename itself must reach the disk; Windows has no way to sync a folder and needs none.
    if os.name == "nt":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _reason(error: OSError) -> str:
    return (error.strerror or type(error).__name__).lower()


def _todo(error: OSError) -> str:
    if error.errno in {errno.ENOSPC, errno.EDQUOT}:
        return "free some space and repeat; what was saved before is kept"
    if error.errno in {errno.EACCES, errno.EPERM, errno.EROFS}:
        return "choose a folder that can be written with --store DIR"
    return "check the disk and repeat; what was saved before is kept"
