"""Who holds the phone: reads what the page shows of what they said, and answers on it as a person does.

Their voice is a recording that waits for nobody, so what they answer is pressed or typed. They know what
they meant to say (``live_session.person``): a question about that is affirmed, one about anything else denied;
what was not understood is said again.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from fieldlog.audio.tones import Tone
from fieldlog.lab.live_session.person import AGAIN_S, Line, Reply, reply
from fieldlog.shop.demo import Manifest, expected
from fieldlog.shop.live import Told
from fieldlog.shop.saying import Say, Saying, saying

if TYPE_CHECKING:
    from playwright.sync_api import Page

SLACK_S = 1.2
"""How far an utterance may begin before where the manifest says that it does."""


@dataclass
class Holder:
    """Of one recording; times are seconds of it."""

    part: Manifest
    answered: list[str] = field(default_factory=list)
    """What they pressed or typed."""
    _waiting: dict[str, tuple[float, float, list[Saying]]] = field(default_factory=dict)
    """Line: since when nothing more of it was told, when its words end, what was told of it."""

    def __post_init__(self) -> None:
        """The lines of the recording."""
        nothing = np.zeros(0, np.float32)
        self._lines = [
            Line(
                id=each["id"],
                words=each["words"].replace(" ... ", " "),
                sound=nothing,
                around=nothing,
                means=tuple(one for one in expected(each) if "component" in one),
                is_asked=any(one.get("decision") == "ask" for one in expected(each)),
            )
            for each in self.part["utterances"]
        ]

    def told(self, told: Told, at_s: float, now_s: float) -> None:
        """What became of an utterance that began at ``at_s`` of the recording; ``now_s``: of it too."""
        said = [each for each in self.part["utterances"] if each["start_s"] - SLACK_S <= at_s]
        name, end_s = (said[-1]["id"], said[-1]["end_s"]) if said else (self._lines[0].id, 0.0)
        before = self._waiting.get(name, (0.0, 0.0, []))[2]
        self._waiting[name] = (now_s, end_s, [*before, saying(told.events, Say.VALUES)])

    def due(self, now_s: float) -> list[tuple[Line, Reply]]:
        """What they do now: a line and what they reply to what was told of it last."""
        found: list[tuple[Line, Reply]] = []
        for name, (since_s, end_s, told) in list(self._waiting.items()):
            if now_s < max(since_s, end_s) + AGAIN_S:
                continue  # the rest of what was said may be taken yet
            del self._waiting[name]
            at = next(n for n, line in enumerate(self._lines) if line.id == name)
            line, last = self._lines[at], told[-1]
            what = reply(line, self._lines[:at], last)
            settled = any(one.tone in (Tone.SAVED, Tone.BEYOND) for one in told)
            if what is Reply.AGAIN and settled:
                continue
            if what is Reply.AFFIRM and not last.asks:
                continue  # "confirm": it is saved, and the next line may have been said meanwhile
            if what is not Reply.GOES_ON:
                found.append((line, what))
        return found

    @property
    def waits(self) -> bool:
        """Whether there is something that they have not looked at yet."""
        return bool(self._waiting)

    def answers(self, page: Page, line: Line, what: Reply) -> None:
        """Press or type it on the page."""
        if what is Reply.AFFIRM:
            if not self._presses(page, "affirm"):
                self._types(page, line.words)
            return
        if what is Reply.NEGATIVE and not self._presses(page, "negative"):
            self._types(page, "negative")
        if what is Reply.TAKE_BACK:
            self._types(page, "disregard that")
        self._types(page, line.words)

    def _presses(self, page: Page, answer: str) -> bool:
        button = page.locator("#answers button", has_text=answer)
        if not button.count():
            return False
        button.first.click()
        self.answered.append(answer)
        return True

    def _types(self, page: Page, words: str) -> None:
        page.locator("#words").fill(words)
        page.locator("#type button").click()
        self.answered.append(words)
