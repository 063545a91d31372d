"""A live session on the screen: what happens changes what stands there."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from fieldlog.audio.capture import Level
from fieldlog.audio.health import Notice
from fieldlog.cli.live_screen.drawing import LOWEST, NARROWEST, lines_of
from fieldlog.cli.live_screen.painter import Painter
from fieldlog.cli.live_screen.state import Screen
from fieldlog.shop.live import Told
from fieldlog.words.telling import say, told_in

if TYPE_CHECKING:
    from fieldlog.shop.inspecting import Inspecting
    from fieldlog.shop.live import Happening
    from fieldlog.words.telling import Telling


class Showing:
    """Takes what happens and paints it."""

    def __init__(
        self,
        painter: Painter,
        inspecting: Inspecting,
        microphone: str,
        words: Callable[[], str] = str,
        language: Telling | None = None,
    ) -> None:
        """``inspecting``: whose walk and questions are shown; ``words``: what is heard of an utterance so far;
        ``language``: in which it is shown, None: the reference's.
        """
        head = inspecting.head
        self._painter = painter
        self._inspecting = inspecting
        self._words = words
        self._language = language
        with told_in(language):
            title = say(
                "inspection {number}  {vehicle}", number=head.number, vehicle=head.vehicle_name
            )
        findings = sum(each.stands for each in inspecting.record.findings)
        self.screen = Screen(title, microphone, findings=findings)
        self._walk()
        self._paint()

    def show(self, happening: Happening, microphone: str) -> None:
        """``microphone``: what is heard now."""
        with told_in(self._language):
            self._show(happening, microphone)

    def _show(self, happening: Happening, microphone: str) -> None:
        if isinstance(happening, Level):
            self.screen = self.screen.with_level(happening, self._words())
            if self._painter.is_due():
                self._paint()
            return
        if isinstance(happening, Notice):
            self.screen = self.screen.with_notice(happening, microphone)
        elif isinstance(happening, Told):
            self.screen = self.screen.with_told(happening)
            self._walk()
        self._paint()

    def tell(self, text: str) -> None:
        """Something that is no event of the inspection: until the next utterance."""
        self.screen = replace(self.screen, told=(*self.screen.told, text))
        self._paint()

    def _walk(self) -> None:
        conversation = self._inspecting.conversation
        with told_in(self._language):
            self.screen = self.screen.with_walk(
                self._inspecting.scene.left,
                conversation.waiting,
                standing_by=conversation.standing_by,
            )

    def _paint(self) -> None:
        with told_in(self._language):
            self._painter.paint(lines_of(self.screen, *self._painter.size))


@contextlib.contextmanager
def showing(
    inspecting: Inspecting,
    microphone: str,
    words: Callable[[], str] = str,
    language: Telling | None = None,
) -> Iterator[Showing | None]:
    """The screen, where both streams are one terminal that is large enough; None elsewhere."""
    if not fits():
        yield None
        return
    with Painter(sys.stderr) as painter:
        yield Showing(painter, inspecting, microphone, words, language)


def fits() -> bool:
    """Whether there is a terminal for a screen: large enough, and able to show its signs."""
    if not (sys.stdout.isatty() and sys.stderr.isatty()):
        return False
    columns, rows = Painter(sys.stderr).size
    try:
        "█▟·─…".encode(sys.stderr.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return columns >= NARROWEST and rows >= LOWEST
