"""Which modules decide, and so must touch nothing: kept here for the layering and the coverage."""

from __future__ import annotations

from pathlib import Path

PACKAGE = Path(__file__).resolve().parents[1] / "fieldlog"

SHELL = {
    # the thin shell inside otherwise pure packages
    "grammar/files.py",
    "catalogue/files.py",
    "language/files.py",
    "language/tongues.py",
    "limits/packs.py",
    "doubt/files.py",
    "aftercare/files.py",
}
PURE = (
    "errors.py", "model",
    "quantities", "grammar", "catalogue", "derived", "words", "language", "limits", "doubt", "aftercare",
    "listeners/whisper/adapter.py", "listeners/whisper/search.py", "listeners/whisper/tokens.py",
    "listeners/whisper/written.py", "listeners/whisper/features.py",
    "photos/clock.py", "photos/attach.py", "photos/guessing.py", "photos/readings.py", "report/heading.py", "report/view.py",
    "store/cells.py", "store/chain.py", "store/entries.py", "store/entry.py", "store/kept_question.py", "store/records.py", "store/reviews.py", "review",
    "shop/events.py", "shop/scene.py", "shop/steps.py",
)  # fmt: skip


def pure_modules() -> list[Path]:
    found: list[Path] = []
    for entry in PURE:
        path = PACKAGE / entry
        found += sorted(path.glob("**/*.py")) if path.is_dir() else [path]
    return [p for p in found if p.relative_to(PACKAGE).as_posix() not in SHELL]
