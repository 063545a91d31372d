"""Typefaces of the PDF: the built-in ones where they have every letter, else one of the system's."""

from __future__ import annotations

import sys
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

_FAMILIES = ("DejaVuSans", "NotoSans-Regular", "Arial", "ArialUnicode", "LiberationSans-Regular")
_BOLD = {
    "DejaVuSans": "DejaVuSans-Bold",
    "NotoSans-Regular": "NotoSans-Bold",
    "Arial": "Arial Bold",
    "LiberationSans-Regular": "LiberationSans-Bold",
}
_PLAIN = {"≈": "approx.", "→": "to", "\u2009": " ", "\u202f": " "}
"""Signs the built-in faces lack, in letters."""


@dataclass(frozen=True, slots=True)
class Faces:
    """Names of registered typefaces, and the letters that none of them has."""

    text: str = "Helvetica"
    strong: str = "Helvetica-Bold"
    typed: str = "Courier-Bold"
    missing: frozenset[str] = frozenset()
    built_in: bool = True

    def printable(self, text: str) -> str:
        """``text`` in letters these faces have: others are spelled without their accents."""
        if self.built_in:
            for sign, plain in _PLAIN.items():
                text = text.replace(sign, plain)
        if not self.missing:
            return text
        return "".join(_nearest(c) if c in self.missing else c for c in text)


def choose_faces(texts: Iterable[str], folders: Iterable[Path] | None = None) -> Faces:
    """Faces for ``texts``. ``folders``: where typefaces lie; None: where this system keeps them."""
    letters = {c for text in texts for c in text if c not in _PLAIN and not c.isspace()}
    beyond = {c for c in letters if not _in_built_in(c)}
    if not beyond:
        return Faces()
    best: Faces | None = None
    for family, files in _installed(_folders() if folders is None else folders).items():
        faces = _register(family, files, letters)
        if faces is not None and (best is None or len(faces.missing) < len(best.missing)):
            best = faces
    if best is None or len(best.missing) >= len(beyond):
        return Faces(missing=frozenset(beyond))
    return best


def _register(family: str, files: dict[str, Path], letters: set[str]) -> Faces | None:
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFError, TTFont

    try:
        regular = TTFont(family, str(files[family]))
        bold_name = _BOLD.get(family, "")
        bold = TTFont(bold_name, str(files[bold_name])) if bold_name in files else regular
    except (TTFError, OSError):
        return None  # a face that cannot be embedded is as good as none
    for face in (regular, bold):
        pdfmetrics.registerFont(face)
    known = regular.face.charToGlyph
    missing = frozenset(c for c in letters if ord(c) not in known)
    return Faces(family, bold.fontName, bold.fontName, missing, built_in=False)


def _installed(folders: Iterable[Path]) -> dict[str, dict[str, Path]]:
    wanted = {*_FAMILIES, *_BOLD.values()}
    files: dict[str, Path] = {}
    for folder in folders:
        if folder.is_dir():
            for path in folder.rglob("*.ttf"):
                if path.stem in wanted:
                    files.setdefault(path.stem, path)
    return {family: files for family in _FAMILIES if family in files}


def _folders() -> list[Path]:
    if sys.platform == "darwin":
        return [Path("/System/Library/Fonts/Supplemental"), Path("/Library/Fonts")]
    if sys.platform == "win32":
        return [Path("C:/Windows/Fonts")]
    return [Path("/usr/share/fonts"), Path("/usr/local/share/fonts")]


def _in_built_in(letter: str) -> bool:
    try:
        letter.encode("cp1252")  # WinAnsiEncoding of the standard 14 faces (PDF 32000-1, annex D)
    except UnicodeEncodeError:
        return False
    return True


def _nearest(letter: str) -> str:
    plain = unicodedata.normalize("NFKD", letter).encode("ascii", "ignore").decode("ascii")
    return plain or "?"
