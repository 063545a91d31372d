"""Dates as people type them -> the words that a date is said in (pure).

What is no calendar day in any order is left as it was typed. Which of day and month comes first is not
settled here: ``quantities.dates`` gives both readings, and both are asked about.
"""

from __future__ import annotations

import re
from datetime import date

from fieldlog.errors import UsageError
from fieldlog.quantities.dates import MONTHS, YEARS, dates
from fieldlog.quantities.normalise import normalise

_SHORT = {month[:3]: month for month in MONTHS} | {"sept": "september"}
_SHORTS = "|".join(sorted(_SHORT, key=len, reverse=True))
_APART = r"\s?[-/.]\s?"
_END = r"(?![\w.,/-]*\d)(?=$|[\s.,;:)])"
_YEAR_FIRST = re.compile(
    rf"(?<![\w./-])((?:19|20)\d\d)[-/.](0?[1-9]|1[0-2])[-/.](0?[1-9]|[12]\d|3[01]){_END}"
)
_COMPACT = re.compile(r"(?<![\w./-])(20\d\d)(0[1-9]|1[0-2])(0[1-9]|[12]\d|3[01])$")
_FIGURES = re.compile(rf"(?<![\w./-])(\d{{1,2}})({_APART})(\d{{1,2}})\2((?:19|20)\d\d|\d\d){_END}")
_YEAR_MONTH = re.compile(rf"(?<![\w./-])((?:19|20)\d\d)-(0[1-9]|1[0-2]){_END}")
_MONTH_OF = re.compile(rf"(?<![\w./-])(0?[1-9]|1[0-2])[-/.]((?:19|20)\d\d){_END}")
_SHORT_BEHIND = re.compile(rf"\b(\d{{1,2}})(?:st|nd|rd|th|\.)?[\s-]+({_SHORTS})\b\.?(?:-(?=\d))?")
_SHORT_BEFORE = re.compile(rf"\b({_SHORTS})\b\.?[\s-]+(?=\d)")
_ORDINAL_DAY = re.compile(rf"\b(\d{{1,2}})(?:st|nd|rd|th)(?: of)? (?={'|'.join(MONTHS)})")
_DAY_COMMA = re.compile(rf"\b({'|'.join(MONTHS)}) (\d{{1,2}}),\s?(?=\d{{4}}\b)")


def dates_in_words(text: str) -> str:
    """``text`` (lower case) with its dates as they are said, or with ``slash`` between figures."""
    text = _YEAR_FIRST.sub(_said, text)
    text = _COMPACT.sub(_said, text)
    text = _FIGURES.sub(_slashed, text)
    text = _MONTH_OF.sub(lambda m: f"{MONTHS[int(m[1]) - 1]} {m[2]}", text)
    text = _YEAR_MONTH.sub(lambda m: f"{MONTHS[int(m[2]) - 1]} {m[1]}", text)
    text = _SHORT_BEHIND.sub(lambda m: f"{m[1]} {_SHORT[m[2]]} ", text)
    text = _SHORT_BEFORE.sub(lambda m: f"{_SHORT[m[1]]} ", text)
    return _DAY_COMMA.sub(r"\1 \2 ", _ORDINAL_DAY.sub(r"\1 ", text))


def days_meant(text: str) -> tuple[str, ...]:
    """Every whole day (ISO 8601) that a date as people type it can be; none where it is none."""
    words = normalise(dates_in_words(text.strip().lower())).words
    return tuple(
        found.text for found in dates(words) if re.fullmatch(r"\d{4}-\d\d-\d\d", found.text)
    )


def day_meant(text: str, where: str) -> str:
    """The one day (ISO 8601) that ``text`` means; ``UsageError`` where it can be several, or none."""
    found = days_meant(text)
    if len(found) == 1:
        return found[0]
    if found:
        told = " or ".join(found)
        raise UsageError(f"{text!r} can be {told}", where=where, todo=f"write it like {found[0]}")
    years = "" if not _is_day(text) else f" of the years {YEARS[0]} to {YEARS[-1]}"
    raise UsageError(f"{text!r} is not a date{years}", where=where, todo="write it like 2026-05-01")


def _is_day(text: str) -> bool:
    try:
        date.fromisoformat(text.strip())
    except ValueError:
        return False
    return True


def _slashed(match: re.Match[str]) -> str:
    """The figures of a date with ``slash`` between; those of a tyre ("90-90-21") stay as they are."""
    day, month = sorted((int(match[1]), int(match[3])), reverse=True)
    short = len(match[4]) == 2
    if not short or (1 <= day <= 31 and 1 <= month <= 12):
        return f"{match[1]} slash {match[3]} slash {match[4]}"
    return match[0]


def _said(match: re.Match[str]) -> str:
    return f"{int(match[3])} {MONTHS[int(match[2]) - 1]} {match[1]}"
