"""Number words -> every exact value they can mean (pure).

A stretch of words is read as a whole or not at all: one word that is no number word rejects it.
Nothing is rounded, guessed or summed; where the words can mean two things, both are returned and
the caller (who knows the characteristic) filters or asks.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import combinations

from fieldlog.model.finding import Qualifier
from fieldlog.model.understanding import Flag
from fieldlog.quantities.number_words import (
    AFTER,
    DENOMINATORS,
    HOMOPHONES,
    MINUS,
    NUMBER_WORDS,
    POINTS,
    QUALIFIERS,
)
from fieldlog.quantities.values import (
    PROPER,
    NumberReading,
    Style,
    values,
)

__all__ = [
    "PROPER",
    "NumberReading",
    "readings",
    "why_not",
]

Words = tuple[str, ...]

_LINKS = frozenset({"to", "through", "till", "until", "or"})
_LONGEST = 36
"""Words; no number anybody says is longer, and reading stays quick for garbage."""


def readings(words: Sequence[str]) -> tuple[NumberReading, ...]:
    """Every meaning of a complete stretch of number words; empty when they are no number."""
    return _readings(tuple(words))


def why_not(words: Sequence[str]) -> str:
    """Why ``readings`` is empty, in words for the speaker; "" when it is not."""
    if readings(words):
        return ""
    if not words:
        return "no number was said"
    unknown = [word for word in words if word not in NUMBER_WORDS]
    said = " ".join(words)
    if unknown:
        return f"not a number: {said!r} ({unknown[0]!r} is no number word)"
    return f"not a number: {said!r}"


@lru_cache(maxsize=4096)
def _readings(words: Words) -> tuple[NumberReading, ...]:
    if not words or len(words) > _LONGEST or any(word not in _ALL_WORDS for word in words):
        return ()
    found = _qualified(words)
    if found:
        return _distinct(found)
    # A listener's homophone counts only where nothing else gives a number: "two to three" is a
    # range, "to" alone in a number slot is 2.
    places = [n for n, word in enumerate(words) if word in HOMOPHONES]
    for count in range(1, min(len(places), 3) + 1):
        for chosen in combinations(places, count):
            swapped = tuple(
                HOMOPHONES[word] if n in chosen else word for n, word in enumerate(words)
            )
            found += [_flag(reading, Flag.HOMOPHONE) for reading in _qualified(swapped)]
        if found:
            break
    return _distinct(found)


def _qualified(words: Words) -> list[NumberReading]:
    for size in (4, 3, 2, 1):
        head, tail = words[:size], words[-size:]
        if len(words) > size and head in QUALIFIERS and head not in AFTER:
            return [_qualify(r, QUALIFIERS[head]) for r in _stretch(words[size:])]
        if len(words) > size and tail in AFTER:
            return [_qualify(r, QUALIFIERS[tail]) for r in _stretch(words[:-size])]
    return _stretch(words)


def _stretch(words: Words) -> list[NumberReading]:
    return [*values(words), *_ranges(words)]


# --- ranges ----------------------------------------------------------------------------------


def _ranges(words: Words) -> Iterator[NumberReading]:
    if words[0] == "between":
        links, inner = frozenset({"and", "to"}), words[1:]
    elif words[0] == "from":
        links, inner = _LINKS - {"or"}, words[1:]
    else:
        links, inner = _LINKS, words
    for n, word in enumerate(inner):
        if word in links and 0 < n < len(inner) - 1:
            for reading in _range(inner[:n], inner[n + 1 :]):
                yield _flag(reading, Flag.EITHER) if word == "or" else reading


def _range(left: Words, right: Words) -> Iterator[NumberReading]:
    highs = [r for r in values(right) if r.style != Style.REPAIR]
    lows = [r for r in values(left) if r.style != Style.REPAIR]
    short = list(_elliptical(left, right, lows, highs))
    pairs = [(low, high) for low in lows for high in highs]
    if left and left[0] in MINUS and right[0] not in MINUS:
        # "minus two to three": up to plus three, or down to minus three
        pairs += [(replace(high, value=-high.value), low) for low, high in pairs]
    if short:
        pairs = [(low, high) for low, high in pairs if low.value < high.value]
    for low, high in [*pairs, *short]:
        compact = {
            r.style for r in (low, high) if r.style in (Style.COMPACT_VOLTS, Style.COMPACT_GRAVITY)
        }
        shorthand = {r.style for r in (low, high) if r.style in (Style.DIGIT_STRING, Style.PAIRS)}
        if len(compact) > 1 or (compact and shorthand):
            continue
        style = next(iter(compact), next(iter(sorted(shorthand)), high.style))
        ends = sorted((low.value, high.value))
        flags = tuple(sorted({*low.flags, *high.flags}))
        if low.value >= high.value:
            flags = (*flags, Flag.REVERSED if low.value > high.value else Flag.EQUAL_ENDS)
        yield NumberReading(
            ends[0],
            ends[1],
            style=style,
            denominator=high.denominator,
            places=high.places if high.places == low.places else None,
            flags=flags,
        )


def _elliptical(
    left: Words,
    right: Words,
    lows: list[NumberReading],
    highs: list[NumberReading],
) -> Iterator[tuple[NumberReading, NumberReading]]:
    """Ranges whose first end borrows from the second, or the second from the first.

    "two to three thirty seconds" = 2/32..3/32; "two to three hundred" = 200..300; "point two to
    three" = 0.2..0.3; "twelve point four to six" = 12.4..12.6. "Point oh oh eight to fifteen" borrows
    nothing: 0.15 and 0.015 are as likely.
    """
    for tail_size in (2, 1):
        tail = right[-tail_size:]
        if len(right) <= tail_size:
            continue
        scaled = tail in (("hundred",), ("thousand",)) and all(low.value < 10 for low in lows)
        if (tail in DENOMINATORS or scaled) and all(low.style == Style.INTEGER for low in lows):
            yield from (
                (a, b)
                for a in values(left + tail)
                for b in highs
                if a.style == b.style
                and a.style in (Style.FRACTION, Style.INTEGER)
                and a.value < b.value
            )
            return
    point = next((n for n, word in enumerate(left) if word in POINTS), None)
    if point is not None and len(right) == 1:
        whole = left[: point + 1]
        yield from (
            (a, b)
            for a in lows
            for b in values(whole + right)
            if a.style == b.style == Style.DECIMAL and a.places == b.places and a.value < b.value
        )


# --- helpers ---------------------------------------------------------------------------------

_ALL_WORDS = NUMBER_WORDS | _LINKS


def _flag(reading: NumberReading, flag: Flag) -> NumberReading:
    if flag in reading.flags:
        return reading
    return replace(reading, flags=(*reading.flags, flag))


def _qualify(reading: NumberReading, qualifier: Qualifier | None) -> NumberReading:
    return reading if qualifier is None else replace(reading, qualifier=qualifier)


def _distinct(found: Iterable[NumberReading]) -> tuple[NumberReading, ...]:
    seen: dict[tuple[object, ...], NumberReading] = {}
    for reading in found:
        key = (reading.value, reading.high, reading.qualifier, reading.style)
        seen.setdefault(key, reading)
    return tuple(seen.values())
