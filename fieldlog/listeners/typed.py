"""Typed words as hypotheses: a listener without sound, for the keyboard and for tests."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable

from fieldlog.audio.clip import Clip
from fieldlog.errors import ModelError
from fieldlog.grammar.language import Language
from fieldlog.model.hearing import Hearing, Hypothesis


class TypedListener:
    """Hears, clip by clip, the texts that were typed; nothing once they are used up."""

    name = "typed"

    def __init__(self, texts: Iterable[str] = ()) -> None:
        """Queue ``texts`` to be heard in order."""
        self._texts = deque(texts)
        self._language: Language | None = None

    def type(self, text: str) -> None:
        """Queue one more text."""
        self._texts.append(text)

    def load(self, language: Language) -> None:
        """Make ready; there is nothing that can be missing."""
        self._language = language

    def hear(self, clip: Clip) -> Hearing:
        """The next text, whatever the clip sounds like."""
        if self._language is None:
            raise ModelError("nothing is loaded", where=self.name, todo="call load() first")
        text = self._texts.popleft().strip() if self._texts else ""
        return Hearing(self.name, (Hypothesis(text, 0.0),) if text else (), 0.0)

    def close(self) -> None:
        """Forget the language; calling it twice is harmless."""
        self._language = None
