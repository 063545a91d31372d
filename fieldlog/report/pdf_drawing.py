"""What the PDF draws itself: the signs of verdicts, rulers, tick boxes."""

from __future__ import annotations

from typing import Any

from reportlab.lib.colors import Color, HexColor
from reportlab.platypus import Flowable

from fieldlog.report.gauge import Gauge
from fieldlog.report.view_model import Shown, state_of
from fieldlog.words.signs import HEIGHT, SIGNS, WIDTH, Stroke
from fieldlog.words.telling import say

INK = HexColor("#1a1a1a")
SOFT = HexColor("#55534c")
LINE = HexColor("#b9b4a5")
BLUE = HexColor("#1d3f72")
WASH = HexColor("#eef1f6")
WHITE = Color(1, 1, 1)


def draw_mark(canvas: Any, state: Shown, x: float, y: float, height: float) -> float:
    """The sign of ``state``, ``height`` points high, its lower left corner at ``x, y``; its width."""
    share = height / HEIGHT
    canvas.saveState()
    canvas.translate(x, y + height)
    canvas.scale(share, -share)  # the sign's y runs down
    canvas.setStrokeColor(INK)
    canvas.setFillColor(INK)
    for shape in SIGNS[state_of(state)]:
        if isinstance(shape, Stroke):
            canvas.setLineWidth(shape.width)
            canvas.line(*shape.start, *shape.end)
        else:
            wedge = canvas.beginPath()
            wedge.moveTo(*shape.spots[0])
            wedge.lineTo(*shape.spots[1])
            wedge.lineTo(*shape.spots[2])
            wedge.close()
            canvas.drawPath(wedge, stroke=0, fill=1)
    canvas.restoreState()
    return WIDTH * share


class VerdictMark(Flowable):  # type: ignore[misc]
    """A verdict's mark with its word beside it."""

    def __init__(self, state: Shown, text: str, face: str, size: float = 9) -> None:
        """``text`` is what stands beside the mark."""
        super().__init__()
        self._state, self._text, self._face, self._size = state, text, face, size
        self.width, self.height = 0.0, size + 3

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """As wide as there is room."""
        self.width = width
        return width, self.height

    def draw(self) -> None:
        """Draw on the page."""
        wide = draw_mark(self.canv, self._state, 0, 0.6, self._size + 1)
        self.canv.setFillColor(INK)
        self.canv.setFont(self._face, self._size)
        self.canv.drawString(wide + 4, 2.2, self._text)


_HEAVY = {Shown.BEYOND: 2.4, Shown.FAULTY: 2.0, Shown.MARGINAL: 1.5, Shown.UNDECIDED: 1.5}


class Stamp(Flowable):  # type: ignore[misc]
    """The verdict of a finding in a frame; the frame's weight follows the verdict."""

    WIDTH = 76.0

    def __init__(self, state: Shown, severity: str, face: str) -> None:
        """``severity`` may be empty."""
        super().__init__()
        self._state, self._severity, self._face = state, severity, face
        self.width, self.height = self.WIDTH, 21.5 if severity else 15.0

    def wrap(self, _: float, __: float) -> tuple[float, float]:
        """Its own size."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw on the page."""
        canvas = self.canv
        heavy = _HEAVY.get(self._state, 0.6)
        canvas.saveState()
        canvas.setStrokeColor(LINE if self._state in {Shown.WITHIN, Shown.NOT_JUDGED} else INK)
        canvas.setLineWidth(heavy)
        if self._state is Shown.UNDECIDED:
            canvas.setDash(4, 3)
        canvas.rect(heavy / 2, heavy / 2, self.width - heavy, self.height - heavy)
        canvas.restoreState()
        left = 8 + draw_mark(canvas, self._state, 4, self.height / 2 - 5.5, 11)
        canvas.setFillColor(INK)
        canvas.setFont(self._face, 7.6)
        middle = self.height / 2 - 2.8
        canvas.drawString(left, middle + 3.9 if self._severity else middle, say(self._state))
        if self._severity:
            canvas.drawString(left, middle - 4.4, say(self._severity))


class Ruler(Flowable):  # type: ignore[misc]
    """Where the reading lies: allowed stretch, limit, guard band, pointer."""

    def __init__(self, gauge: Gauge, width: float) -> None:
        """``width`` in points."""
        super().__init__()
        self._gauge, self.width, self.height = gauge, width, 16.0

    def wrap(self, _: float, __: float) -> tuple[float, float]:
        """Its own size."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw on the page."""
        canvas, gauge, width = self.canv, self._gauge, self.width
        level = 4.0
        canvas.setStrokeColor(LINE)
        canvas.setLineWidth(0.7)
        canvas.line(0, level, width, level)
        canvas.setStrokeColor(BLUE)
        canvas.setLineWidth(3)
        canvas.line(gauge.allowed[0] * width, level, gauge.allowed[1] * width, level)
        for band in (gauge.guard_low, gauge.guard_high):
            if band is not None:
                self._hatch(band[0] * width, band[1] * width, level - 3.5, level + 3.5)
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(1.4)
        for edge in (gauge.low, gauge.high):
            if edge is not None:
                canvas.line(edge * width, level - 4, edge * width, level + 6)
        at = gauge.reading * width
        pointer = canvas.beginPath()
        pointer.moveTo(at, level + 2)
        pointer.lineTo(at - 3.2, level + 10)
        pointer.lineTo(at + 3.2, level + 10)
        pointer.close()
        canvas.setFillColor(INK)
        canvas.drawPath(pointer, stroke=0, fill=1)

    def _hatch(self, left: float, right: float, bottom: float, top: float) -> None:
        canvas = self.canv
        canvas.saveState()
        frame = canvas.beginPath()
        frame.rect(left, bottom, max(right - left, 0.8), top - bottom)
        canvas.clipPath(frame, stroke=0, fill=0)
        canvas.setStrokeColor(SOFT)
        canvas.setLineWidth(0.8)
        x = left - (top - bottom)
        while x < right:
            canvas.line(x, bottom, x + (top - bottom), top)
            x += 2.6
        canvas.restoreState()


class TickBox(Flowable):  # type: ignore[misc]
    """An empty box to tick by hand."""

    def wrap(self, _: float, __: float) -> tuple[float, float]:
        """Nine points square."""
        self.width = self.height = 9.0
        return self.width, self.height

    def draw(self) -> None:
        """Draw on the page."""
        self.canv.setStrokeColor(INK)
        self.canv.setLineWidth(1)
        self.canv.rect(0.5, 0, 8, 8)
