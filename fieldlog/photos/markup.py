"""Marks drawn on a copy of a photo: rings, arrows and words; the original stays as it is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from PIL import Image, ImageDraw, ImageFont

from fieldlog.errors import UsageError

_LINE = (196, 30, 58)
_EDGE = (255, 255, 255)


@dataclass(frozen=True, slots=True)
class Ring:
    """A ring around a place; all values in per cent of the picture's width and height."""

    x: float
    y: float
    radius: float
    """Per cent of the width."""


@dataclass(frozen=True, slots=True)
class Arrow:
    """An arrow from one place to another, in per cent of width and height."""

    from_x: float
    from_y: float
    to_x: float
    to_y: float


@dataclass(frozen=True, slots=True)
class Words:
    """Words whose first letter starts at a place, in per cent of width and height."""

    x: float
    y: float
    text: str


Shape = Ring | Arrow | Words


def read_ring(text: str) -> Ring:
    """``X,Y,RADIUS`` in per cent. Raises UsageError."""
    x, y, radius = _numbers(text, 3, "X,Y,RADIUS")
    return Ring(x, y, radius)


def read_arrow(text: str) -> Arrow:
    """``X,Y,X,Y`` in per cent, tail first. Raises UsageError."""
    return Arrow(*_numbers(text, 4, "X,Y,X,Y"))


def read_words(text: str) -> Words:
    """``X,Y,WORDS``. Raises UsageError."""
    parts = text.split(",", 2)
    if len(parts) < 3 or not parts[2].strip():
        raise UsageError(f"{text!r} is not X,Y,WORDS", todo="write it like 40,55,crack 2 mm")
    x, y = _numbers(",".join(parts[:2]), 2, "X,Y,WORDS")
    return Words(x, y, parts[2].strip())


def _numbers(text: str, count: int, form: str) -> list[float]:
    try:
        values = [float(part) for part in text.split(",")]
    except ValueError:
        values = []
    if len(values) != count or not all(math.isfinite(v) and 0 <= v <= 100 for v in values):
        raise UsageError(f"{text!r} is not {form}", todo="give per cent of the picture, 0 to 100")
    return values


def mark_up(picture: Path, shapes: Sequence[Shape], target: Path) -> None:
    """Draw ``shapes`` on a copy of an upright picture and write it as JPEG without metadata.

    Every line has a white edge, so that it shows on dark rubber and on bright metal.
    """
    with Image.open(picture) as opened:
        image = opened.convert("RGB")
    width, height = image.size
    line = max(3, round(max(width, height) / 250))
    draw = ImageDraw.Draw(image)
    font = ImageFont.load_default(size=max(14, height // 28))
    for colour, extra in ((_EDGE, line), (_LINE, 0)):
        for shape in shapes:
            if isinstance(shape, Ring):
                x, y, r = shape.x * width / 100, shape.y * height / 100, shape.radius * width / 100
                grow = extra / 2
                box = (x - r - grow, y - r - grow, x + r + grow, y + r + grow)
                draw.ellipse(box, outline=colour, width=line + extra)
            elif isinstance(shape, Arrow):
                _arrow(draw, shape, (width, height), colour, line + extra, head=12 * line)
            else:
                place = (shape.x * width / 100, shape.y * height / 100)
                draw.text(
                    place, shape.text, font=font, fill=_LINE, stroke_width=line, stroke_fill=_EDGE
                )
    target.parent.mkdir(parents=True, exist_ok=True)
    partial = target.with_name(target.name + ".part")
    image.save(partial, "JPEG", quality=90)
    partial.replace(target)


def _arrow(
    draw: ImageDraw.ImageDraw,
    arrow: Arrow,
    size: tuple[int, int],
    colour: tuple[int, int, int],
    line: int,
    head: int,
) -> None:
    tail = (arrow.from_x * size[0] / 100, arrow.from_y * size[1] / 100)
    tip = (arrow.to_x * size[0] / 100, arrow.to_y * size[1] / 100)
    draw.line((*tail, *tip), fill=colour, width=line)
    angle = math.atan2(tip[1] - tail[1], tip[0] - tail[0])
    for turn in (2.6, -2.6):
        end = (
            tip[0] + head * math.cos(angle + turn),
            tip[1] + head * math.sin(angle + turn),
        )
        draw.line((*tip, *end), fill=colour, width=line)
