"""How the PDF is set: its styles, headings, labels and table rules."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import (
    ActionFlowable,
    CondPageBreak,
    Flowable,
    Paragraph,
    Spacer,
    Table,
    TableStyle,
)

from fieldlog.report.copies import Copies
from fieldlog.report.pdf_drawing import BLUE, LINE, SOFT
from fieldlog.report.pdf_fonts import Faces
from fieldlog.report.pdf_page import SIDE
from fieldlog.report.view_model import Report
from fieldlog.words.telling import say


class Typesetting:
    """Styles of one document and the small parts its sections are set from."""

    def __init__(
        self, report: Report, copies: Copies, faces: Faces, page: tuple[float, float]
    ) -> None:
        """``page``: width and height in points."""
        self.report, self.copies, self.faces, self.page = report, copies, faces, page
        self.width = page[0] - 2 * SIDE
        text, strong, typed = faces.text, faces.strong, faces.typed
        self.styles = {
            "title": ParagraphStyle("title", fontName=strong, fontSize=18, leading=21),
            "headline": ParagraphStyle("headline", fontName=strong, fontSize=10.4, leading=12.8),
            "text": ParagraphStyle("text", fontName=text, fontSize=8.2, leading=9.8),
            "small": ParagraphStyle("small", fontName=text, fontSize=7.4, leading=9.4),
            "soft": ParagraphStyle(
                "soft", fontName=text, fontSize=7.4, leading=9.4, textColor=SOFT
            ),
            "fine": ParagraphStyle("fine", fontName=text, fontSize=6.9, leading=8.2),
            "faint": ParagraphStyle(
                "faint", fontName=text, fontSize=6.9, leading=8.2, textColor=SOFT
            ),
            "subject": ParagraphStyle("subject", fontName=strong, fontSize=9.4, leading=11.5),
            "value": ParagraphStyle("value", fontName=typed, fontSize=11, leading=14),
            "typed": ParagraphStyle("typed", fontName=typed, fontSize=9, leading=11),
            "label": ParagraphStyle(
                "label", fontName=strong, fontSize=6.4, leading=8, textColor=BLUE
            ),
            "count": ParagraphStyle(
                "count", fontName=text, fontSize=7.4, leading=10, textColor=SOFT, alignment=TA_RIGHT
            ),
        }

    def heading(self, name: str, note: str, width: float | None = None) -> Iterator[Flowable]:
        """A section's heading with a note at its right end, across the page or ``width`` points."""
        across = width or self.width
        name, note = say(name), say(note)
        title = f"<font color='#1d3f72'>{escape(name[:1].upper() + name[1:])}</font>"
        share = 0.5 if note else 0.999
        if width is None:
            yield CondPageBreak(18 * mm)
        yield Spacer(1, 1.4 * mm)
        yield table(
            [[self.rich(title, "subject"), self.p(note, "count")]],
            colWidths=[across * share, across * (1 - share)],
            style=TableStyle(
                [
                    ("LINEBELOW", (0, 0), (-1, -1), 1.4, BLUE),
                    ("LEFTPADDING", (0, 0), (-1, -1), 0),
                    ("RIGHTPADDING", (0, 0), (-1, -1), 0),
                    ("TOPPADDING", (0, 0), (-1, -1), 1),
                    ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
                    ("VALIGN", (0, 0), (-1, -1), "BOTTOM"),
                ]
            ),
        )

    def labelled(self, label: str, text: str) -> Iterator[Flowable]:
        """A small label with a text after it; nothing for an empty text."""
        if text:
            yield Spacer(1, 1.5 * mm)
            name = (
                f"<font name='{self.faces.strong}' color='#1d3f72' size='6.4'>{say(label)}</font>"
            )
            yield self.rich(f"{name} {escape(text)}", "small")

    def p(self, text: str, style: str) -> Paragraph:
        """A paragraph of plain text."""
        return self.rich(escape(text), style)

    def rich(self, markup: str, style: str) -> Paragraph:
        """A paragraph with ``<b>`` and reportlab's own tags; text in it is escaped by the caller."""
        bold = f"<font name='{self.faces.strong}'>"
        markup = markup.replace("<b>", bold).replace("</b>", "</font>")
        return Paragraph(self.plain(markup), self.styles[style])

    def plain(self, text: str) -> str:
        """``text`` in letters the faces have."""
        return self.faces.printable(text)


HALF = 0.5
"""Share of a page that is not left empty."""


class BehindTheFirst(ActionFlowable):  # type: ignore[misc]
    """What follows begins behind the first page; where that one went on, or is half empty, it goes on there."""

    def apply(self, doc: Any) -> None:
        """End the page when it is the first and at least half of it is filled."""
        left = (doc.frame._y - doc.frame._y1p) / doc.frame._aH
        if doc.page == 1 and left < HALF:
            doc.handle_pageBreak()


def table(rows: Sequence[Sequence[Any]], **how: Any) -> Table:
    """A table whose rows may go on on the next page: nothing said is too long for the report."""
    return Table(rows, splitInRow=1, **how)


def rule(width: float, above: float = 0) -> Table:
    """A thin line across, with ``above`` points over it."""
    return table(
        [[""]],
        colWidths=[width],
        rowHeights=[max(above, 0.5)],
        style=TableStyle([("LINEBELOW", (0, 0), (-1, -1), 0.5, LINE)]),
    )


def tight(right: float = 0, bottom: float = 2) -> TableStyle:
    """No lines, no room but what is given (points)."""
    return TableStyle(
        [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("RIGHTPADDING", (0, 0), (-1, -1), right),
            ("TOPPADDING", (0, 0), (-1, -1), 0),
            ("BOTTOMPADDING", (0, 0), (-1, -1), bottom),
        ]
    )


def ruled(*, tight: bool = False) -> TableStyle:
    """A thin line under each row; ``tight``: with little room about it."""
    room = 0.8 if tight else 2.5
    return TableStyle(
        [
            ("LINEBELOW", (0, 0), (-1, -1), 0.5, LINE),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("RIGHTPADDING", (0, 0), (-1, -1), 6),
            ("TOPPADDING", (0, 0), (-1, -1), room),
            ("BOTTOMPADDING", (0, 0), (-1, -1), room + 0.4),
        ]
    )
