"""The first page of the PDF, for whoever owns the vehicle."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether, Spacer, Table, TableStyle

from fieldlog.aftercare.due import When
from fieldlog.report.lines import NOT_COVERED
from fieldlog.report.pdf_drawing import BLUE, INK, TickBox
from fieldlog.report.pdf_photos import picture
from fieldlog.report.pdf_setting import Typesetting, ruled, table, tight
from fieldlog.report.view_model import DueRow, OwnerLine, OwnerList, Urgency
from fieldlog.words import tell
from fieldlog.words.telling import say

_HIGH = 17 * mm
"""Height of a photo."""
_DATES, _MOST_DATES = 64 * mm, 6
"""Width of the next dates, and how many there is room for."""
_FIRST_PAGE = {
    "inspected": 0.21,
    "odometer": 0.14,
    "inspector": 0.22,
    "place": 0.29,
    "limits of": 0.14,
}
"""Boxes of the form on the first page with their shares of its width; facts of the vehicle stand behind."""


def first_page(card: Typesetting) -> Iterator[Flowable]:
    """Head, headline, the three lists, what nobody looked at, photos, dates, signatures."""
    report = card.report
    yield card.p(report.vehicle, "title")
    yield Spacer(1, 1.5 * mm)
    yield _head(card)
    yield Spacer(1, 3 * mm)
    yield card.p(report.headline, "headline")
    yield Spacer(1, 1 * mm)
    yield card.p(report.deferral, "soft")
    for each in report.owner.lists:
        yield from _list(card, each)
    yield from _not_looked_at(card)
    yield from _photos_and_dates(card)
    yield from signatures(card)


def behind(card: Typesetting) -> list[tuple[str, str]]:
    """Fields of the form that the first page leaves to those behind."""
    shown = {"vehicle", *_FIRST_PAGE}
    return [field for field in card.report.fields if field[0] not in shown]


def signatures(card: Typesetting) -> Iterator[Flowable]:
    """Who signed, what that does not cover, and a line for each of the two."""
    report = card.report
    blocks: list[Flowable] = [Spacer(1, 3 * mm)]
    blocks += [card.p(say("signed off: {line}", line=line), "typed") for line in report.signed]
    if report.not_covered:
        blocks.append(card.p(f"{say(NOT_COVERED)}: {'; '.join(report.not_covered)}", "text"))
    lines = ("inspected by", "date", "read and received by the owner", "date")
    blocks.append(
        table(
            [[card.p(say(text), "label") for text in lines]],
            colWidths=[card.width * share for share in (0.34, 0.14, 0.38, 0.14)],
            rowHeights=[9 * mm],
            style=TableStyle(
                [
                    ("LINEBELOW", (0, 0), (-1, -1), 0.8, INK),
                    ("VALIGN", (0, 0), (-1, -1), "TOP"),
                    ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ]
            ),
        )
    )
    yield KeepTogether(blocks)


def _list(card: Typesetting, one: OwnerList) -> Iterator[Flowable]:
    """One of the three lists; what must be done before riding stands in the heaviest frame."""
    rows = [[TickBox(), card.rich(_told(line), "text")] for line in one.lines]
    yield from card.heading(one.urgency.value, "")
    style = ruled(tight=True)
    if one.urgency is Urgency.DO_NOT_RIDE:
        style.add("BOX", (0, 0), (-1, -1), 2.2, INK)
        style.add("LEFTPADDING", (0, 0), (0, -1), 4)
    yield table(rows, colWidths=[6.5 * mm, card.width - 6.5 * mm], style=style)


def _told(line: OwnerLine) -> str:
    """What to do and where, then what was found, with its numbers."""
    found = "; ".join(line.found)
    numbers = f" <font color='#55534c' size='6.9'>{say('no.')}\u00a0{', '.join(map(str, line.because))}</font>"
    if not line.do:
        return f"<b>{escape(tell.capital(found))}</b>{numbers}"
    where = f" ({escape(line.where)})" if line.where else ""
    seen = f" <font color='#55534c'>{escape(found)}</font>" if found else ""
    return f"<b>{escape(tell.capital(line.do))}</b>{where}{seen}{numbers if line.because else ''}"


def _not_looked_at(card: Typesetting) -> Iterator[Flowable]:
    owner, crossed = card.report.owner, card.report.cross_checks
    rows: list[tuple[str, str]] = [(stage, ", ".join(texts)) for stage, texts in owner.left]
    rows += [("left out on purpose", "; ".join(owner.left_out))] if owner.left_out else []
    rows += [("looked at, not decided", "; ".join(owner.undecided))] if owner.undecided else []
    rows += [("asked by what was found", "; ".join(crossed))] if crossed else []
    if not rows:
        return
    yield from card.heading("not looked at", "nothing is known of these")
    yield Spacer(1, 0.8 * mm)
    for label, text in rows:
        yield card.rich(f"<b><font color='#1d3f72'>{say(label)}</font></b> {escape(text)}", "fine")


def _photos_and_dates(card: Typesetting) -> Iterator[Flowable]:
    """What comes due beside the photos that matter."""
    owner = card.report.owner
    dates: list[Flowable] = []
    if owner.dates:
        dates += card.heading("next dates", "", width=_DATES - 5 * mm)
        dates.append(Spacer(1, 1.2 * mm))
        dates += [card.rich(_date(item), "fine") for item in owner.dates[:_MOST_DATES]]
        rest = len(owner.dates) - _MOST_DATES
        dates += [card.p(say("and {rest} more behind", rest=rest), "faint")] if rest > 0 else []
    room = card.width - (_DATES if dates else 0)
    photos: list[Flowable] = []
    if owner.photos:
        count = len(card.report.photos)
        note = say(
            "{shown} of {all}, each with its finding behind", shown=len(owner.photos), all=count
        )
        photos += card.heading("photos that matter", note, width=room)
        photos += [Spacer(1, 1.2 * mm), _pictures(card, room)]
    if dates or photos:
        widths = [_DATES, room] if dates else [0, room]
        style = tight()
        style.add("RIGHTPADDING", (0, 0), (0, 0), 5 * mm)
        yield table([[dates, photos]], colWidths=widths, style=style)


def _pictures(card: Typesetting, width: float) -> Flowable:
    across = 4
    boxes: list[Any] = [
        [
            picture(card, photo.cell, (width / across - 2 * mm, _HIGH)),
            Spacer(1, 1.5),
            card.p(f"{photo.number} {photo.of}", "fine"),
        ]
        for photo in card.report.owner.photos
    ]
    boxes += [""] * (across - len(boxes))
    return table([boxes], colWidths=[width / across] * across, style=tight(right=2 * mm))


def _date(item: DueRow) -> str:
    near = "" if item.nearness == When.LATER.value else f", {say(item.nearness)}"
    return f"{escape(item.what)} <b>{escape(item.by)}</b>{escape(near)}"


def _head(card: Typesetting) -> Table:
    """The boxes of the first page, each as wide as what stands in it usually is."""
    fields = [field for field in card.report.fields if field[0] in _FIRST_PAGE]
    shares = [_FIRST_PAGE[label] for label, _ in fields]
    return form(card, fields, [card.width * share / sum(shares) for share in shares])


def form(card: Typesetting, fields: Sequence[tuple[str, str]], widths: Sequence[float]) -> Table:
    """Boxes of a form, one of ``widths`` (points) each: a small label and what is typed in."""
    cells: list[Any] = [
        [card.p(say(label), "label"), card.p(value, "typed")] for label, value in fields
    ]
    cells += [[] for _ in range(-len(cells) % len(widths))]
    rows = [cells[i : i + len(widths)] for i in range(0, len(cells), len(widths))]
    return table(
        rows,
        colWidths=list(widths),
        style=TableStyle(
            [
                ("GRID", (0, 0), (-1, -1), 0.7, BLUE),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 4),
                ("TOPPADDING", (0, 0), (-1, -1), 1),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
            ]
        ),
    )
