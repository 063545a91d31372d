"""What stands on every page of the PDF: the strip of the card, the fingerprint, the page number."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from fieldlog.report.pdf_drawing import BLUE, LINE, SOFT, WASH
from fieldlog.report.pdf_fonts import Faces
from fieldlog.report.view_model import Report
from fieldlog.words.telling import say

_UNTOLD = datetime(2000, 1, 1, tzinfo=UTC)
SIDE = 15 * mm
TOP = 18 * mm
BOTTOM = 14.5 * mm


def numbered_canvas(
    report: Report, faces: Faces, page: tuple[float, float], at: datetime | None
) -> type[Canvas]:
    """A canvas that knows how many pages there are when it draws the first; made ``at`` that instant.

    No clock is read: the same report makes the same bytes.
    """
    made = (at or _UNTOLD).astimezone(UTC)

    class Numbered(Canvas):  # type: ignore[misc]
        """Keeps pages back until their number is known."""

        def __init__(self, *args: Any, **kwargs: Any) -> None:
            super().__init__(*args, **kwargs | {"invariant": 1})
            stamp = self._doc._timeStamp
            stamp.t, stamp.lt = int(made.timestamp()), made.timetuple()
            stamp.YMDhms, stamp.dhh, stamp.dmm = tuple(stamp.lt)[:6], 0, 0
            self._kept: list[dict[str, Any]] = []

        def showPage(self) -> None:  # noqa: N802 (reportlab's name)
            self._kept.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            for number, state in enumerate(self._kept, 1):
                self.__dict__.update(state)
                _furniture(self, report, faces, page, (number, len(self._kept)))
                super().showPage()
            super().save()

    return Numbered


def _furniture(
    canvas: Canvas,
    report: Report,
    faces: Faces,
    page: tuple[float, float],
    count: tuple[int, int],
) -> None:
    width, height = page
    canvas.saveState()
    canvas.setFillColor(WASH)
    canvas.rect(0, height - 14 * mm, width, 14 * mm, stroke=0, fill=1)
    canvas.setStrokeColor(BLUE)
    canvas.setLineWidth(1.4)
    canvas.line(0, height - 14 * mm, width, height - 14 * mm)
    canvas.setFillColor(BLUE)
    canvas.setFont(faces.strong, 9)
    name = report.title if count[0] == 1 else f"{report.title}: {report.vehicle}"
    canvas.drawString(SIDE, height - 9 * mm, faces.printable(name[:48]))
    canvas.setFont(faces.typed, 9)
    canvas.drawRightString(
        width - SIDE, height - 9 * mm, faces.printable(f"{say('no.')} {report.card_number}")
    )
    for hole in range(6):  # the row a card hangs by
        canvas.circle(width / 2 + (hole - 1) * 4.5 * mm, height - 7.6 * mm, 1.5, 1, 0)
    canvas.setStrokeColor(LINE)
    canvas.setLineWidth(0.5)
    canvas.line(SIDE, 12.5 * mm, width - SIDE, 12.5 * mm)
    canvas.setFillColor(SOFT)
    canvas.setFont(faces.text, 7)
    canvas.drawString(SIDE, 8.5 * mm, f"{say('fingerprint')} {report.fingerprint[:32]}")
    canvas.drawRightString(
        width - SIDE, 8.5 * mm, say("page {one} of {all}", one=count[0], all=count[1])
    )
    canvas.restoreState()
