"""Numbers that sound like another number (pure).

The teens and the tens differ by a stress, and no recogniser's score tells them apart; "nine" is
what is left of "nine thirty seconds" when the tail is lost; "nine" and "five" share their vowel.
A caller asks when the twin is plausible too.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from fieldlog.quantities import numbers
from fieldlog.quantities.number_words import DENOMINATORS, POINTS, TEEN_TENS
from fieldlog.quantities.numbers import NumberReading


class TwinKind(StrEnum):
    """How one number is taken for another."""

    TEEN_TY = "teen/ty"
    FRACTION_LOST = "fraction lost"
    NINE_FIVE = "nine/five"
    POINT_LOST = "point lost"


_EITHER_WAY = MappingProxyType(dict(TEEN_TENS) | {ty: teen for teen, ty in TEEN_TENS.items()})
_NINE_FIVE = MappingProxyType({"nine": "five", "five": "nine", "niner": "five", "fife": "nine"})


@dataclass(frozen=True, slots=True)
class Twin:
    """Another number that the words could have been: its kind, its words, its reading."""

    kind: TwinKind
    words: tuple[str, ...]
    reading: NumberReading


def twins(
    words: Sequence[str], kinds: Collection[TwinKind] = (TwinKind.TEEN_TY,)
) -> tuple[Twin, ...]:
    """The numbers that ``words`` (a whole number) could be misheard for, by kind.

    Only numbers said in full count as twins: "thirteen five" is none of "thirty five". Empty when
    the words are no number.
    """
    said = tuple(words)
    own = {(r.value, r.high) for r in numbers.readings(said)}
    if not own:
        return ()
    found: dict[tuple[str, ...], Twin] = {}
    for kind, other in _changed(said, kinds):
        for reading in numbers.readings(other):
            if reading.style in numbers.PROPER and (reading.value, reading.high) not in own:
                found.setdefault(other, Twin(kind, other, reading))
    return tuple(found.values())


def _changed(
    words: tuple[str, ...], kinds: Collection[TwinKind]
) -> Iterator[tuple[TwinKind, tuple[str, ...]]]:
    if TwinKind.TEEN_TY in kinds:
        yield from ((TwinKind.TEEN_TY, other) for other in _swapped(words, _EITHER_WAY))
    if TwinKind.FRACTION_LOST in kinds:
        for size in (2, 1):
            if len(words) > size and words[-size:] in DENOMINATORS:
                yield TwinKind.FRACTION_LOST, words[:-size]
                break
    if TwinKind.NINE_FIVE in kinds:
        yield from ((TwinKind.NINE_FIVE, other) for other in _swapped(words, _NINE_FIVE))
    if TwinKind.POINT_LOST in kinds:
        for n, word in enumerate(words):
            if word in POINTS and n:
                yield TwinKind.POINT_LOST, words[:n]


def _swapped(
    words: tuple[str, ...], pairs: MappingProxyType[str, str]
) -> Iterator[tuple[str, ...]]:
    """``words`` with one of the paired words replaced, for each place; then all of them."""
    places = [n for n, word in enumerate(words) if word in pairs]
    for place in places:
        yield (*words[:place], pairs[words[place]], *words[place + 1 :])
    if len(places) > 1:
        yield tuple(pairs.get(word, word) for word in words)
