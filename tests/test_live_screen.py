"""The screen of a live session: what stands there, how large, and that only what changed is painted."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from rich.console import Console

from fieldlog.audio.capture import Level, Spoken
from fieldlog.audio.clip import Clip
from fieldlog.audio.health import Notice, Trouble
from fieldlog.cli.board import Board
from fieldlog.cli.live_screen import showing as shown_by
from fieldlog.cli.live_screen.big import BLOCKS, big
from fieldlog.cli.live_screen.drawing import LOWEST, NARROWEST, lines_of
from fieldlog.cli.live_screen.painter import Painter
from fieldlog.cli.live_screen.showing import Showing, fits
from fieldlog.cli.live_screen.state import Screen
from fieldlog.cli.terminal import Terminal
from fieldlog.errors import StoreError
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.context import Context
from fieldlog.model.state import State
from fieldlog.shop import events as ev
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.live import Told
from fieldlog.shop.workshop import Workshop

NOW = datetime(2026, 5, 4, 8, 30, tzinfo=UTC)
MIC = "USB mic"
SPOKEN = Spoken(Clip(np.zeros(16, dtype=np.float32)), 0.0, NOW, MIC)
LOST = Notice(Trouble.LOST, "microphone lost: plug it in again")


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


@pytest.fixture
def talk(tmp_path: Path, language: InspectionLanguage) -> Iterator[Inspecting]:
    with Workshop.open(tmp_path, now=lambda: NOW, language=language) as shop:
        yield shop.inspecting(shop.begin("roadster", Context("US-VA")).id)


class Page:
    """A session that is typed into, and its screen on a terminal of 100 by 36."""

    def __init__(self, talk: Inspecting) -> None:
        self.file, self.now, self.talk = io.StringIO(), 0.0, talk
        self.painter = Painter(self.file, clock=lambda: self.now)
        self.painter._console.size = (100, 36)
        self.showing = Showing(self.painter, talk, MIC)

    def say(self, words: str) -> Screen:
        self.showing.show(Told(SPOKEN, self.talk.type(words)), MIC)
        return self.showing.screen

    def text(self, columns: int = 100, rows: int = 36) -> str:
        return "\n".join(line.plain for line in lines_of(self.showing.screen, columns, rows))

    def written(self) -> str:
        told = self.file.getvalue()
        self.file.seek(0)
        self.file.truncate()
        return told


@pytest.fixture
def page(talk: Inspecting) -> Page:
    return Page(talk)


def test_the_last_finding_with_its_verdict_and_what_is_open(page: Page) -> None:
    screen = page.say("rear pads one millimetre")
    assert screen.last is not None
    assert (screen.last.value, screen.last.state, screen.last.dangerous) == (
        "1 mm",
        State.BEYOND,
        True,
    )
    text = page.text()
    assert "rear brake pads, thickness" in text
    assert "DANGEROUS" in text
    assert "===|^ beyond" in text
    assert "next: battery (charge) (before start)" in text
    assert "1 finding, free" in text
    assert any(block in text for block in "▟▙▛▜")  # large


def test_a_question_stands_until_it_is_answered(page: Page) -> None:
    assert page.say("rear tyre pressure thirty six").question == "psi or kilopascals?"
    assert page.say("horn works").question == "psi or kilopascals?"  # told again
    assert "asked: rear tyre pressure thirty six" in page.text()
    assert page.say("psi").question == ""


def test_a_finding_that_is_withdrawn_says_so(page: Page) -> None:
    page.say("horn works")
    screen = page.say("disregard that")
    assert screen.last is not None
    assert screen.last.withdrawn
    assert screen.findings == 0
    assert "withdrawn: 1  horn" in page.text()


@pytest.mark.parametrize(
    "words",
    ["rear tread one thirty-second, horn works", "horn works, rear tread one thirty-second"],
)
def test_of_a_breath_the_worst_is_the_large_one(page: Page, words: str) -> None:
    """What is harmless and was said behind what is dangerous took its place at once."""
    screen = page.say(words)
    assert screen.last is not None
    assert screen.last.dangerous
    assert "DANGEROUS" in page.text()
    assert "horn: sound  within" in page.text()
    screen = page.say("left mirror loose")
    assert screen.last is not None
    assert not screen.last.dangerous


def test_standing_by_and_being_led_are_states(page: Page) -> None:
    assert page.say("go ahead").led
    assert page.say("stand by").standing_by
    assert "nothing counts until you say go ahead" in page.text()
    assert not page.say("go ahead").standing_by
    assert not page.say("on my own").led


def test_an_alarm_stands_until_it_is_put_right(page: Page) -> None:
    page.showing.show(LOST, MIC)
    assert "microphone lost: plug it in again" in page.text()
    page.say("horn works")
    assert [trouble for trouble, _ in page.showing.screen.alarms] == [Trouble.LOST]
    page.showing.show(Notice(Trouble.BACK, "microphone is back"), "headset")
    page.say("left mirror cracked")
    assert page.showing.screen.alarms == ()
    assert page.showing.screen.microphone == "headset"


def test_pure_silence_is_over_when_there_is_sound(page: Page) -> None:
    page.showing.show(Notice(Trouble.SILENT, "mute?"), MIC)
    page.showing.show(Level(3.0, -120.0, -120.0, False), MIC)
    assert page.showing.screen.alarms
    page.showing.show(Level(4.0, -50.0, -40.0, False), MIC)
    assert page.showing.screen.alarms == ()


def test_what_the_record_does_not_take_is_an_alarm_until_it_does(page: Page) -> None:
    fault = ev.NotSaved("left mirror cracked", 1, StoreError("the disk is full"))
    page.showing.show(Told(SPOKEN, (fault,)), MIC)
    assert "the disk is full" in page.text()
    page.say("left mirror cracked")
    assert "the disk is full" not in page.text()


@pytest.mark.parametrize(("columns", "rows"), [(40, 12), (60, 16), (80, 24), (100, 36), (200, 60)])
def test_it_fills_the_terminal_exactly_whatever_stands_there(
    page: Page, columns: int, rows: int
) -> None:
    for words in (
        "rear pads one millimetre",
        "rear tyre pressure thirty six",
        "go ahead",
        "horn works",
    ):
        page.say(words)
    page.showing.show(LOST, MIC)
    page.showing.show(Level(61.0, -20.0, -0.1, True), MIC)
    page.showing.tell("the recogniser crashed and was restarted; say it again")
    lines = lines_of(page.showing.screen, columns, rows)
    assert len(lines) == rows
    assert max(line.cell_len for line in lines) <= columns
    assert lines[0].plain.endswith("1:01")
    assert lines[-2].plain.startswith("next: ")


def test_no_colour_anywhere(page: Page) -> None:
    page.say("rear pads one millimetre")
    page.showing.show(LOST, MIC)
    styles = re.findall(r"\x1b\[([\d;]*)m", page.written())
    assert styles
    assert {number for style in styles for number in style.split(";")} <= {
        "",
        "0",
        "1",
        "2",
        "3",
        "4",
        "7",
        "9",
    }


def test_only_what_changed_is_painted_and_levels_ten_times_a_second(page: Page) -> None:
    page.written()
    for tenth in range(100):  # a level every 10 ms
        page.now += 0.01
        page.showing.show(Level(tenth / 100, -40.0 + tenth % 7, -30.0, False), MIC)
    told = page.written()
    painted = re.findall(r"\x1b\[(\d+);1H", told)
    assert set(painted) <= {"1", "2"}  # the line with the clock and the one with the level
    assert 5 <= painted.count("2") <= 11
    page.now += 0.01
    page.showing.show(LOST, MIC)  # what must not be missed waits for nothing
    assert "plug it in again" in page.written()


def test_the_page_is_turned_back_whatever_happens(talk: Inspecting) -> None:
    file = io.StringIO()
    with pytest.raises(StoreError), Painter(file):
        raise StoreError("the disk is full")
    assert file.getvalue().endswith("\x1b[?25h\x1b[?1049l")


@pytest.mark.parametrize(
    "text", ["4/32 in  within", "psi or kilopascals?", "Which end: front or rear?"]
)
@pytest.mark.parametrize(("columns", "rows"), [(80, 5), (100, 9), (200, 9)])
def test_large_letters_fit_and_are_large(text: str, columns: int, rows: int) -> None:
    drawn = big(text, columns, rows)
    assert drawn
    assert len(drawn) <= rows + 1
    assert max(map(len, drawn)) <= columns
    assert set("".join(drawn)) <= set(BLOCKS)


@pytest.mark.parametrize(
    ("text", "columns", "rows"), [("", 80, 9), ("1 mm", 80, 2), ("x" * 200, 80, 9)]
)
def test_what_cannot_be_large_is_left_to_ordinary_letters(
    text: str, columns: int, rows: int
) -> None:
    assert big(text, columns, rows) == []


def test_without_a_terminal_there_are_lines(
    talk: Inspecting, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert not fits()
    out = io.StringIO()
    terminal = Terminal(Console(file=out, width=100), Console(file=out, width=100))
    board = Board(terminal, talk)
    with board.up(MIC):
        board.show(Level(1.0, -40.0, -30.0, False), MIC)
        board.show(LOST, MIC)
        board.tell("the recogniser crashed")
    assert out.getvalue().splitlines() == [
        "! microphone lost: plug it in again",
        "! the recogniser crashed",
    ]


def test_lines_that_the_screen_hid_are_printed_behind_it(
    talk: Inspecting, monkeypatch: pytest.MonkeyPatch
) -> None:
    from rich.text import Text

    out, terminal_of = io.StringIO(), io.StringIO()
    monkeypatch.setattr(shown_by, "fits", lambda: True)
    monkeypatch.setattr("sys.stderr", terminal_of)
    board = Board(Terminal(Console(file=out, width=100), Console(file=out, width=100)), talk)
    with board.up(MIC):
        board.told(Told(SPOKEN, talk.type("horn works")), Text("horn: sound"))
        board.show(LOST, MIC)
        assert out.getvalue() == ""
    assert out.getvalue().splitlines() == ["horn: sound", "! microphone lost: plug it in again"]
    assert terminal_of.getvalue().endswith("\x1b[?1049l")


def test_a_terminal_that_is_too_small_or_cannot_show_it_gets_lines() -> None:
    assert (NARROWEST, LOWEST) == (40, 12)

    class Shell(io.StringIO):
        encoding = "ascii"

        def isatty(self) -> bool:
            return True

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("sys.stdout", Shell())
        patch.setattr("sys.stderr", Shell())
        assert not fits()
