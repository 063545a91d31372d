"""Real stores written before records could merge (``tests/data/store``), unpacked for a test."""

from __future__ import annotations

import json
import sqlite3
import zipfile
from pathlib import Path
from typing import Any

_ARCHIVE = Path(__file__).resolve().parent / "data" / "store" / "old_stores.zip"
NAMES = ("early", "shop", "bay")


def unpacked(name: str, folder: Path) -> Path:
    """The store ``name`` under ``folder``, as that code left it."""
    with zipfile.ZipFile(_ARCHIVE) as archive:
        for member in archive.namelist():
            if member.startswith(f"{name}/"):
                archive.extract(member, folder)
    return folder / name


def told(name: str) -> dict[str, Any]:
    """What that code read from the store ``name`` (see ``tests.store_plain.everything``)."""
    with zipfile.ZipFile(_ARCHIVE) as archive:
        found: dict[str, Any] = json.loads(archive.read(f"{name}.json"))
        return found


def rows(place: Path) -> dict[str, list[tuple[object, ...]]]:
    """Every table of a database (its file, or the folder of a store), its rows sorted."""
    connection = sqlite3.connect(place / "fieldlog.db" if place.is_dir() else place)
    try:
        tables = [
            row[0]
            for row in connection.execute(
                "SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name"
            )
        ]
        return {
            table: sorted(connection.execute(f"SELECT * FROM {table}").fetchall(), key=repr)
            for table in tables
        }
    finally:
        connection.close()
