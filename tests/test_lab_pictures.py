"""The pictures of the README: drawn from what stands beside them."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET

from PIL import Image

from fieldlog.lab.pictures import COLUMNS, HERE, Line, owners_page, terminal_svg

LINES: list[Line] = [
    [(line[0], line[1]) for line in row]
    for row in json.loads((HERE / "sources.json").read_text(encoding="utf-8"))["terminal"]
]


def test_the_picture_of_the_terminal_is_drawn_from_its_lines() -> None:
    """Run `python -m fieldlog.lab pictures` where this fails."""
    drawn = (HERE / "terminal.svg").read_text(encoding="utf-8")
    assert drawn == terminal_svg(LINES, "$ fieldlog demo")
    text = "".join(ET.fromstring(drawn).itertext()).replace("\u00a0", " ")
    for line in LINES:
        assert sum(len(part) for part, _ in line) <= COLUMNS
        for part, _ in line:
            assert part.strip() in text


def test_the_picture_of_the_report_is_one_that_a_page_can_load() -> None:
    with Image.open(HERE / "report.png") as picture:
        assert picture.size == (1100, 1390)
    assert (HERE / "report.png").stat().st_size < 200_000


def test_the_picture_of_the_review_is_one_that_a_page_can_load() -> None:
    with Image.open(HERE / "review.png") as picture:
        assert picture.size == (1100, 900)
    assert (HERE / "review.png").stat().st_size < 200_000


def test_the_first_page_is_told_without_pictures_and_marks() -> None:
    html = '<main><p>a &amp;\n b</p><img src="data:x"><div class="behind">c</div></main>'
    assert owners_page(html) == "a & b"
