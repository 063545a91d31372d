"""The seam between sound and words: what every listener (recogniser) owes the rest.

A listener proposes hypotheses; it decides nothing. Every text it returns is parsed again by
``Language.understand`` before anything is believed.
"""

from __future__ import annotations

from typing import Protocol, runtime_checkable

from fieldlog.audio.clip import Clip
from fieldlog.grammar.language import Language
from fieldlog.model.hearing import Hearing


@runtime_checkable
class Listener(Protocol):
    """A recogniser built for one language."""

    name: str

    def load(self, language: Language) -> None:
        """Make ready for ``language``; raises ``ModelError`` or ``GrammarError`` with all causes."""
        ...

    def hear(self, clip: Clip) -> Hearing:
        """Hypotheses for ``clip``, best first. Never raises for odd audio: returns none instead."""
        ...

    def close(self) -> None:
        """Free what the listener holds; calling it twice is harmless."""
        ...
