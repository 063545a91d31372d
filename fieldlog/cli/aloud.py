"""What ``listen`` tells aloud, and what takes its own voice out of the microphone again."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from fieldlog.audio.capture import Cleans
    from fieldlog.cli.terminal import Terminal
    from fieldlog.shop.mouth import Mouth

NOTHING, VALUES = "nothing", "values"
_Command = TypeVar("_Command", bound=Callable[..., Any])


def say_option(command: _Command) -> _Command:
    """Add ``--say`` to a command."""
    option = click.option(
        "--say",
        "how",
        type=click.Choice([NOTHING, "tones", VALUES, "everything"]),
        help="What is told aloud.  [default: values with a microphone, else nothing]",
    )
    return option(command)


@dataclass(frozen=True, slots=True)
class Aloud:
    """What tells aloud, and what takes that out of the microphone again."""

    mouth: Mouth
    echo: Cleans | None


@contextmanager
def telling(
    terminal: Terminal, how: str, notes: Path | None = None, language: object = None
) -> Iterator[Aloud | None]:
    """What tells aloud; None, with a notice, where nothing can be played: the session goes on.

    ``notes``: a file of what was played when. ``language``: what is spoken; another than the reference is
    said by the extra voice alone.
    """
    from fieldlog.audio.echo import EchoCanceller
    from fieldlog.audio.loudspeaker import Loudspeaker
    from fieldlog.audio.voice import bundled_voice
    from fieldlog.errors import AudioError
    from fieldlog.language.other import OtherLanguage
    from fieldlog.shop.mouth import Mouth
    from fieldlog.shop.other_voice import OtherVoice
    from fieldlog.shop.saying import Say

    def notice(text: str) -> None:
        terminal.status.print(f"! {text}", markup=False)

    with contextlib.ExitStack() as stack:
        aloud = voice = echo = None
        try:
            speaker = stack.enter_context(Loudspeaker())
        except AudioError as error:
            notice(f"nothing is said aloud: {error}")
        else:
            there = language if isinstance(language, OtherLanguage) else None
            if there is None:
                try:
                    voice = bundled_voice()
                except AudioError as error:
                    notice(f"tones alone: {error}")
            elif not OtherVoice.is_there() and how != "tones":
                notice(
                    "tones alone: the voice of the package speaks English; pip install 'fieldlog[speak]' for others"
                )
            try:
                echo = EchoCanceller(speaker.playback)
            except ImportError as error:
                notice(f"use a headset, its own voice stays in the microphone: {error}")
            speaks = how not in (NOTHING, "tones") and OtherVoice.is_there()
            other = stack.enter_context(OtherVoice()) if speaks else None
            mouth = Mouth(Say(how), speaker, voice, other=other, kept=notes, language=there)
            aloud = Aloud(mouth, echo)
        yield aloud
