"""``python -m fieldlog.lab pictures``: the pictures of the README, from a real run of the demo.

What is in them stands beside them in ``sources.json``: the lines of the terminal with their weights, and
what the report's first page says. Tests hold that against what the demo gives now, so that a picture
that is out of date is found on any machine, whatever its letters look like.
"""

from __future__ import annotations

import hashlib
import io
import json
import re
import shutil
import subprocess
import sys
from collections.abc import Sequence
from html import escape, unescape
from pathlib import Path
from tempfile import TemporaryDirectory

import click
from PIL import Image
from rich.console import Console
from rich.text import Text

from fieldlog import config
from fieldlog.cli.event_lines import events_behind
from fieldlog.errors import UsageError
from fieldlog.shop import demo
from fieldlog.shop.sheets import Sheets
from fieldlog.shop.workshop import Workshop

HERE = Path(__file__).resolve().parents[2] / "docs" / "pictures"
SHOWN = (
    ("01-fluids-battery-drive.flac", 0),
    ("02-tyres-brakes.flac", 2),
    ("02-tyres-brakes.flac", 3),
    ("02-tyres-brakes.flac", 10),
    ("03-controls-wheels-papers.flac", 6),
)
"""The utterances of the demo that the picture of the terminal shows: file, and which in it."""
COLUMNS = 100
Segment = tuple[str, str]
"""Some letters of a line, and their weight: ``bold``, ``reverse``, ``underline``, ``italic``, ``dim``."""
Line = list[Segment]
WEIGHTS = ("bold", "dim", "italic", "reverse", "underline")

_INK, _PAPER, _SOFT, _BLUE, _WASH = "#1a1a1a", "#fffefb", "#55534c", "#1d3f72", "#eef1f6"
_TYPED = "'Courier Prime', 'Nimbus Mono PS', 'Courier New', 'Liberation Mono', Courier, monospace"
_WIDE, _HIGH, _LEFT, _TOP = 7.8, 18, 22, 62


def terminal_lines(outcomes: Sequence[tuple[str, demo.Outcome]]) -> list[Line]:
    """What the terminal tells of ``SHOWN``, in lines of ``COLUMNS`` letters with their weights."""
    console = Console(width=COLUMNS, file=io.StringIO(), highlight=False, force_terminal=True)
    lines: list[Line] = []
    for file, number in SHOWN:
        outcome = [each for name, each in outcomes if name == file][number]
        told = events_behind(Text(f"{outcome.start_s:6.1f} s  ", "dim"), outcome.events)
        for part in told.split("\n"):
            for segments in console.render_lines(part, pad=False):
                lines.append(
                    [
                        (segment.text, _weights(segment.style))
                        for segment in segments
                        if segment.text
                    ]
                )
    return lines


def _weights(style: object) -> str:
    return " ".join(name for name in WEIGHTS if getattr(style, name, None))


def owners_page(html: str) -> str:
    """What the first page of a report says: its text, without pictures and spaces."""
    owner = html.split("<main>", 1)[1].split('<div class="behind">', 1)[0]
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", owner)).split())


def digest(text: str) -> str:
    """SHA-256 (hex) of a text."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def terminal_svg(lines: Sequence[Line], command: str) -> str:
    """The lines on a card of our own; each stretch has the width of its letters in any face."""
    width = round(2 * _LEFT + COLUMNS * _WIDE)
    height = _TOP + _HIGH * len(lines) + 10
    drawn = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" '
        f'height="{height}" role="img" aria-label="What the terminal shows of five utterances of the demo">',
        f'<rect width="{width}" height="{height}" fill="{_PAPER}" stroke="#b9b4a5"/>',
        f'<rect width="{width}" height="34" fill="{_WASH}"/>',
        f'<rect y="34" width="{width}" height="2" fill="{_BLUE}"/>',
        f'<g font-family="{_TYPED}" font-size="13">',
        f'<text x="{_LEFT}" y="22" fill="{_BLUE}" font-weight="700">{escape(command)}</text>',
    ]
    for row, line in enumerate(lines):
        at, level = 0, _TOP + row * _HIGH
        for text, weight in line:
            drawn += _stretch(_LEFT + at * _WIDE, level, text, weight.split())
            at += len(text)
    return "\n".join([*drawn, "</g>", "</svg>"]) + "\n"


def _stretch(x: float, y: int, text: str, weights: Sequence[str]) -> list[str]:
    if not text.strip():
        return []
    x += (len(text) - len(text.lstrip())) * _WIDE
    text = text.strip().replace(" ", "\u00a0")  # a drawing drops spaces that stand together
    wide = round(len(text) * _WIDE, 1)
    ink = _PAPER if "reverse" in weights else _SOFT if "dim" in weights else _INK
    how = [f'fill="{ink}"', f'textLength="{wide}"', 'lengthAdjust="spacingAndGlyphs"']
    how += ['font-weight="700"'] if "bold" in weights else []
    how += ['font-style="italic"'] if "italic" in weights else []
    how += ['text-decoration="underline"'] if "underline" in weights else []
    back = f'<rect x="{x:.1f}" y="{y - 13}" width="{wide}" height="{_HIGH}" fill="{_INK}"/>'
    shown = f'<text x="{x:.1f}" y="{y}" {" ".join(how)}>{escape(text)}</text>'
    return [back, shown] if "reverse" in weights else [shown]


def photographed(html: Path, target: Path, *, width: int = 1100, height: int = 1390) -> None:
    """The top of a page as Chromium shows it, in few colours; ``UsageError`` without Chromium."""
    browser = shutil.which("chromium") or shutil.which("google-chrome")
    if browser is None:
        raise UsageError("no Chromium is here", todo="Debian: sudo apt install chromium")
    with TemporaryDirectory() as folder:
        raw = Path(folder) / "page.png"
        subprocess.run(
            [browser, "--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
             f"--user-data-dir={folder}/profile", f"--window-size={width},{height}",
             f"--screenshot={raw}", html.resolve().as_uri()],
            check=True, capture_output=True, timeout=120,
        )  # fmt: skip
        with Image.open(raw) as picture:
            few = picture.convert("RGB").quantize(96, dither=Image.Dither.NONE)
            few.save(target, optimize=True)


def to_decide(shop: Workshop) -> list[list[str]]:
    """What the reviewer's page asks first: why, and the words that were heard."""
    return [
        [one.need.value, *(said.text for said in one.exchange.said)]
        for one in Sheets(shop).sheet("last").queue
        if one.need is not None and one.exchange is not None
    ]


def reviewed(record: Path, target: Path) -> None:
    """The reviewer's page at the first thing to decide, in few colours."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        raise UsageError("no playwright is here", todo="pip install 'fieldlog[test]'") from None
    server = subprocess.Popen(
        [sys.executable, "-m", "fieldlog", "review", "--no-open", "--store", str(record)],
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert server.stdout is not None
        address = next(line.strip() for line in server.stdout if line.startswith("http"))
        with sync_playwright() as driver:
            browser = driver.chromium.launch(
                executable_path=shutil.which("chromium"),
                args=["--no-sandbox", "--headless=new", "--disable-gpu"],
            )
            tab = browser.new_page(viewport={"width": 1100, "height": 900})
            tab.goto(address)
            tab.wait_for_selector("#card:not([aria-busy]) canvas", timeout=60_000)
            tab.wait_for_timeout(1000)  # waveform and pictures are drawn as they come
            raw = tab.screenshot()
            browser.close()
    finally:
        server.terminate()
        server.wait()
    with Image.open(io.BytesIO(raw)) as picture:
        few = picture.convert("RGB").quantize(64, dither=Image.Dither.NONE)
        few.save(target, optimize=True)


@click.command()
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), default=HERE)
def pictures(out: Path) -> None:
    """Run the demo and draw the pictures of the README again, with what is in them.

    \b
    Example:
      python -m fieldlog.lab pictures
    """
    out.mkdir(parents=True, exist_ok=True)
    with TemporaryDirectory() as folder:
        media, work = config.demo_media(), Path(folder)
        with Workshop.open(work / "record") as shop, shop.ears() as ears:
            ran = demo.run(media, shop, work, ears, lambda file, outcome: None, formats=("html",))
        page = ran.written.files[0]
        lines = terminal_lines(ran.outcomes)
        said = owners_page(page.read_text(encoding="utf-8"))
        (out / "terminal.svg").write_text(terminal_svg(lines, "$ fieldlog demo"), encoding="utf-8")
        photographed(page, out / "report.png")
        with Workshop.open(work / "record") as shop:
            asked = to_decide(shop)
        reviewed(work / "record", out / "review.png")
    told = {"terminal": lines, "report": digest(said), "review": asked}
    (out / "sources.json").write_text(
        json.dumps(told, ensure_ascii=False, indent=1) + "\n", encoding="utf-8"
    )
    click.echo(f"terminal.svg, report.png, review.png and sources.json in {out}", err=True)
    sys.stdout.flush()
