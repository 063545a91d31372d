"""One spoken value, without ranges and qualifiers: every way it can be meant (pure)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from functools import lru_cache

from fieldlog.model.finding import Qualifier
from fieldlog.model.understanding import Flag
from fieldlog.quantities import cardinals as card
from fieldlog.quantities.number_words import (
    DENOMINATORS,
    MINUS,
    NOTHINGS,
    POINTS,
    RADIO_DIGITS,
    SCALES,
    TEENS,
    ZEROS,
)

Words = tuple[str, ...]


class Style(StrEnum):
    """How a number was said."""

    INTEGER = "integer"
    DECIMAL = "decimal"
    FRACTION = "fraction"
    MIXED = "mixed"
    DIGIT_STRING = "digits"
    """One by one: "two four oh seven"."""
    PAIRS = "pairs"
    """In twos: "twenty five oh one"."""
    COMPACT_VOLTS = "compact volts"
    """The point left out: "twelve six"."""
    COMPACT_GRAVITY = "compact gravity"
    """Thousandths: "twelve sixty five" = 1.265."""
    REPAIR = "repair"
    """One of two numbers said in a row."""


PROPER = frozenset({Style.INTEGER, Style.DECIMAL, Style.FRACTION, Style.MIXED})
"""Styles that say a number in full; the others are shorthand or a slip."""
_SAID_EITHER_WAY = frozenset({2, 3, 4, 5, 8, 16, 32, 64})
""" "A hundred and one quarter" is 100 1/4 or 101 quarters; of hundredths and thousandths there are
hundreds ("a hundred and twenty five thousandths"), and 100.025 of nothing is measured."""
DOUBTFUL = frozenset(
    (
        *(Flag.TWO_NUMBERS, Flag.NO_AND, Flag.EQUAL_ENDS, Flag.REVERSED),
        *(Flag.LEADING_ZERO, Flag.EITHER_AND),
    )
)
"""Flags of readings that are never accepted without a question, even where no other is left:
"two nineteen millimetres" is not 2 mm because 19 mm would be too thick."""


@dataclass(frozen=True, slots=True)
class NumberReading:
    """One meaning of number words.

    ``high`` is the upper end of a range. ``digits`` keeps the literal digit string,
    ``places`` the decimals spoken, ``denominator`` that of a spoken fraction. ``flags``:
    ``HOMOPHONE``, ``AGREEMENT``, ``EITHER`` and those of ``DOUBTFUL``.
    """

    value: Fraction
    high: Fraction | None = None
    qualifier: Qualifier | None = None
    style: Style = Style.INTEGER
    denominator: int | None = None
    places: int | None = None
    digits: str | None = None
    flags: tuple[Flag, ...] = ()


@lru_cache(maxsize=4096)
def values(words: Words) -> tuple[NumberReading, ...]:
    """Every meaning of ``words`` as one value, with its sign; empty when it has none."""
    if words and words[0] in MINUS:
        return tuple(replace(r, value=-r.value) for r in _positive(words[1:]))
    return tuple(_positive(words))


def _positive(words: Words) -> list[NumberReading]:
    if not words:
        return []
    proper = _proper(words)
    found = [*proper, *_strings(words)]
    found += _compact(words, found)
    found += _in_thousands(words)
    if not proper:
        found += _repairs(words)
        found += _mixed(words, joined=False)
    return found


@lru_cache(maxsize=4096)
def _proper(words: Words) -> tuple[NumberReading, ...]:
    parts, mixed = tuple(_fraction(words)), tuple(_mixed(words))
    if mixed and any(part.denominator in _SAID_EITHER_WAY for part in parts):
        parts, mixed = _doubted(parts, Flag.EITHER_AND), _doubted(mixed, Flag.EITHER_AND)
    return (*_integer(words), *_decimal(words), *parts, *mixed)


def _doubted(found: Iterable[NumberReading], flag: Flag) -> tuple[NumberReading, ...]:
    return tuple(replace(one, flags=(*one.flags, flag)) for one in found)


def _integer(words: Words) -> Iterator[NumberReading]:
    value = card.cardinal(words)
    if value is None and len(words) == 1 and words[0] in NOTHINGS:
        value = 0
    if value is not None:
        yield NumberReading(Fraction(value), style=Style.INTEGER)


def _whole(words: Words) -> int | None:
    """The part before a point or an *and*: in full, or digit by digit, or in pairs."""
    if len(words) == 1 and words[0] in ZEROS:
        return 0
    value = card.cardinal(words)
    if value is None:
        literal = card.digit_string(words) or card.pair_string(words)
        value = int(literal) if literal else None
    return value


def _decimal(words: Words) -> Iterator[NumberReading]:
    scale = dict(SCALES).get(words[-1]) if words else None
    if scale:
        for reading in (*_decimal(words[:-1]), *_mixed(words[:-1])):
            yield replace(reading, value=reading.value * scale, places=None, denominator=None)
        return
    points = [n for n, word in enumerate(words) if word in POINTS]
    if len(points) != 1:
        return
    left, right = words[: points[0]], words[points[0] + 1 :]
    whole = _whole(left) if left else 0
    places = card.decimal_string(right)
    if whole is not None and places:
        value = whole + Fraction(int(places), 10 ** len(places))
        yield NumberReading(value, style=Style.DECIMAL, places=len(places))


def _fraction(words: Words) -> Iterator[NumberReading]:
    for size in (2, 1):
        denominator, plural = DENOMINATORS.get(words[-size:], (0, False))
        if not denominator or len(words) < size:
            continue
        top = words[:-size]
        for numerator in _numerators(top, denominator, plural):
            # "three quarter turn", "five eighth inch" are good English; "four thirty second" is a
            # word cut short, and worth a look.
            slip = denominator in (32, 64) and plural != (numerator != 1)
            flags = (Flag.AGREEMENT,) if slip else ()
            if not plural and "and" not in top and _is_no_part(numerator, denominator):
                # "thirty two half": nobody counts 32 halves so; 32 1/2 whose *and a* was lost
                flags = (*flags, Flag.NO_AND)
                lost = numerator + Fraction(1, denominator)
                yield NumberReading(lost, style=Style.MIXED, denominator=denominator, flags=flags)
            yield NumberReading(
                numerator / denominator, style=Style.FRACTION, denominator=denominator, flags=flags
            )


def _is_no_part(numerator: Fraction, denominator: int) -> bool:
    """Whether nobody says so many of such parts in the singular: "three half", "two quarter".

    Thirty seconds and sixty fourths are counted as they are on the gauge, tenths and less likewise.
    """
    if numerator >= denominator:
        return True
    reducible = (numerator / denominator).denominator != denominator
    return denominator in (2, 4, 8, 16) and numerator.denominator == 1 and reducible


def _numerators(top: Words, denominator: int, plural: bool) -> Iterator[Fraction]:
    if not top:
        if not plural and denominator in (2, 4, 8, 16):
            yield Fraction(1)
    elif top in (("a",), ("an",)):
        if not plural:
            yield Fraction(1)
    elif len(top) == 1 and top[0] in NOTHINGS:
        yield Fraction(0)
    else:
        value = card.cardinal(top)
        if value is not None:
            yield Fraction(value)
        if denominator >= 8 and plural:
            halves = (*_decimal(top), *(m for m in _mixed(top) if m.denominator == 2))
            yield from (half.value for half in halves)


def _mixed(words: Words, joined: bool = True) -> Iterator[NumberReading]:
    for n in range(1, len(words)):
        if joined and words[n] != "and":
            continue
        left, right = words[:n], words[n + 1 if joined else n :]
        whole = _whole(left) if joined else card.cardinal(left)
        if not whole or not right:
            continue
        for part in _fraction(right):
            small = part.denominator is not None and part.denominator <= 64
            if 0 < part.value < 1 and (joined or (small and len(right) > 1)):
                flags = part.flags if joined else (*part.flags, Flag.NO_AND)
                yield replace(part, value=whole + part.value, style=Style.MIXED, flags=flags)


def _strings(words: Words) -> Iterator[NumberReading]:
    if len(words) < 2:
        return
    literal, style = card.digit_string(words), Style.DIGIT_STRING
    if not literal:
        literal, style = card.pair_string(words), Style.PAIRS
    if not literal:
        return
    whole = NumberReading(Fraction(int(literal)), style=style, digits=literal)
    if literal[0] != "0":
        yield whole
        return
    # "zero five": 5, or 0.5 whose point was left out
    places = len(literal) - 1
    part = NumberReading(Fraction(int(literal), 10**places), style=Style.DECIMAL, places=places)
    yield from _doubted((whole, part), Flag.LEADING_ZERO)


def _in_thousands(words: Words) -> Iterator[NumberReading]:
    """ "twenty three four fifty" for 23,450, as a clock is read out: always asked about."""
    for n in (1, 2):
        whole = card.below_hundred(words[:n])
        rest = card.pair_string(words[n:])
        hundreds = words[n : n + 1] and words[n] in card.DIGIT_WORDS
        if whole is not None and whole >= 10 and hundreds and len(rest) == 3:
            value = Fraction(whole * 1000 + int(rest))
            yield NumberReading(value, style=Style.REPAIR, flags=(Flag.TWO_NUMBERS,))


def _compact(words: Words, found: Iterable[NumberReading]) -> Iterator[NumberReading]:
    whole, rest = card.leading_pair(words)
    if whole is not None and rest and not (len(rest) == 1 and rest[0] in ZEROS):
        places = card.decimal_string(rest)
        if places and len(places) <= 2:
            value = whole + Fraction(int(places), 10 ** len(places))
            # "twelve thirteen": 12.13, or twelve put right to thirteen
            slip = (Flag.TWO_NUMBERS,) if rest[0] in TEENS else ()
            yield NumberReading(value, style=Style.COMPACT_VOLTS, places=len(places), flags=slip)
    for reading in found:
        if (
            reading.style in (Style.INTEGER, Style.DIGIT_STRING, Style.PAIRS)
            and 1000 <= reading.value < 2000
        ):
            yield NumberReading(reading.value / 1000, style=Style.COMPACT_GRAVITY, places=3)


def _repairs(words: Words) -> Iterator[NumberReading]:
    """Two whole numbers in a row: the second may correct the first, so each is a reading."""
    for n in range(1, len(words)):
        left, right = words[:n], words[n:]
        if _conventional(left, right):
            continue
        for one in _proper(left):
            for other in _proper(right):
                yield replace(one, style=Style.REPAIR, flags=(*one.flags, Flag.TWO_NUMBERS))
                yield replace(other, style=Style.REPAIR, flags=(*other.flags, Flag.TWO_NUMBERS))


def _conventional(left: Words, right: Words) -> bool:
    """Whether the two are one number by convention, so that no slip is to be suspected.

    A zero word or a radiotelephony digit says that digits are being read out; "one twenty", "three
    fifty" is how hundreds are said.
    """
    both = left + right
    if any(len(part) == 1 and part[0] in ZEROS for part in (left, right)):
        return True
    if len(both) <= 3 and any(word in ZEROS or word in RADIO_DIGITS for word in both):
        return True
    tens = card.cardinal(right)
    return len(left) == 1 and left[0] in card.DIGIT_WORDS and tens is not None and 20 <= tens < 100
