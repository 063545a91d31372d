"""An answer as a picture: a rule for each row, its length the value, in ink on paper (pure).

The value stands at the end of its rule and the name before it, so that nothing has to be told by
colour or read off an axis; where most of a kind lies between two values, a thin rule goes through both.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

INK, PAPER = "#1b1b1b", "#fbfaf6"
_ROW, _NAME, _RULE, _RIGHT, _TOP = 26, 330, 420, 90, 52


@dataclass(frozen=True, slots=True)
class ChartRow:
    """One row: what it is of, its value, and where most of its kind lies (None: not known)."""

    name: str
    value: float
    spread: tuple[float, float] | None = None


def chart_svg(title: str, unit: str, bars: Sequence[ChartRow]) -> str:
    """The picture as SVG; of no rows, a picture that says so."""
    longest = max((max(each.value, *(each.spread or (0.0,))) for each in bars), default=0.0) or 1.0
    width, height = _NAME + _RULE + _RIGHT, _TOP + _ROW * max(len(bars), 1) + 16
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}" font-family="DejaVu Sans, sans-serif" font-size="13">',
        f"<title>{escape(title)}</title>",
        f'<rect width="{width}" height="{height}" fill="{PAPER}"/>',
        _text(16, 24, title, weight="bold"),
        _text(16, 42, unit, size=11),
    ]
    if not bars:
        lines.append(_text(16, _TOP + 18, "nothing of this is in the tables"))
    for number, bar in enumerate(bars):
        middle = _TOP + _ROW * number + _ROW / 2
        end = _NAME + _RULE * bar.value / longest
        lines += [
            _text(_NAME - 10, middle + 4, _short(bar.name), anchor="end"),
            _drawn(_NAME, end, middle, 7),
        ]
        last = end
        if bar.spread is not None:
            low, high = (_NAME + _RULE * each / longest for each in bar.spread)
            lines += [_drawn(low, high, middle, 1.5), *(_stroke(at, middle) for at in (low, high))]
            last = max(end, high)
        lines.append(_text(last + 8, middle + 4, f"{bar.value:,.4g}"))
    return "\n".join([*lines, "</svg>", ""])


def _short(name: str) -> str:
    return name if len(name) <= 44 else name[:43] + "…"


def _text(
    x: float, y: float, text: str, *, anchor: str = "start", weight: str = "normal", size: int = 13
) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" fill="{INK}" text-anchor="{anchor}" '
        f'font-weight="{weight}" font-size="{size}">{escape(text)}</text>'
    )


def _drawn(start: float, end: float, y: float, thick: float) -> str:
    return (
        f'<rect x="{start:.1f}" y="{y - thick / 2:.1f}" width="{max(end - start, 0.5):.1f}" '
        f'height="{thick}" fill="{INK}"/>'
    )


def _stroke(x: float, y: float) -> str:
    return f'<rect x="{x - 0.75:.1f}" y="{y - 7:.1f}" width="1.5" height="14" fill="{INK}"/>'
