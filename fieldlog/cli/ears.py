"""What every command that hears needs: a language, a listener made for it, and the doubt module."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from fieldlog.hearing import Heard, Judge
    from fieldlog.listeners.base import Language, Listener
    from fieldlog.listeners.worker import Crash

LISTENERS = ("whisper", "vosk", "pocketsphinx")
CRASHABLE = ("vosk", "pocketsphinx")
"""Listeners whose native decoders have been seen to end the whole process."""

RELOADS = ("whisper",)
"""Listeners that take up another language in a fraction of a second: while a question is open they
are offered the short answers too. The others hear the words of the language they began with."""

_Command = TypeVar("_Command", bound=Callable[..., Any])


def listener_options(command: _Command) -> _Command:
    """Add ``--listener`` and ``--model`` to a command."""
    model = click.option(
        "--model",
        type=click.Path(path_type=Path),
        metavar="DIR",
        help="Model folder for the listener (needed for vosk).",
    )
    listener = click.option(
        "--listener",
        type=click.Choice(LISTENERS),
        default="whisper",
        show_default=True,
        help="Which recogniser hears.",
    )
    return listener(model(command))


@dataclass(frozen=True, slots=True)
class Ears:
    """A listener ready for a language, and what weighs its answers."""

    language: Language
    listener: Listener
    judge: Judge
    judging_for: Callable[[Language], Judge] | None = None
    """The judge for another language; None: the same one for all."""
    reloads: bool = False
    """Whether the listener may be loaded with another language between two utterances."""

    def judging(self, language: Language) -> Judge:
        """What weighs answers heard for ``language``."""
        return self.judge if self.judging_for is None else self.judging_for(language)

    def transcribe(self, heard: Heard) -> str:
        """Free speech as plain words where the listener can, else the words of the grammar."""
        open_words = getattr(self.listener, "transcribe", None)
        if open_words is None:
            return heard.text
        words: str = open_words(heard.clip)
        return words or heard.text


def open_language(grammar: Path | None) -> Language:
    """The inspection language, or the language of a user's own JSGF file."""
    if grammar is not None:
        from fieldlog.grammar.tagged import TaggedLanguage

        return TaggedLanguage.from_file(grammar)
    from fieldlog.inspection_language import InspectionLanguage

    return InspectionLanguage.load()


@contextmanager
def open_ears(
    language: Language,
    name: str,
    model: Path | None,
    *,
    on_crash: Callable[[Crash], None] | None = None,
) -> Iterator[Ears]:
    """Load the listener called ``name`` for ``language``; closed at the end, whatever happens.

    With ``on_crash`` a listener whose library may crash (``CRASHABLE``) runs in a process of its
    own, and every crash of it is told there: it costs one utterance, not the session.

    Raises ``ModelError`` (missing or broken model or library), ``GrammarError`` (words it cannot
    hear, all of them at once) or ``UsageError`` (``FIELDLOG_POLICY``) before any audio is opened.
    """
    from fieldlog.config import policy_name
    from fieldlog.doubt import judge_for, policy_named, shipped_rules
    from fieldlog.listeners.choose import open_listener

    policy = policy_named(policy_name())

    def judging(spoken: Language) -> Judge:
        return judge_for(spoken, shipped_rules(), policy)

    isolated = on_crash is not None and name in CRASHABLE
    listener = open_listener(name, model, isolated=isolated, on_crash=on_crash)
    try:
        with loading(f"making {name} ready"):
            listener.load(language)
        yield Ears(language, listener, judging(language), judging, name in RELOADS)
    finally:
        listener.close()


def loading(what: str) -> AbstractContextManager[object]:
    """Says on a terminal what takes its time; nothing where stderr is not one."""
    from rich.console import Console

    console = Console(stderr=True)
    return console.status(what) if console.is_terminal else nullcontext()
