"""Extra material that may lie in a folder ``shared`` beside the checkout; never needed to pass."""

from __future__ import annotations

from pathlib import Path

import pytest

_SHARED = Path(__file__).resolve().parents[2] / "shared"


def shared_path(relative: str) -> Path | None:
    """The file or folder ``relative`` of the extra material, or None when it is not there."""
    path = _SHARED / relative
    return path if path.exists() else None


def need_shared(relative: str) -> Path:
    """Like ``shared_path`` but skips the calling test, saying what is missing."""
    path = shared_path(relative)
    if path is None:
        pytest.skip(f"extra material shared/{relative} is not beside this checkout")
    return path
