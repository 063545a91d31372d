"""The signs of verdicts: the ruler of a reading, small; told apart by shape alone (pure).

A bar up to the limit's stroke, and where the pointer stands: inside the bar (within), on the hatching of the
guard band (marginal), past the stroke (beyond). No pointer: undecided. A pointer without a ruler: a fault that
no row covers (faulty). The bare scale: not judged. Paper, page, contact sheet and review draw these shapes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fieldlog.model.state import State

WIDTH, HEIGHT = 32.0, 20.0
"""The box that every sign is drawn in; x to the right, y down."""
Spot = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Stroke:
    """A straight line of some width."""

    start: Spot
    end: Spot
    width: float


@dataclass(frozen=True, slots=True)
class Wedge:
    """A filled triangle."""

    spots: tuple[Spot, Spot, Spot]


Shape = Stroke | Wedge

_LEVEL = 15.0
_SCALE = Stroke((1, _LEVEL), (31, _LEVEL), 1)


def _bar(end: float) -> tuple[Shape, ...]:
    return _SCALE, Stroke((1, _LEVEL), (end, _LEVEL), 5), Stroke((end, 8.5), (end, 20), 2.2)


def _pointer(at: float, half: float = 4.5) -> Wedge:
    return Wedge(((at - half, 1), (at + half, 1), (at, 12)))


def _hatching(left: float, right: float) -> tuple[Shape, ...]:
    lines = []
    while left + 3 <= right:
        lines.append(Stroke((left, 19), (left + 3, 11), 1.2))
        left += 3
    return tuple(lines)


SIGNS: Mapping[State | None, tuple[Shape, ...]] = {
    State.WITHIN: (*_bar(25), _pointer(12)),
    State.MARGINAL: (
        _SCALE,
        Stroke((1, _LEVEL), (13, _LEVEL), 5),
        *_hatching(14, 23),
        Stroke((24.5, 8.5), (24.5, 20), 2.2),
        _pointer(18.5),
    ),
    State.BEYOND: (*_bar(15), _pointer(25.5, 5.5)),
    State.FAULTY: (Wedge(((8, 1.5), (24, 1.5), (16, 19.5))),),
    State.UNDECIDED: _bar(25),
    None: (_SCALE,),
}
"""What is drawn for a verdict; None: not judged."""


def svg(state: State | None) -> str:
    """The inside of an SVG of ``0 0 32 20``, in the colour of the words beside it."""
    return "".join(_svg(shape) for shape in SIGNS[state])


def _svg(shape: Shape) -> str:
    if isinstance(shape, Wedge):
        spots = " ".join(f"{x:g},{y:g}" for x, y in shape.spots)
        return f'<polygon points="{spots}" fill="currentColor"/>'
    (x1, y1), (x2, y2) = shape.start, shape.end
    return (
        f'<line x1="{x1:g}" y1="{y1:g}" x2="{x2:g}" y2="{y2:g}" stroke="currentColor" '
        f'stroke-width="{shape.width:g}"/>'
    )
