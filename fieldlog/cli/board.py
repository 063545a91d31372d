"""What a live session is shown on: the large screen where there is a terminal for it, else lines."""

from __future__ import annotations

import contextlib
import sys
import time
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from rich.text import Text

from fieldlog.audio.health import Notice
from fieldlog.audio.repeated import Repeated

if TYPE_CHECKING:
    from fieldlog.cli.live_screen.showing import Showing
    from fieldlog.cli.terminal import Terminal
    from fieldlog.shop.inspecting import Inspecting
    from fieldlog.shop.live import Happening, Told
    from fieldlog.words.telling import Telling


class Board:
    """Takes everything that is shown, so that nothing is printed across the screen."""

    def __init__(self, terminal: Terminal, inspecting: Inspecting | None = None) -> None:
        """``inspecting``: what the large screen shows; None: lines only."""
        self.terminal = terminal
        self.inspecting = inspecting
        self.words: Callable[[], str] = str
        """What was heard so far of the utterance under way."""
        self.language: Telling | None = None
        """In which language it is shown; None: the reference's."""
        self._screen: Showing | None = None
        self._kept: list[Text] = []
        self._repeated = Repeated(time.monotonic)

    @contextlib.contextmanager
    def up(self, microphone: str) -> Iterator[None]:
        """The screen, as long as the session lasts; what was kept of lines is printed behind it."""
        if self.inspecting is None:
            yield
            for text in self._repeated.rest():
                self.tell(text)
            return
        from fieldlog.cli.live_screen.showing import showing

        try:
            shown = showing(self.inspecting, microphone, self.words, self.language)
            with shown as self._screen:
                yield
        finally:
            self._screen = None
            self._kept += [Text(f"! {text}") for text in self._repeated.rest()]
            for line in self._kept:
                self.terminal.lines.print(line)
            self._kept.clear()

    def tell(self, text: str) -> None:
        """Something the person must know that is no event: a recogniser that crashed."""
        if self._screen is None:
            self.terminal.status.print(f"! {text}", markup=False)
        else:
            self._screen.tell(text)
            self._kept.append(Text(f"! {text}"))

    def told(self, told: Told, line: Text) -> None:
        """What an utterance led to, with its ``line``."""
        if self._screen is None:
            self.terminal.lines.print(line)
            sys.stdout.flush()
        else:
            self._screen.show(told, told.spoken.source)
            self._kept.append(line)

    def show(self, happening: Happening, microphone: str) -> None:
        """A level, or something about the sound from ``microphone``."""
        if self._screen is not None:
            self._screen.show(happening, microphone)
        if isinstance(happening, Notice) and (text := self._repeated.line(happening)):
            if self._screen is None:
                self.tell(text)
            else:
                self._kept.append(Text(f"! {text}"))
