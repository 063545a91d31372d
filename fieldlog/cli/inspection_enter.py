"""``fieldlog inspection enter``: what is typed, as arguments or a phrase on each line of standard input."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click
from rich.text import Text

from fieldlog.cli.language_option import language_option
from fieldlog.cli.photos_place import tell_unplaced_yet
from fieldlog.cli.store_option import store_option, workshop
from fieldlog.errors import FieldlogError, PartialError, StoreError, UsageError
from fieldlog.words.english import counted

if TYPE_CHECKING:
    from fieldlog.language.inspection import InspectionLanguage
    from fieldlog.shop.events import Event
    from fieldlog.shop.inspecting import Inspecting

LINES = "-"
"""In the place of words: they are the lines of standard input."""
inspection_option = click.option(
    "--inspection", "key", default="last", help="Number, id or `last`.", show_default=True
)


@click.command()
@click.argument("words", nargs=-1, required=True)
@inspection_option
@store_option
@language_option
def enter(words: tuple[str, ...], key: str, folder: Path | None) -> None:
    """Take WORDS as if they were spoken: findings, a correction, an answer, a command.

    Several findings may be said in one breath: all of them count, or none does. What has to be asked is
    kept, and the next words that are entered may be its answer. Another inspection than the last is named
    with --inspection. With `-` a phrase is read from each line of standard input; what of them was not
    taken is told with its line, and the others count.

    \b
    Examples:
      fieldlog inspection enter rear tread four thirty-seconds
      fieldlog inspection enter "left mirror cracked, right loose and the chain dry"
      fieldlog inspection enter "correction rear tread three thirty-seconds"
      fieldlog inspection enter what is open
      fieldlog inspection enter - < findings.txt
    """
    if words[0] == "last" and len(words) > 1:
        raise UsageError(
            "'last' stands before the words as if it were spoken",
            todo=f"the last inspection is meant anyway: leave it out, or write --inspection last {words[1]} ...",
        )
    with workshop(folder) as shop:
        language = shop.language_for(shop.store.inspection(key))
        inspecting = shop.inspecting(key)
        tell_unplaced_yet(inspecting.record)
        if words == (LINES,):
            _enter_lines(inspecting, language, sys.stdin.buffer)
            return
        events = inspecting.type(" ".join(words))
    _told(events, language)


def _enter_lines(
    inspecting: Inspecting, language: InspectionLanguage | None, lines: Iterable[bytes]
) -> None:
    """Each line as it comes, told at once; raises ``PartialError`` with every line that was not taken.

    Where the record takes nothing any more, that line and all behind it are what was not.
    """
    left: list[str] = []
    full: StoreError | None = None
    for number, line in enumerate(lines, start=1):
        try:
            text = line.decode("utf-8-sig" if number == 1 else "utf-8").strip()
        except UnicodeDecodeError:
            left.append(f"line {number}: it is no text in UTF-8")
            continue
        if not text:
            continue
        if full is not None:
            left.append(f"line {number}: {text!r} was not entered")
            continue
        try:
            _told(inspecting.type(text), language)
        except StoreError as error:
            full = error
            left.append(f"line {number}: {text!r} was not saved: {error.what}")
        except FieldlogError as error:
            left.append(f"line {number}: {error.what}")
    if left:
        told = f"{counted(len(left), 'line')} of standard input not taken: {'; '.join(left)}"
        raise PartialError(
            told, todo=full.todo if full else "enter these lines again, as it is said"
        )


def _told(events: Iterable[Event], language: InspectionLanguage | None) -> None:
    """Print what happened; raises for words that were not taken, which are kept."""
    from fieldlog.shop.events import Faulted, HeldBack, Refused

    for event in events:
        if isinstance(event, Refused):
            raise UsageError(
                f"{event.said.text!r} was not understood: {event.said.understanding.reason}",
                todo="say component, place, and value or condition; the words are kept",
            )
        if isinstance(event, HeldBack):
            raise UsageError(
                f"standing by: {event.said.text!r} is kept and does not count",
                todo="fieldlog inspection enter go ahead, then enter it again",
            )
        if isinstance(event, Faulted):
            raise FieldlogError(
                f"{event.said.text!r} was not taken: {event.said.understanding.reason}",
                todo="enter it again; the words are kept",
            )
        print_event(event, language)


def print_event(event: Event, language: InspectionLanguage | None = None) -> None:
    """One event on stdout; findings with their number, as `inspection show` counts them.

    ``language``: the one that is spoken, where that is another than the reference.
    """
    from fieldlog.cli.event_lines import event_text
    from fieldlog.cli.terminal import Terminal
    from fieldlog.cli.told_lines import told_lines
    from fieldlog.language.other import OtherLanguage
    from fieldlog.shop.events import FindingBroughtBack, FindingCorrected, FindingSaved
    from fieldlog.words.telling import told_in

    if isinstance(language, OtherLanguage):
        with told_in(language.told):
            line = Text("\n").join(told_lines((event,), language))
    else:
        line = event_text(event)
    if isinstance(event, (FindingSaved, FindingCorrected, FindingBroughtBack)):
        line = Text(f"{event.kept.number:>4}  ").append_text(line)
    if line:
        Terminal.here().lines.print(line)
