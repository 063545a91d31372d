"""Speech with known answers: spoken orders and spoken digits, each with the grammar they follow."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from fieldlog.benchmarks.noise_mix import Samples
from fieldlog.errors import UsageError
from fieldlog.grammar.tagged import TaggedLanguage
from fieldlog.listeners.base import Language

_DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
DIGITS_JSGF = (
    "#JSGF V1.0;\ngrammar digits;\npublic <digit> = (" + " | ".join(_DIGITS) + ") {digit};\n"
)


@dataclass(frozen=True, slots=True)
class Item:
    """One recording and the slots that must come out of it."""

    path: Path
    slots: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class SpeechSet:
    """Recordings with answers, and how to build their language (each process builds its own)."""

    name: str
    items: tuple[Item, ...]
    language: Callable[[], Language]


def orders(folder: Path) -> SpeechSet:
    """Spoken drink orders: ``labels.json``, ``orders.jsgf`` and ``audio/`` in ``folder``."""
    labels, grammar = folder / "labels.json", folder / "orders.jsgf"
    if not labels.is_file() or not grammar.is_file():
        raise UsageError(
            "no labels.json and orders.jsgf in this folder",
            where=str(folder),
            todo="name the folder of spoken orders with --orders",
        )
    table: dict[str, dict[str, str]] = json.loads(labels.read_text(encoding="utf-8"))
    items = tuple(Item(folder / "audio" / name, slots) for name, slots in sorted(table.items()))
    return SpeechSet("orders", items, _FromFile(grammar))


def digits(folder: Path) -> SpeechSet:
    """Single spoken digits; the file name begins with the digit (``7_speaker_12.flac``)."""
    files = sorted(folder.glob("[0-9]_*.flac"))
    if not files:
        raise UsageError(
            "no files like 7_speaker_12.flac in this folder",
            where=str(folder),
            todo="name the folder of spoken digits with --digits",
        )
    items = tuple(Item(path, {"digit": _DIGITS[int(path.name[0])]}) for path in files)
    return SpeechSet("digits", items, _digits_language)


@dataclass(frozen=True, slots=True)
class _FromFile:
    """Builds the language of a grammar file; picklable, unlike a lambda."""

    path: Path

    def __call__(self) -> Language:
        return TaggedLanguage.from_file(self.path)


def _digits_language() -> Language:
    return TaggedLanguage.from_text(DIGITS_JSGF, "digits.jsgf")


def read(path: Path) -> Samples:
    """The samples of one recording (up to an hour) at 16 kHz."""
    from fieldlog.audio.files import read_clip

    return read_clip(path, longest_s=3600.0).samples
