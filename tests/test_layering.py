"""What decides must not touch files, devices, sockets or clocks: checked on the code itself."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "fieldlog"

SHELL = {
    # the thin shell inside otherwise pure packages
    "grammar/files.py",
    "catalogue/files.py",
    "limits/packs.py",
    "aftercare/files.py",
}
PURE = (
    "model.py", "errors.py", "units.py", "assess.py", "wording.py",
    "grammar", "meaning", "catalogue", "language", "limits", "derived", "aftercare",
    "listeners/whisper/adapter.py", "listeners/whisper/search.py", "listeners/whisper/tokens.py",
    "listeners/whisper/written.py", "listeners/whisper/features.py",
    "photos/clock.py", "photos/attach.py", "photos/matching.py", "report/view.py",
)  # fmt: skip
OUTSIDE = {
    "os", "io", "socket", "subprocess", "time", "sqlite3", "shutil", "tempfile", "threading",
    "vosk", "pocketsphinx", "sounddevice", "soundfile", "PIL", "exifread", "sqlite_utils",
    "pillow_heif", "click", "rich", "ctranslate2",
}  # fmt: skip
CALLS = {"open", "read_text", "read_bytes", "write_text", "write_bytes", "now", "today", "utcnow"}


def pure_modules() -> list[Path]:
    found: list[Path] = []
    for entry in PURE:
        path = PACKAGE / entry
        found += sorted(path.glob("**/*.py")) if path.is_dir() else [path]
    return [p for p in found if p.relative_to(PACKAGE).as_posix() not in SHELL]


@pytest.mark.parametrize("path", pure_modules(), ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_pure_module_touches_nothing(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names = {alias.name.split(".")[0] for alias in node.names}
            assert not names & OUTSIDE, f"line {node.lineno} imports {names & OUTSIDE}"
        elif isinstance(node, ast.ImportFrom) and node.module:
            root = node.module.split(".")[0]
            assert root not in OUTSIDE, f"line {node.lineno} imports from {node.module}"
        elif isinstance(node, ast.Call):
            name = (
                node.func.attr
                if isinstance(node.func, ast.Attribute)
                else getattr(node.func, "id", "")
            )
            assert name not in CALLS, f"line {node.lineno} calls {name}()"


def test_the_list_of_pure_modules_is_not_empty() -> None:
    assert len(pure_modules()) > 40
