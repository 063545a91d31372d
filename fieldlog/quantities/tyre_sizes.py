"""Tyre sizes, load index and speed symbol as spoken (pure).

Three families: metric ("one twenty seventy z r seventeen" = ``120/70 ZR17``), inch ("three point
zero zero twenty one" = ``3.00-21``) and alphanumeric ("m t ninety b sixteen" = ``MT90B16``), each
optionally followed by load index and speed symbol ("fifty eight w").
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from types import MappingProxyType

from fieldlog.quantities import numbers
from fieldlog.quantities.code_reading import CodeReading, distinct, one_letter, whole_numbers
from fieldlog.quantities.values import Style

Words = tuple[str, ...]
SPEED_SYMBOLS = frozenset("BFJKLMNPQRSTUHVWY")
"""Speed symbols of motorcycle tyres; Z stands in the size (ZR), not behind the load index."""
_RIMS = frozenset(range(8, 24))
_BUILD = MappingProxyType(
    {
        (): "-",
        ("by",): "-",
        ("dash",): "-",
        ("z", "r"): " ZR",
        ("zr",): " ZR",
        ("zed", "r"): " ZR",
        ("zulu", "romeo"): " ZR",
        ("r",): " R",
        ("romeo",): " R",
        ("radial",): " R",
        ("b",): "B",
        ("bravo",): "B",
    }
)
_LETTER_WIDTHS = frozenset({"ML", "MM", "MN", "MP", "MR", "MS", "MT", "MU", "MV", "MH", "MJ"})
"""Alphanumeric width codes of motorcycle tyres (from memory; others are refused)."""


def tyre_sizes(words: Sequence[str]) -> tuple[CodeReading, ...]:
    """Every tyre size that the words can be, in canonical text."""
    said = tuple(words)
    found: list[CodeReading] = []
    for body, tail in _tails(said):
        for size in (*_metric(body), *_inch(body), *_letters(body)):
            found.append(CodeReading(size + (f" {tail}" if tail else ""), said))
    return distinct(found)


def load_speeds(words: Sequence[str]) -> tuple[CodeReading, ...]:
    """ "fifty eight w" -> ``58W``."""
    said = tuple(words)
    return distinct(CodeReading(text, said) for text in _load_speed(said))


def _load_speed(words: Words) -> Iterator[str]:
    for size in (2, 1):
        if len(words) > size:
            symbol = one_letter(words[-size:])
            for number in sorted(whole_numbers(words[:-size])):
                if symbol in SPEED_SYMBOLS and 10 <= number < 130:
                    yield f"{number}{symbol}"


def _tails(words: Words) -> Iterator[tuple[Words, str]]:
    yield words, ""
    for at in range(2, len(words) - 1):
        for tail in _load_speed(words[at:]):
            yield words[:at], tail


def _rim(words: Words) -> Iterator[tuple[str, int]]:
    for build, text in _BUILD.items():
        if words[: len(build)] == build:
            for rim in sorted(whole_numbers(words[len(build) :]) & _RIMS):
                yield text, rim


def _metric(words: Words) -> Iterator[str]:
    for first in range(1, len(words) - 1):
        widths = [w for w in sorted(whole_numbers(words[:first])) if 50 <= w <= 330 and w % 5 == 0]
        if not widths:
            continue
        rest = words[first:]
        rest = rest[1:] if rest[0] in ("slash", "over") else rest
        for second in range(1, len(rest)):
            aspects = [a for a in whole_numbers(rest[:second]) if 35 <= a <= 100 and a % 5 == 0]
            for text, rim in _rim(rest[second:]) if aspects else ():
                for width in widths:
                    yield f"{width}/{aspects[0]}{text}{rim}"


def _inch(words: Words) -> Iterator[str]:
    for at in range(1, len(words)):
        for width in _inch_widths(words[:at]):
            for text, rim in _rim(words[at:]):
                if text == "-":
                    yield f"{width}-{rim}"


def _inch_widths(words: Words) -> Iterator[str]:
    for n in numbers.readings(words):
        if n.high is not None or n.qualifier is not None or n.flags:
            continue
        hundredths = None
        if n.style == Style.DECIMAL:
            hundredths = n.value * 100
        elif n.style in (Style.PAIRS, Style.DIGIT_STRING, Style.INTEGER) and n.value >= 200:
            hundredths = n.value  # "three twenty five eighteen" = 3.25-18
        if hundredths is not None and hundredths.denominator == 1 and 200 <= hundredths <= 600:
            whole, part = divmod(hundredths.numerator, 100)
            yield f"{whole}.{part:02d}"


def _letters(words: Words) -> Iterator[str]:
    width = "".join(one_letter(words[n : n + 1]) for n in range(2))
    rest = words[2:]
    if words and words[0].upper() in _LETTER_WIDTHS:
        width, rest = words[0].upper(), words[1:]
    if width not in _LETTER_WIDTHS:
        return
    for at in range(1, len(rest)):
        for aspect in sorted(whole_numbers(rest[:at])):
            if 35 <= aspect <= 100 and aspect % 5 == 0:
                for text, rim in _rim(rest[at:]):
                    yield f"{width}{aspect}{text.strip()}{rim}"
