"""The wear trend of one characteristic, drawn for paper."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from reportlab.platypus import Flowable, Table, TableStyle

from fieldlog.report.pdf_drawing import BLUE, INK, SOFT, WASH, WHITE
from fieldlog.report.pdf_fonts import Faces
from fieldlog.report.trend_picture import Spot, TrendPicture


class Course(Flowable):  # type: ignore[misc]
    """Readings (dots), the part before (open circles), line, prediction interval and limit."""

    HEIGHT = 92.0

    def __init__(self, picture: TrendPicture, faces: Faces, width: float) -> None:
        """``width`` in points."""
        super().__init__()
        self._picture, self._faces = picture, faces
        self.width, self.height = width, self.HEIGHT

    def wrap(self, _: float, __: float) -> tuple[float, float]:
        """Its own size."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw on the page."""
        canvas, picture, faces = self.canv, self._picture, self._faces
        canvas.setFillColor(INK)
        canvas.setFont(faces.strong, 8)
        canvas.drawString(0, self.height - 8, faces.printable(picture.title))
        if picture.band:
            self._path(picture.band, close=True)
        if picture.line:
            canvas.saveState()
            canvas.setStrokeColor(BLUE)
            canvas.setDash(4, 2.5)
            self._path(picture.line, close=False)
            canvas.restoreState()
        if picture.limit is not None:
            self._limit(picture.limit, picture.limit_text)
        canvas.setLineWidth(0.8)
        for part in picture.before:
            self._dots(part, filled=False)
        self._dots(picture.readings, filled=True)
        canvas.setFillColor(SOFT)
        canvas.setFont(faces.text, 6.5)
        canvas.drawString(0, 1, picture.first)
        canvas.drawRightString(self.width, 1, picture.last)

    def _at(self, spot: Spot) -> tuple[float, float]:
        return 4 + spot[0] * (self.width - 8), self.height - 16 - spot[1] * (self.height - 28)

    def _path(self, spots: Iterable[Spot], *, close: bool) -> None:
        path: Any = self.canv.beginPath()
        for number, spot in enumerate(spots):
            (path.moveTo if number == 0 else path.lineTo)(*self._at(spot))
        if close:
            path.close()
            self.canv.setFillColor(WASH)
        self.canv.drawPath(path, stroke=0 if close else 1, fill=1 if close else 0)

    def _limit(self, height: float, text: str) -> None:
        canvas = self.canv
        left, y = self._at((0, height))
        right, _ = self._at((1, height))
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(1.4)
        canvas.line(left, y, right, y)
        canvas.setFont(self._faces.text, 6.5)
        above = y + 2.5 if height > 0.2 else y - 7.5
        canvas.drawRightString(right, above, self._faces.printable(text))

    def _dots(self, spots: Iterable[Spot], *, filled: bool) -> None:
        canvas = self.canv
        canvas.setStrokeColor(INK if filled else SOFT)
        canvas.setFillColor(INK if filled else WHITE)
        for spot in spots:
            canvas.circle(*self._at(spot), 2.3, stroke=1, fill=1)


def courses(pictures: Sequence[TrendPicture], faces: Faces, width: float) -> Table:
    """Trends side by side, two in a row, over ``width`` points."""
    each = width / 2
    drawn: list[Any] = [Course(picture, faces, each - 14) for picture in pictures]
    drawn += [""] * (len(drawn) % 2)
    rows = [drawn[at : at + 2] for at in range(0, len(drawn), 2)]
    style = [("LEFTPADDING", (0, 0), (-1, -1), 0), ("TOPPADDING", (0, 0), (-1, -1), 6)]
    return Table(rows, colWidths=[each, each], style=TableStyle(style))
