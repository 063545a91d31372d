"""Whether the small copies beside a record are those of its photos: each is made anew and compared."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable
from datetime import date
from pathlib import Path

import numpy as np
from PIL import Image

from fieldlog.report.copies import make_copies, thumbnail_name
from fieldlog.store.media import MediaFolder

_BLOCK = 16
_MOST_APART = 12.0
"""Levels of 255 that the mean of a block may differ by: another version of the encoder stays below 3."""


def copy_faults(folder: Path, media: MediaFolder, photos: Iterable[str], today: date) -> list[str]:
    """What is wrong with the copies in ``folder`` of ``photos`` (names of originals).

    An original that is missing or changed is told elsewhere; a copy that nobody made yet is no fault.
    """
    kept = {
        name: folder / thumbnail_name(name)
        for name in photos
        if (folder / thumbnail_name(name)).is_file() and media.fault(name) is None
    }
    if not kept:
        return []
    with tempfile.TemporaryDirectory(prefix="fieldlog-") as made:
        anew = make_copies(Path(made) / "copies", media, list(kept), [], today)
        faults = []
        for name, path in kept.items():
            fresh = anew.thumbnails.get(name)
            if fresh is None:
                faults.append(f"copies/{path.name}: its original gives no small copy")
            elif not _same(path, fresh.data):
                faults.append(f"copies/{path.name}: is not the small copy of its original")
    return faults


def _same(path: Path, fresh: bytes) -> bool:
    """The same bytes, or (made by another version of the encoder) the same picture."""
    import io

    try:
        data = path.read_bytes()
        if data == fresh:
            return True
        with (
            Image.open(io.BytesIO(data), formats=["JPEG"]) as one,
            Image.open(io.BytesIO(fresh)) as two,
        ):
            if one.size != two.size:
                return False
            return _apart(np.asarray(one.convert("RGB")), np.asarray(two.convert("RGB")))
    except (OSError, ValueError, SyntaxError):
        return False


def _apart(one: np.ndarray, two: np.ndarray) -> bool:
    apart = np.abs(one.astype(np.float32) - two.astype(np.float32)).mean(axis=2)
    high, wide = (length // _BLOCK * _BLOCK for length in apart.shape)
    if not high or not wide:
        return bool(apart.mean() <= _MOST_APART)
    blocks = apart[:high, :wide].reshape(high // _BLOCK, _BLOCK, wide // _BLOCK, _BLOCK)
    return bool(blocks.mean(axis=(1, 3)).max() <= _MOST_APART)
