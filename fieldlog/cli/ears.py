"""What every command that hears shares: which recogniser, and that it says what takes its time."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from fieldlog.grammar.language import Language
    from fieldlog.listeners.worker import Crash
    from fieldlog.shop.ears import Ears

LISTENERS = ("whisper", "vosk", "pocketsphinx", "two-ears")
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
        metavar="NAME",
        callback=_known,
        default="whisper",
        show_default=True,
        help=f"Which recogniser hears: {', '.join(LISTENERS)}, or an added one (fieldlog added list).",
    )
    return listener(model(command))


def _known(context: click.Context, option: click.Parameter, name: str) -> str:
    """The name, if somebody has it: said before anything is begun."""
    from fieldlog.listeners.choose import names

    known = LISTENERS if name in LISTENERS else names()
    if name not in known:
        raise click.BadParameter(f"{name!r} is not one of {', '.join(known)}", context, option)
    return name


@contextmanager
def open_ears(
    language: Language,
    name: str,
    model: Path | None,
    *,
    on_crash: Callable[[Crash], None] | None = None,
) -> Iterator[Ears]:
    """``shop.ears.open_ears``, saying on a terminal what takes its time."""
    from fieldlog.shop import ears

    with ears.open_ears(language, name, model, on_crash=on_crash, loading=loading) as opened:
        yield opened


def loading(what: str) -> AbstractContextManager[object]:
    """Says on a terminal what takes its time; nothing where stderr is not one."""
    from rich.console import Console

    console = Console(stderr=True)
    return console.status(what) if console.is_terminal else nullcontext()
