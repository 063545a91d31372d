"""The wear trend of one characteristic, drawn for paper."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from reportlab.platypus import Flowable, Table, TableStyle

from fieldlog.report.pdf_drawing import BLUE, INK, LINE, SOFT, WASH, WHITE
from fieldlog.report.pdf_fonts import Faces
from fieldlog.report.trend_picture import Spot, TrendPicture

_AXIS = 46.0
"""Points left of the ruler, for its values."""


class Course(Flowable):  # type: ignore[misc]
    """Readings (pointers; open: the part before), the limit's ruler, line and prediction interval."""

    HEIGHT = 96.0

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
        self._axes()
        canvas.setLineWidth(0.8)
        for part in picture.before:
            self._pointers(part, filled=False)
        self._pointers(picture.readings, filled=True)

    def _at(self, spot: Spot) -> tuple[float, float]:
        wide = self.width - _AXIS - 10
        return _AXIS + 6 + spot[0] * wide, self.height - 18 - spot[1] * (self.height - 34)

    def _path(self, spots: Iterable[Spot], *, close: bool) -> None:
        path: Any = self.canv.beginPath()
        for number, spot in enumerate(spots):
            (path.moveTo if number == 0 else path.lineTo)(*self._at(spot))
        if close:
            path.close()
            self.canv.setFillColor(WASH)
        self.canv.drawPath(path, stroke=0 if close else 1, fill=1 if close else 0)

    def _axes(self) -> None:
        """The ruler of the limit, upright at the left; days along the foot."""
        canvas, picture, faces = self.canv, self._picture, self._faces
        foot, right = self._at((0, 1))[1] - 3, self._at((1, 0))[0] + 3
        canvas.setStrokeColor(LINE)
        canvas.setLineWidth(0.7)
        canvas.line(_AXIS, self._at((0, 0))[1] + 3, _AXIS, foot)
        canvas.line(_AXIS, foot, right, foot)
        if picture.allowed is not None:
            canvas.setStrokeColor(BLUE)
            canvas.setLineWidth(3)
            high, low = (self._at((0, end))[1] for end in picture.allowed)
            canvas.line(_AXIS, high, _AXIS, low)
        canvas.setStrokeColor(INK)
        if picture.limit is not None:
            canvas.setLineWidth(1.2)
            level = self._at((0, picture.limit))[1]
            canvas.line(_AXIS - 4, level, right, level)
        canvas.setLineWidth(0.7)
        for day in picture.days:
            canvas.line(self._at((day, 1))[0], foot, self._at((day, 1))[0], foot - 3)
        canvas.setFillColor(SOFT)
        canvas.setFont(faces.text, 6.5)
        for height, text in picture.scale:
            level = self._at((0, height))[1]
            canvas.line(_AXIS - 4, level, _AXIS, level)
            canvas.drawRightString(_AXIS - 6, level - 2.2, faces.printable(text))
        canvas.drawString(_AXIS, 1, picture.first)
        canvas.drawRightString(right, 1, picture.last)

    def _pointers(self, spots: Iterable[Spot], *, filled: bool) -> None:
        canvas = self.canv
        canvas.setStrokeColor(INK)
        canvas.setFillColor(INK if filled else WHITE)
        for spot in spots:
            x, y = self._at(spot)
            wedge = canvas.beginPath()
            wedge.moveTo(x, y)
            wedge.lineTo(x - 2.8, y + 5.6)
            wedge.lineTo(x + 2.8, y + 5.6)
            wedge.close()
            canvas.drawPath(wedge, stroke=1, fill=1)


def courses(pictures: Sequence[TrendPicture], faces: Faces, width: float) -> Table:
    """Trends side by side, two in a row, over ``width`` points."""
    each = width / 2
    drawn: list[Any] = [Course(picture, faces, each - 14) for picture in pictures]
    drawn += [""] * (len(drawn) % 2)
    rows = [drawn[at : at + 2] for at in range(0, len(drawn), 2)]
    style = [("LEFTPADDING", (0, 0), (-1, -1), 0), ("TOPPADDING", (0, 0), (-1, -1), 6)]
    return Table(rows, colWidths=[each, each], style=TableStyle(style))
