"""Speech with known answers: spoken orders and spoken digits, each with the grammar they follow."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from numpy.random import Generator

from fieldlog.errors import UsageError
from fieldlog.grammar.language import Language
from fieldlog.grammar.tagged import TaggedLanguage
from fieldlog.lab.benchmarks.noise_mix import Samples, excerpt, mix
from fieldlog.model.understanding import Understanding
from fieldlog.quantities.number_words import PLAIN_DIGITS

_DIGITS = ("zero", *PLAIN_DIGITS)
DIGITS_JSGF = (
    "#JSGF V1.0;\ngrammar digits;\npublic <digit> = (" + " | ".join(_DIGITS) + ") {digit};\n"
)


@dataclass(frozen=True, slots=True)
class Item:
    """One recording and what must come out of it."""

    path: Path
    slots: Mapping[str, str] = field(default_factory=dict)
    """Slots that must be filled, exactly (orders and digits)."""
    words: str = ""
    """What was said, where meaning is compared (inspection)."""
    negative: bool = False
    """Nothing may be accepted from it."""

    def sound(self, noise: Samples | None, ratio: float | None, rng: Generator) -> Samples:
        """Samples at 16 kHz, with ``noise`` mixed in over the whole clip at ``ratio`` dB."""
        clean = read(self.path)
        if ratio is None or noise is None:
            return clean
        return mix(clean, excerpt(noise, len(clean), rng), ratio)

    def is_right(self, understanding: Understanding, language: Language) -> bool:
        """Whether this is what was said."""
        return dict(understanding.slots) == dict(self.slots)


@dataclass(frozen=True, slots=True)
class InspectionItem(Item):
    """An utterance of the generated inspection set, which brings its own noise."""

    source: InspectionSet | None = None
    key: str = ""

    def sound(self, noise: Samples | None, ratio: float | None, rng: Generator) -> Samples:
        """Samples at 16 kHz with the set's own noise over the spoken part."""
        assert self.source is not None
        return self.source.sound(self.key, ratio)

    def is_right(self, understanding: Understanding, language: Language) -> bool:
        """Same meaning as the words that were said."""
        return not self.negative and language.meaning(understanding.text) == language.meaning(
            self.words
        )


class InspectionSet:
    """The generated set, opened in each process when it is first needed (so it can be sent)."""

    def __init__(self, folder: Path) -> None:
        """``folder`` as ``python -m fieldlog.lab speech-set`` made it."""
        self.folder = folder

    def sound(self, key: str, ratio: float | None) -> Samples:
        """One utterance at ``ratio`` dB, or clean."""
        opened, items = _opened(self.folder)
        samples: Samples = opened.noisy(items[key], ratio)
        return samples


@lru_cache(maxsize=1)
def _opened(folder: Path) -> tuple[Any, dict[str, Any]]:
    from fieldlog.lab.speech_set.items import SpeechSet as Generated

    opened = Generated(folder)
    return opened, {item.id: item for item in opened.items}


@dataclass(frozen=True, slots=True)
class SpeechSet:
    """Recordings with answers, and how to build their language (each process builds its own)."""

    name: str
    items: tuple[Item, ...]
    language: Callable[[], Language]
    own_noise: bool = False
    """Whether it brings its own noise."""
    ratios: tuple[float, ...] = (12.0, 6.0)
    """Ratios in dB its targets are given for."""


def inspection(folder: Path, part: str = "test") -> tuple[SpeechSet, SpeechSet]:
    """The generated inspection set: what must be heard, and what nothing may come of."""
    from fieldlog.lab.speech_set.items import SpeechSet as Generated

    source = InspectionSet(folder)
    spoken: list[Item] = []
    negative: list[Item] = []
    for item in Generated(folder).part(part):
        made = InspectionItem(
            path=folder / item.file,
            words=item.words,
            negative=item.is_negative,
            source=source,
            key=item.id,
        )
        (negative if item.is_negative else spoken).append(made)
    ratios = (15.0, 10.0)
    return (
        SpeechSet("inspection", tuple(spoken), inspection_language, True, ratios),
        SpeechSet("not for it", tuple(negative), inspection_language, True, ratios),
    )


def inspection_language() -> Language:
    """The language that ships with fieldlog."""
    from fieldlog.language.files import load_language

    return load_language()


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
