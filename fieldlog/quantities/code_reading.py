"""What the readers of codes share: the result type, digit strings, spoken letters (pure)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from fieldlog.model.understanding import Flag
from fieldlog.quantities import numbers
from fieldlog.quantities.values import Style

# Letters as said, by the ICAO alphabet (Annex 10 Vol II, from memory) and by name.
LETTERS = MappingProxyType(
    {chr(code): chr(code - 32) for code in range(ord("a"), ord("z") + 1)}
    | {
        word: word[0].upper()
        for word in [
            "alfa",
            "bravo",
            "charlie",
            "delta",
            "echo",
            "foxtrot",
            "golf",
            "hotel",
            "india",
            "juliett",
            "kilo",
            "lima",
            "mike",
            "november",
            "oscar",
            "papa",
            "quebec",
            "romeo",
            "sierra",
            "tango",
            "uniform",
            "victor",
            "whiskey",
            "yankee",
            "zulu",
        ]
    }
    | {"alpha": "A", "juliet": "J", "whisky": "W", "xray": "X", "aitch": "H", "vee": "V"}
    | {"zed": "Z", "zee": "Z", "tee": "T", "are": "R", "ar": "R", "bee": "B", "why": "Y"}
    | {"you": "U", "es": "S", "kay": "K"}
)
"""Word -> letter."""


class CodeKind(StrEnum):
    """Kinds of code, as the catalogue names them."""

    BRAKE_FLUID = "brake fluid grade"
    OIL = "oil grade"
    CHAIN = "chain size"
    DATE_CODE = "date code"
    TYRE_SIZE = "tyre size"
    LOAD_INDEX = "load index"
    SPEED = "speed symbol"
    LOAD_AND_SPEED = "load and speed"
    DATE = "date"


@dataclass(frozen=True, slots=True)
class CodeReading:
    """One reading of a spoken code: its canonical text, the words, what a reviewer should see."""

    text: str
    words: tuple[str, ...]
    flags: tuple[Flag, ...] = ()


def distinct(found: Iterable[CodeReading]) -> tuple[CodeReading, ...]:
    """The readings, each canonical text once, in order."""
    seen: dict[str, CodeReading] = {}
    for reading in found:
        seen.setdefault(reading.text, reading)
    return tuple(seen.values())


_KEPT = frozenset({Flag.LEADING_ZERO})
"""Flags of numbers that are as good a code as any: "oh five twenty one" is the fifth week."""


def whole_numbers(words: tuple[str, ...]) -> set[int]:
    """The numbers that ``words`` can be, as codes and dates have them."""
    return {int(literal) for literal in literals(words)}


def literals(words: tuple[str, ...]) -> set[str]:
    """The digit strings that ``words`` can be: as said digit by digit, in pairs, or in full."""
    found = set()
    for n in numbers.readings(words):
        if n.high is not None or n.qualifier is not None or not _KEPT.issuperset(n.flags):
            continue
        if n.value < 0:  # the digits alone would drop its sign
            continue
        if n.digits is not None:
            found.add(n.digits)
        elif n.style == Style.INTEGER and n.value >= 0:
            found.add(str(n.value.numerator))
    return found


def one_letter(words: tuple[str, ...]) -> str:
    """The letter that the words name; "" when they name none."""
    if words == ("double", "u") or words == ("double", "you"):
        return "W"
    if words == ("x", "ray"):
        return "X"
    return LETTERS.get(words[0], "") if len(words) == 1 else ""
