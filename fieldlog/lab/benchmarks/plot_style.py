"""How plots of the pages look: ink on the card's paper, told apart by dashes and marks, not by colours."""

from __future__ import annotations

from itertools import product
from typing import Any

from fieldlog.errors import UsageError

INK, SOFT, LINE, BLUE, PAPER = "#1a1a1a", "#55534c", "#b9b4a5", "#1d3f72", "#fffefb"
"""As on the report (``report/templates/card.css``)."""
_STYLE = {
    "figure.facecolor": PAPER,
    "savefig.facecolor": PAPER,
    "axes.facecolor": PAPER,
    "axes.edgecolor": LINE,
    "axes.labelcolor": SOFT,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.titlelocation": "left",
    "axes.titlecolor": BLUE,
    "axes.titleweight": "bold",
    "axes.titlesize": 11,
    "xtick.color": SOFT,
    "ytick.color": SOFT,
    "ytick.direction": "inout",
    "xtick.direction": "inout",
    "grid.color": LINE,
    "grid.linestyle": (0, (1, 4)),
    "legend.frameon": False,
    "lines.linewidth": 1.5,
    "lines.markersize": 6,
    "font.family": "sans-serif",
    "font.sans-serif": ["Helvetica Neue", "Helvetica", "Arial", "Liberation Sans", "DejaVu Sans"],
}
_DASHES = ((), (5, 2), (1.5, 1.5), (7, 2, 1.5, 2), (3, 1.5), (9, 3))
LINES = tuple(
    {"color": colour, "dashes": dashes, "marker": marker, "markerfacecolor": fill}
    for (colour, fill), (dashes, marker) in product(
        ((INK, INK), (BLUE, PAPER)), zip(_DASHES, ("v", "s", "D", "^", "o", "P"), strict=True)
    )
)
"""How the lines of one plot are told apart, the first first: the pointer of our ruler."""


def pyplot() -> Any:
    """Matplotlib's pyplot in our look; ``UsageError`` where it is not installed."""
    try:
        import matplotlib as mpl

        mpl.use("Agg")
        from matplotlib import pyplot as drawing
    except ImportError as error:
        raise UsageError(
            f"plots need matplotlib ({error})", todo="pip install 'fieldlog[bench]'"
        ) from error
    look: Any = drawing  # its settings are typed name by name
    look.rcParams.update(_STYLE)
    return look


def floor_of(shares: list[float], least_room: float = 2.0) -> float:
    """Where an axis of per cents begins: below the least, so that the differences can be seen."""
    least = min(shares, default=0.0)
    return max(0.0, 5.0 * int((least - least_room) // 5))
