"""Two ears: Whisper tiny.en as always, and Whisper base for a second opinion of the same sound.

Both have additions trained on shop speech (docs/adapting.md). What the two together are worth is decided
by ``doubt/second.py``; here they only hear.
"""

from __future__ import annotations

from fieldlog.audio.clip import Clip
from fieldlog.grammar.language import Language
from fieldlog.listeners.whisper.folder import ADDED_TO_BASE
from fieldlog.listeners.whisper.languages import folder_of_parts
from fieldlog.listeners.whisper.listener import LANGUAGES, WhisperListener
from fieldlog.model.hearing import Hearing


class TwoEars:
    """A first listener whose hearings are what they always are, and a second for the same clips."""

    name = "two-ears"
    """Its hearings are the first ear's, and carry that one's name."""

    def __init__(self, threads: int = 2) -> None:
        """Nothing is loaded yet."""
        self.first = WhisperListener(threads=threads)
        self.second: WhisperListener | None = None
        self._threads = threads
        self._compares = False

    def load(self, language: Language) -> None:
        """Load both; raises ``ModelError``, also where the second one's weights are not installed.

        A language that the second was not trained for is heard by the first alone.
        """
        self.first.load(language)
        english = getattr(language, "speech", "en") == "en"
        self._compares = english and bool(getattr(language, "in_shop_words", False))
        if not self._compares:
            return
        if self.second is None:
            self.second = WhisperListener(
                folder_of_parts(), threads=self._threads, additions=ADDED_TO_BASE
            )
            self.second.name = LANGUAGES
        self.second.load(language)

    def hear(self, clip: Clip) -> Hearing:
        """What the first ear hears."""
        return self.first.hear(clip)

    def second_opinion(self, clip: Clip) -> Hearing | None:
        """What the second ear hears; None for a language that it was not trained for."""
        return self.second.hear(clip) if self._compares and self.second is not None else None

    def transcribe(self, clip: Clip) -> str:
        """Plain words, by the first ear."""
        return self.first.transcribe(clip)

    def close(self) -> None:
        """Free both; calling it twice is harmless."""
        self.first.close()
        if self.second is not None:
            self.second.close()
        self.second = None
