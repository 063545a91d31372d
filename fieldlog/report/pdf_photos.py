"""Photos in the PDF."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Image, Spacer, Table

from fieldlog.report.pdf_setting import Typesetting, table, tight
from fieldlog.report.view_model import PhotoCell

BESIDE = (27 * mm, 17 * mm)
"""The most room a picture has, width and height in points."""


def picture(card: Typesetting, cell: PhotoCell, room: tuple[float, float]) -> Flowable:
    """The picture as large as ``room`` holds it, or why there is none."""
    copy = card.copies.thumbnails.get(cell.media)
    if copy is None:
        why = card.copies.problems.get(cell.media, "not copied")
        return card.p(f"{cell.file}: {why}", "soft")
    found = Image(io.BytesIO(copy.data), lazy=0)
    factor = min(room[0] / found.imageWidth, room[1] / found.imageHeight)
    found.drawWidth, found.drawHeight = found.imageWidth * factor, found.imageHeight * factor
    found.hAlign = "LEFT"
    return found


def with_caption(card: Typesetting, cell: PhotoCell, width: float) -> Table:
    """A picture with its file, instant and reason beside it."""
    told = [card.p(f"{cell.file} {cell.when}", "fine"), card.p(cell.reason, "faint")]
    return table(
        [[picture(card, cell, BESIDE), told]],
        colWidths=[BESIDE[0] + 2 * mm, width - BESIDE[0] - 2 * mm],
        style=tight(),
    )


def rows_of(card: Typesetting, cells: Sequence[PhotoCell], width: float, indent: float) -> Table:
    """Pictures side by side, each with its caption under it."""
    across = max(1, int(width // (BESIDE[0] + 3 * mm)))
    boxes: list[Any] = [
        [
            picture(card, cell, BESIDE),
            Spacer(1, 2),
            card.p(f"{cell.file} {cell.when}", "small"),
            card.p(cell.reason, "soft"),
        ]
        for cell in cells
    ]
    boxes += [""] * (-len(boxes) % across)
    rows = [boxes[i : i + across] for i in range(0, len(boxes), across)]
    return table(
        [["", *row] for row in rows],
        colWidths=[indent, *[width / across] * across],
        style=tight(right=3 * mm, bottom=2 * mm),
    )
