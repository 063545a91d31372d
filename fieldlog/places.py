"""Where the data that ships with fieldlog lies: in the checkout or inside the installed wheel."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def grammars() -> Path:
    """Folder of the grammars, the catalogue and the pronunciation additions."""
    return _shipped("_grammars", "grammars")


def demo_media() -> Path:
    """Folder of the demo's audio, photos and manifest."""
    return _shipped("_demo_media", "demo_media")


def limit_packs() -> Path:
    """Folder of the limit packs that ship with fieldlog."""
    return _PACKAGE / "limits" / "packs"


def _shipped(inside: str, beside: str) -> Path:
    packed = _PACKAGE / inside
    return packed if packed.is_dir() else _PACKAGE.parent / beside
