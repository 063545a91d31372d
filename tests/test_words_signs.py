"""Signs of verdicts on paper and page: our ruler, told apart by shape; no colour says what is in order."""

from __future__ import annotations

import colorsys
import re
from pathlib import Path

import pytest

import fieldlog
from fieldlog.model.state import State
from fieldlog.report.view_model import Shown, state_of
from fieldlog.words.signs import HEIGHT, SIGNS, WIDTH, Stroke, Wedge, svg

HERE = Path(fieldlog.__file__).parent
DRAWN = (*HERE.glob("report/templates/*"), *HERE.glob("report/*.py"), HERE / "photos" / "sheet.py")


def tip(state: State) -> float:
    (wedge,) = (shape for shape in SIGNS[state] if isinstance(shape, Wedge))
    return wedge.spots[2][0]


def upright(state: State) -> float:
    """Where the limit's stroke stands."""
    (at,) = (s.start[0] for s in SIGNS[state] if isinstance(s, Stroke) and s.start[0] == s.end[0])
    return at


def test_the_pointer_tells_the_verdict() -> None:
    assert tip(State.WITHIN) < tip(State.MARGINAL) < upright(State.MARGINAL)
    assert tip(State.BEYOND) > upright(State.BEYOND)
    assert not any(isinstance(shape, Wedge) for shape in SIGNS[State.UNDECIDED])
    assert upright(State.UNDECIDED) == upright(State.WITHIN)
    assert all(isinstance(shape, Wedge) for shape in SIGNS[State.FAULTY])
    hatching = [s for s in SIGNS[State.MARGINAL] if isinstance(s, Stroke) and s.width == 1.2]
    assert hatching[0].start[0] < tip(State.MARGINAL) < hatching[-1].end[0]


@pytest.mark.parametrize("shown", Shown)
def test_every_verdict_has_a_sign_of_its_own_inside_its_box(shown: Shown) -> None:
    drawn = svg(state_of(shown))
    assert drawn not in {svg(state_of(other)) for other in Shown if other is not shown}
    for shape in SIGNS[state_of(shown)]:
        spots = shape.spots if isinstance(shape, Wedge) else (shape.start, shape.end)
        assert all(0 <= x <= WIDTH and 0 <= y <= HEIGHT for x, y in spots)


def test_nothing_drawn_is_red_yellow_or_green() -> None:
    """Paper, ink and one blue: whatever has a hue and is strong enough to be seen is blue."""
    found = {}
    for path in DRAWN:
        if path.is_file() and path.suffix in {".css", ".html", ".py"}:
            for code in re.findall(r"#[0-9a-fA-F]{6}\b", path.read_text(encoding="utf-8")):
                red, green, blue = (int(code[at : at + 2], 16) / 255 for at in (1, 3, 5))
                hue, _, _ = colorsys.rgb_to_hls(red, green, blue)
                if max(red, green, blue) - min(red, green, blue) > 0.15 and not 0.5 < hue < 0.75:
                    found[code] = path.name
    assert found == {}
    named = re.compile(r"[:\"' ](red|green|yellow|orange|lime|crimson)[;\"']")
    assert not [path for path in DRAWN if path.is_file() and named.search(path.read_text("utf-8"))]
