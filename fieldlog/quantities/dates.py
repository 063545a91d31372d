"""Spoken dates -> ISO 8601 text, with every reading (pure).

``2027-03-05`` for a day, ``2027-03`` for a month, ``--03-05`` for a day whose year was not said.
Years are said with four digits, 1980 to 2079; a two-digit year is not guessed.
"""

from __future__ import annotations

import calendar
from collections.abc import Iterator, Sequence
from datetime import date

from fieldlog.model.understanding import Flag
from fieldlog.quantities.code_reading import CodeReading, distinct, literals, whole_numbers

Words = tuple[str, ...]
_MONTHS = {
    name: n
    for n, name in enumerate(
        [
            "january",
            "february",
            "march",
            "april",
            "may",
            "june",
            "july",
            "august",
            "september",
            "october",
            "november",
            "december",
        ],
        start=1,
    )
}
MONTHS = tuple(_MONTHS)
_ORDINALS = {
    tuple(text.split()): n
    for n, text in enumerate(
        [
            "first",
            "second",
            "third",
            "fourth",
            "fifth",
            "sixth",
            "seventh",
            "eighth",
            "ninth",
            "tenth",
            "eleventh",
            "twelfth",
            "thirteenth",
            "fourteenth",
            "fifteenth",
            "sixteenth",
            "seventeenth",
            "eighteenth",
            "nineteenth",
            "twentieth",
            "twenty first",
            "twenty second",
            "twenty third",
            "twenty fourth",
            "twenty fifth",
            "twenty sixth",
            "twenty seventh",
            "twenty eighth",
            "twenty ninth",
            "thirtieth",
            "thirty first",
        ],
        start=1,
    )
}
DATE_WORDS = frozenset(_MONTHS).union(*_ORDINALS)
"""Words of a date that are no numbers."""
YEARS = range(1980, 2080)
_SHORTEST = 2013
"""Two figures behind a month that are no month themselves may be a year; below they are a day."""


def dates(words: Sequence[str]) -> tuple[CodeReading, ...]:
    """Every date that the words can be; impossible ones (30 February) are left out."""
    said = tuple(words)
    found = [*_with_month_name(said), *_in_figures(said)]
    return distinct(CodeReading(text, said, flags) for text, flags in found)


def _with_month_name(words: Words) -> Iterator[tuple[str, tuple[Flag, ...]]]:
    at = next((n for n, word in enumerate(words) if word in _MONTHS), None)
    if at is None:
        return
    month = _MONTHS[words[at]]
    before, after = words[:at], words[at + 1 :]
    before = before[1:] if before[:1] == ("the",) else before
    before = before[:-1] if before[-1:] == ("of",) else before
    if before:
        for day in _days(before):
            yield from _day_in(day, month, after)
        return
    years = _years(after)
    for year in years or _short_years(after):
        yield f"{year}-{month:02d}", ()
    after = after[1:] if after[:1] == ("the",) else after
    for cut in range(1, len(after) + 1):
        for day in _days(after[:cut]):
            yield from _day_in(day, month, after[cut:], short=not years)


def _day_in(
    day: int, month: int, rest: Words, short: bool = True
) -> Iterator[tuple[str, tuple[Flag, ...]]]:
    """``short``: whether the year may be said in two digits."""
    if not rest:
        if day <= calendar.monthrange(2000, month)[1]:
            yield f"--{month:02d}-{day:02d}", (Flag.NO_YEAR,)
        return
    for year in _years(rest) or (_short_years(rest) if short else ()):
        yield from _valid(year, month, day)


def _valid(year: int, month: int, day: int) -> Iterator[tuple[str, tuple[Flag, ...]]]:
    if 1 <= month <= 12 and 1 <= day <= calendar.monthrange(year, month)[1]:
        yield date(year, month, day).isoformat(), ()


def _in_figures(words: Words) -> Iterator[tuple[str, tuple[Flag, ...]]]:
    """ "zero five slash zero three slash two zero two seven": day first and month first, both."""
    cuts = [n for n, word in enumerate(words) if word == "slash"]
    if len(cuts) == 1:
        yield from _of_two(words[: cuts[0]], words[cuts[0] + 1 :])
    if len(cuts) != 2:
        return
    first, second, third = words[: cuts[0]], words[cuts[0] + 1 : cuts[1]], words[cuts[1] + 1 :]
    for year in _years(third):
        for one in whole_numbers(first):
            for two in whole_numbers(second):
                yield from _valid(year, two, one)
                yield from _valid(year, one, two)
    if not _years(third):
        yield from _short(first, second, third)


def _short(first: Words, second: Words, third: Words) -> Iterator[tuple[str, tuple[Flag, ...]]]:
    """Three numbers of two digits: year last as most write it, and then the year first as well."""
    found: list[tuple[str, tuple[Flag, ...]]] = []
    for year in _short_years(third):
        for one in whole_numbers(first):
            for two in whole_numbers(second):
                found += [*_valid(year, two, one), *_valid(year, one, two)]
    if found:
        yield from found
        for year in _short_years(first):
            for month in whole_numbers(second):
                for day in whole_numbers(third):
                    yield from _valid(year, month, day)


def _of_two(first: Words, second: Words) -> Iterator[tuple[str, tuple[Flag, ...]]]:
    """ "twelve slash twenty six": December 2026, or the 26th of December."""
    for month in whole_numbers(first):
        if 1 <= month <= 12:
            for year in _short_years(second):
                if year >= _SHORTEST:
                    yield f"{year}-{month:02d}", ()
            for day in _days(second):
                yield from _day_in(day, month, ())
    for day in _days(first):
        for month in whole_numbers(second):
            if 1 <= month <= 12:
                yield from _day_in(day, month, ())


def _days(words: Words) -> set[int]:
    if words in _ORDINALS:
        return {_ORDINALS[words]}
    return {n for n in whole_numbers(words) if 1 <= n <= 31}


def _years(words: Words) -> list[int]:
    return sorted(n for n in whole_numbers(words) if n in YEARS)


def _short_years(words: Words) -> list[int]:
    """ "twenty seven" = 2027: no paper of a motorcycle is of another century."""
    return sorted(2000 + int(text) for text in literals(words) if len(text) == 2)
