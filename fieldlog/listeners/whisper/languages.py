"""Whisper base, which knows many languages, from the two packages that carry it in parts."""

from __future__ import annotations

import importlib.util
import os
import shutil
import tempfile
from pathlib import Path

from fieldlog.config import cache_folder
from fieldlog.errors import ModelError
from fieldlog.listeners.choose import PARTS_OF_BASE
from fieldlog.listeners.whisper.folder import EXTRA

PACKAGES = PARTS_OF_BASE
SIZE = 145_217_607
"""Bytes of the whole model.bin (94,371,840 and 50,845,767)."""


def is_there() -> bool:
    """Whether both packages are installed."""
    return all(importlib.util.find_spec(name) is not None for name in PACKAGES)


def folder_of_parts() -> Path:
    """A folder with the whole model, put together once beside the other files of this user.

    Raises ``ModelError`` where a part is not installed or does not belong there.
    """
    parts = [folder for name in PACKAGES for folder in _data(name)]
    kept = cache_folder()
    whole = (Path(tempfile.gettempdir()) / "fieldlog" if kept is None else kept) / "whisper-base"
    binary = whole / "model.bin"
    if binary.is_file() and binary.stat().st_size == SIZE:
        return whole
    pieces = sorted(piece for folder in parts for piece in folder.glob("model.bin.part*"))
    if sum(piece.stat().st_size for piece in pieces) != SIZE:
        raise ModelError(
            "the parts of Whisper base do not belong together",
            where=", ".join(map(str, parts)),
            todo=f"pip install --force-reinstall '{EXTRA}'",
        )
    whole.mkdir(parents=True, exist_ok=True)
    for file in (file for folder in parts for file in folder.glob("*.json")):
        shutil.copyfile(file, whole / file.name)
    making = whole / f"model.bin.{os.getpid()}"
    with making.open("wb") as out:
        for piece in pieces:
            with piece.open("rb") as part:
                shutil.copyfileobj(part, out)
    making.replace(binary)
    return whole


def _data(name: str) -> list[Path]:
    found = importlib.util.find_spec(name)
    if found is None or not found.submodule_search_locations:
        raise ModelError(
            "a recogniser of other languages than English is not installed",
            where=name.replace("_", "-"),
            todo=f"pip install '{EXTRA}'",
        )
    return [Path(place) / "data" for place in found.submodule_search_locations]
