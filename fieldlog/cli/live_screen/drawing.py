"""The screen of a live session as lines: large what matters, weight and shape, no colour (pure)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from textwrap import wrap

from rich.text import Text

from fieldlog.cli.live_screen.big import big
from fieldlog.cli.live_screen.state import FLOOR_DB, LastFinding, Screen
from fieldlog.cli.signs import ALARM, ASKED, SIGNS, WEIGHTS
from fieldlog.words.telling import say

NOT_SAVED = "not saved yet"
NARROWEST, LOWEST = 40, 12
"""Columns and rows below which there is no screen but lines."""
_LOWEST, _TALLEST = 4, 9
"""Rows of large letters, from the least that is told from ordinary ones to what is enough: as high as a hand at two metres is read with ease."""


@dataclass(frozen=True, slots=True)
class _Block:
    """Something large with a line over it and some below."""

    large: str
    style: str
    over: str = ""
    below: tuple[str, ...] = ()

    def lines(self, columns: int, rows: int) -> list[Text]:
        """At most ``rows`` of them for the large part, as ordinary bold letters where that is too few."""
        drawn = [f" {line}" for line in big(self.large, columns - 2, rows)] or wrap(
            self.large, columns
        )[: max(1, rows)]
        wide = max(map(len, drawn), default=0)
        over = [Text(self.over, "bold")] if self.over else []
        body = [Text(line.ljust(wide + 1), self.style) for line in drawn]
        return [*over, *body, *(Text(line) for line in self.below)]


def lines_of(screen: Screen, columns: int, rows: int) -> list[Text]:
    """Exactly ``rows`` lines of at most ``columns``."""
    head, foot, blocks = _head(screen, columns), _foot(screen, columns), list(_blocks(screen))
    told = [line for text in screen.told for line in wrap(text, columns)][:4]
    around = len(head) + len(foot) + len(told) + bool(told) + len(blocks)
    beside = sum(bool(block.over) + len(block.below) for block in blocks)
    room = rows - around - beside
    share, first = room // max(1, len(blocks)), 0
    if share < _LOWEST:  # too little for all of them to be large: the first, which matters most, is
        share, first = 1, max(0, room - len(blocks))
    body: list[Text] = []
    for number, block in enumerate(blocks):
        high = share + (0 if number else first)
        body += [*block.lines(columns, min(_TALLEST, high)), _rule(columns)]
    body += [Text(line, "italic") for line in told]
    room = rows - len(head) - len(foot)
    body = [*body[:room], *(Text() for _ in range(room - len(body)))]
    lines = [*head, *body, *foot]
    for line in lines:
        line.truncate(columns, overflow="ellipsis")
    return lines


def _blocks(screen: Screen) -> Iterator[_Block]:
    for trouble, text in screen.alarms:
        yield _Block(say(trouble.value if trouble is not None else NOT_SAVED), ALARM, below=(text,))
    if screen.standing_by:
        below = (say("nothing counts until you say go ahead"),)
        yield _Block(say("standing by"), ASKED, below=below)
    if screen.question:
        yield _Block(
            screen.question, ASKED, over=say("asked: {question}", question=screen.asked_of)
        )
    if screen.last is not None:
        yield _finding(screen.last)
    if screen.led and screen.next_item and not screen.question and not screen.standing_by:
        yield _Block(say("next: {item}", item=screen.next_item), "bold")


def _finding(last: LastFinding) -> _Block:
    how = (
        f"{say('withdrawn')}: "
        if last.withdrawn
        else f"{say('corrected')}: "
        if last.corrects
        else ""
    )
    state = last.state
    sign = f"{SIGNS[state]} {last.verdict}  " if state is not None else ""
    danger = f"{say('DANGEROUS')}  " if last.dangerous else ""
    below = f"{danger}{sign}{last.limit}".rstrip()
    large = last.value if state is None else f"{last.value}  {last.short}"
    style = "strike" if last.withdrawn else WEIGHTS[state] if state is not None else ""
    over = f"{how}{last.number}  {last.subject}"
    return _Block(large, style or "bold", over=over, below=(below,) if below else ())


def _head(screen: Screen, columns: int) -> list[Text]:
    right = f"{screen.microphone}  {screen.clock}"
    left = screen.title[: max(0, columns - len(right) - 2)]
    title = Text(f"{left}{' ' * max(1, columns - len(left) - len(right))}{right}", "dim")
    state = say("speech") if screen.speaking else say("listening")
    state = say("standing by") if screen.standing_by else state
    room = columns - 14 - 10
    filled = round(max(0.0, min(1.0, 1.0 - screen.level_db / FLOOR_DB)) * room)
    bar = "█" * filled + "·" * (room - filled)
    loud = f" {say('TOO LOUD')}" if screen.too_loud else ""
    level = Text.assemble((f"{state:<13} ", "bold"), bar, (loud, ALARM))
    newest = screen.hearing[-max(1, columns - 2) :]
    heard = [Text(f"… {newest}", "italic")] if newest else []
    return [title, level, *heard, _rule(columns)]


def _foot(screen: Screen, columns: int) -> list[Text]:
    noun = say("finding" if screen.findings == 1 else "findings")
    findings = f"{screen.findings} {noun}"
    count = sum(number for _, number in screen.left)
    stages = "  ".join(f"{stage} {number}" for stage, number in screen.left)
    nothing = say("nothing is open")
    open_text = say("{count} open: {stages}", count=count, stages=stages) if count else nothing
    way = say("led" if screen.led else "free")
    first = say("next: {item}", item=screen.next_item or nothing)
    return [
        _rule(columns),
        Text(first, "bold"),
        Text(f"{findings}, {way}   {open_text}"),
    ]


def _rule(columns: int) -> Text:
    return Text("─" * columns, "dim")
