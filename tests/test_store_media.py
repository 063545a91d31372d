"""Originals are kept byte for byte under their hash, whole or not at all."""

from __future__ import annotations

import errno
import hashlib
import io
import os
from pathlib import Path

import numpy as np
import pytest
import soundfile

from fieldlog.audio.clip import RATE
from fieldlog.errors import StoreError
from fieldlog.store.media import MediaFolder
from tests.store_samples import tone


def _files(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file())


def test_bytes_lie_under_their_own_hash(tmp_path: Path) -> None:
    kept = MediaFolder(tmp_path / "media")
    name = kept.save_bytes(b"abc", "bin")
    # SHA-256 of "abc": FIPS 180-2, appendix B.1.
    digest = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert name == f"{digest}.bin"
    assert kept.path(name) == tmp_path / "media" / "ba" / f"{digest}.bin"
    assert kept.read(name) == b"abc"
    assert kept.fault(name) is None
    assert kept.save_bytes(b"abc", "bin") == name
    assert _files(tmp_path) == [kept.path(name)]


def test_a_file_is_copied_byte_for_byte_and_left_alone(tmp_path: Path) -> None:
    original = tmp_path / "IMG 1.JPG"
    data = os.urandom(3_000_000)
    original.write_bytes(data)
    kept = MediaFolder(tmp_path / "media")
    name = kept.save_file(original)
    assert name == f"{hashlib.sha256(data).hexdigest()}.jpg"
    assert kept.read(name) == data == original.read_bytes()


def test_a_clip_comes_back_as_sound(tmp_path: Path) -> None:
    clip = tone()
    kept = MediaFolder(tmp_path)
    samples, rate = soundfile.read(io.BytesIO(kept.read(kept.save_clip(clip))), dtype="float32")
    assert rate == RATE
    assert np.max(np.abs(samples - clip.samples)) <= 1 / 32768


def test_a_half_written_copy_is_replaced(tmp_path: Path) -> None:
    kept = MediaFolder(tmp_path)
    name = kept.save_bytes(b"abcdef", "bin")
    kept.path(name).write_bytes(b"abc")
    assert kept.save_bytes(b"abcdef", "bin") == name
    assert kept.read(name) == b"abcdef"


@pytest.mark.parametrize(
    ("code", "line"),
    [
        (errno.ENOSPC, "no space left on device.*free some space"),
        (errno.EROFS, "read-only file system.*--store DIR"),
        (errno.EACCES, "permission denied.*--store DIR"),
        (errno.EIO, "input/output error.*check the disk"),
    ],
)
def test_a_disk_that_refuses_is_one_clear_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int, line: str
) -> None:
    kept = MediaFolder(tmp_path / "media")
    first = kept.save_bytes(b"before", "bin")

    def refuse(_: int) -> None:
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr("fieldlog.store.media.os.fsync", refuse)
    with pytest.raises(StoreError, match=line):
        kept.save_bytes(b"after", "bin")
    assert _files(tmp_path) == [kept.path(first)]


def test_changed_missing_and_unreadable_are_told_apart(tmp_path: Path) -> None:
    kept = MediaFolder(tmp_path / "media")
    name = kept.save_bytes(b"abc", "bin")
    kept.path(name).write_bytes(b"abd")
    assert kept.fault(name) == "changed since it was kept"
    with pytest.raises(StoreError, match="changed since it was kept"):
        kept.read(name)
    kept.path(name).unlink()
    assert kept.fault(name) == "is missing from the media folder"
    with pytest.raises(StoreError, match="cannot be read"):
        kept.read(name)
    kept.path(name).mkdir()
    assert str(kept.fault(name)).startswith("cannot be read")
    with pytest.raises(StoreError, match="cannot be read"):
        kept.save_file(tmp_path / "no such photo.jpg")


@pytest.mark.parametrize("name", ["", "../../etc/passwd", "ab.jpg", "A" * 64 + ".jpg", "a" * 64])
def test_only_names_of_originals_are_paths(tmp_path: Path, name: str) -> None:
    with pytest.raises(StoreError, match="not the name of a stored original"):
        MediaFolder(tmp_path).path(name)
