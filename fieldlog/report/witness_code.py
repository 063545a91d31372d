"""The checkpoint of a report as a QR code, on paper and on the page."""

from __future__ import annotations

from reportlab.platypus import Flowable

Rows = tuple[tuple[int, int, int], ...]
"""Dark runs of a code: row, first column, how many modules."""


def runs(text: str) -> tuple[int, Rows]:
    """Modules on a side, without the quiet zone, and the dark runs of the QR code of ``text``."""
    import segno

    matrix = segno.make(text, error="l", micro=False).matrix
    found = []
    for y, row in enumerate(matrix):
        x = 0
        while x < len(row):
            start = x
            while x < len(row) and row[x]:
                x += 1
            if x > start:
                found.append((y, start, x - start))
            x = max(x, start + 1)
    return len(matrix), tuple(found)


def svg_path(text: str) -> tuple[int, str]:
    """Side of the code with its quiet zone (4 modules), and the path of its dark runs."""
    side, dark = runs(text)
    return side + 8, "".join(f"M{x + 4} {y + 4}h{n}v1h-{n}z" for y, x, n in dark)


class WitnessCode(Flowable):  # type: ignore[misc]
    """A QR code on paper."""

    def __init__(self, text: str, width: float) -> None:
        """``width`` in points, with the quiet zone."""
        super().__init__()
        self._text = text
        self.width = self.height = width

    def wrap(self, _: float, __: float) -> tuple[float, float]:
        """Its own size."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw on the page."""
        side, dark = runs(self._text)
        module = self.width / (side + 8)
        self.canv.setFillColorRGB(0, 0, 0)
        for y, x, n in dark:
            top = self.height - (y + 5) * module
            self.canv.rect((x + 4) * module, top, n * module, module, stroke=0, fill=1)
