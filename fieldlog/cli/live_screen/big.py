"""Letters that are read across the shop: text drawn with quarter blocks (pure, but for the font's file)."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from PIL import ImageFont

BLOCKS = " ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█"
"""By which quarters are inked: 1 upper left, 2 upper right, 4 lower left, 8 lower right."""
SMALLEST = 9
"""Points below which letters run into each other."""
_INK = 110
"""Of 255: how dark a dot must be to count."""


def big(text: str, columns: int, rows: int) -> list[str]:
    """``text`` as large as ``columns`` by ``rows`` of the terminal allow, in at most two lines.

    Empty where nothing that could be told from ordinary letters fits: below three rows.
    """
    text = " ".join(text.split())
    if not text or rows < 3:
        return []
    best = _fitted([text], columns, rows)
    words = text.split()
    halves = [(" ".join(words[:n]), " ".join(words[n:])) for n in range(1, len(words))]
    if halves and (best is None or best < 2 * rows - 4):
        upper, lower = min(halves, key=lambda two: max(map(len, two)))
        size = _fitted([upper, lower], columns, rows // 2)
        if size is not None and (best is None or size > best):
            return [*_drawn(upper, size), *_drawn(lower, size)]
    return [] if best is None else _drawn(text, best)


def _fitted(lines: list[str], columns: int, rows: int) -> int | None:
    """The largest size at which every line fits; None: none does."""
    for size in range(2 * rows, SMALLEST - 1, -1):
        font = _font(size)
        high = sum(font.getmetrics()) <= 2 * rows + 2  # letters rarely use all of it
        if high and all(font.getlength(line) <= 2 * columns for line in lines):
            return size
    return None


def _drawn(text: str, size: int) -> list[str]:
    """``text`` at ``size`` as lines of quarter blocks."""
    from PIL import Image, ImageDraw

    font = _font(size)
    up, down = font.getmetrics()
    wide = int(font.getlength(text)) + 2
    picture = Image.new("L", (wide + wide % 2, up + down + (up + down) % 2))
    ImageDraw.Draw(picture).text((0, 0), text, fill=255, font=font)
    dots = np.asarray(picture) > _INK
    inked = np.flatnonzero(dots.any(axis=1))
    if not len(inked):
        return []
    first = int(inked[0])
    dots = dots[first : int(inked[-1]) + 1]
    return _blocks(np.pad(dots, ((0, len(dots) % 2), (0, 0))))


def _blocks(dots: NDArray[np.bool_]) -> list[str]:
    quarters = (
        dots[0::2, 0::2] * 1 + dots[0::2, 1::2] * 2 + dots[1::2, 0::2] * 4 + dots[1::2, 1::2] * 8
    )
    return ["".join(BLOCKS[each] for each in row).rstrip() for row in quarters]


@cache
def _font(size: int) -> ImageFont.FreeTypeFont:
    """Bitstream Vera bold, which comes with reportlab."""
    import reportlab
    from PIL import ImageFont

    package: Any = reportlab
    return ImageFont.truetype(Path(package.__file__).parent / "fonts" / "VeraBd.ttf", size)
