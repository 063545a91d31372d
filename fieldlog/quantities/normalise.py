"""Typed or heard text -> the words of the grammar; the original is kept (pure).

A listener writes "12.6 V", "4/32" or "thirty-seconds" where the grammar has words; a person types
"N·m" or "5 1/2". Everything becomes lower-case words without hyphens or apostrophes, numbers spelled
so that ``numbers.readings`` gives back the same value with every zero kept. Nothing is dropped
silently: a sign that has no words stays in the list, and rejects whatever is parsed over it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from fieldlog.quantities.signs import plain_signs
from fieldlog.quantities.spell import spell_digits, spell_fraction, spell_integer
from fieldlog.quantities.unit_table import ROWS

_TYPED: tuple[tuple[re.Pattern[str], str], ...] = tuple(
    (re.compile(rf"\s?(?:{pattern})(?![a-z0-9'])"), words)
    for pattern, words in (
        ("cc", "c c"),
        ("k", "k"),  # kilometres, kilopascals, thousands: what it can be is asked of the words
        *((row.typed, row.typed_as or row.many) for row in ROWS if row.typed),
    )
)
"""What may be typed behind a number -> the words it stands for; the longest counts."""
_ALONE: Mapping[str, str] = MappingProxyType(
    {form: row.typed_as or row.many for row in ROWS for form in row.alone.split()} | {"cc": "c c"}
)
"""Units that are spelled out even without a number in front -> their words."""
_DOTTED = re.compile(
    "|".join(re.escape(f) for f in sorted(_ALONE, key=len, reverse=True) if not f.isalpha())
)
_ORDINAL = {
    "2nd": "halves",
    "4th": "quarters",
    "8th": "eighths",
    "10th": "tenths",
    "16th": "sixteenths",
    "32nd": "thirty seconds",
    "64th": "sixty fourths",
    "100th": "hundredths",
    "1000th": "thousandths",
}

_NUMBER = r"[1-9]\d{0,2}(?:,\d{3})+(?![\d,])(?:\.\d+)?|\d*\.\d+|\d+"
_TOKEN = re.compile(
    rf"""
    (?P<mixed>(?P<whole>\d+)(?:\s+|-)(?P<top>\d+)\s?/\s?(?P<bottom>\d+))
  | (?P<fraction>(?P<ftop>\d+)\s?/\s?(?P<fbottom>\d+)(?:(?:nd|th)s?(?![a-z0-9]))?)
  | (?P<ordinal>\d+(?:nd|th)s?)(?![a-z0-9])
  | (?P<number>{_NUMBER})
  | (?P<word>[a-z]+(?:'[a-z]+)*)
  | (?P<sign>\S)
    """,
    re.VERBOSE,
)
_WORD = re.compile(r"\s*([a-z]+)")
_BEHIND_INCHES = frozenset(
    (
        *("at", "below", "deep", "down", "from", "high", "left", "low", "of", "off", "on", "or"),
        *("over", "remaining", "right", "thick", "to", "too", "up"),
    )
)
"""Words behind "4 in" that leave it inches."""
_LENGTHS = {'"': "inches", "'": "feet"}
"""Signs behind figures."""
_DROPPED = frozenset(",;:!?()[].\"'")
"""Punctuation without a meaning of its own between words."""


@dataclass(frozen=True, slots=True)
class Normalised:
    """``words`` for the parser, and the text they came from, untouched."""

    words: tuple[str, ...]
    original: str

    @property
    def text(self) -> str:
        """The words joined by single spaces."""
        return " ".join(self.words)


def normalise(text: str) -> Normalised:
    """The words of ``text`` as the grammar writes them."""
    plain = plain_signs(text)
    plain = re.sub(r"\+/-", " plus or minus ", plain)
    words: list[str] = []
    at, after_number = 0, False
    while at < len(plain):
        if plain[at].isspace():
            at += 1
            continue
        match = _TOKEN.match(plain, at)
        if match is None:  # pragma: no cover - every visible character matches <sign>
            break
        at = match.end()
        if match.group("word"):
            written = _written_unit(plain, match)
            words += written[0] if written else _word(match.group())
            at = written[1] if written else at
            after_number = False
            continue
        if match.group("sign"):
            words += _sign(plain, match.start(), after_number)
            continue
        unit, unit_words = _unit_behind(plain, at)
        words += _numeral(match, with_unit=unit is not None)
        if unit is not None:
            words += unit_words
            at = unit.end()
            at += int(plain[at : at + 1] == "." and plain[at + 1 : at + 2] in ("", " "))
        after_number = True
    return Normalised(tuple(words), text)


def _numeral(match: re.Match[str], with_unit: bool) -> list[str]:
    if match.group("mixed"):
        return _spelled_mixed(match)
    if match.group("fraction"):
        return _spelled_slash(match["ftop"], match["fbottom"])
    if match.group("ordinal"):
        return _spelled_ordinal(match.group())
    if not with_unit and re.fullmatch(r"\d{4}", match.group()):
        # A date code, a year, a hydrometer: said digit by digit it stays all of them.
        return spell_digits(match.group())
    return _spelled_number(match.group())


def _is_word_here(plain: str, unit: re.Match[str]) -> bool:
    """Whether the letters after a number are an English word: "5 in all", "2 a side", "3 to 4 k"."""
    written = unit.group()
    after = _WORD.match(plain, unit.end())
    return (
        written[:1] == " "
        and written.strip() in ("a", "in", "s", "d", "h")
        and after is not None
        and not (written.strip() == "in" and after[1] in _BEHIND_INCHES)
    )


def _unit_behind(plain: str, at: int) -> tuple[re.Match[str] | None, list[str]]:
    """The unit typed behind a number that ends at ``at``, and its words."""
    found = [(m, words) for pattern, words in _TYPED if (m := pattern.match(plain, at))]
    if not found:
        return None, []
    unit, words = max(found, key=lambda each: each[0].end())
    return (None, []) if _is_word_here(plain, unit) else (unit, words.split())


def _written_unit(plain: str, match: re.Match[str]) -> tuple[list[str], int] | None:
    """A unit that follows no digit ("front pressure two bar", "p.s.i.", "N.m", "psi")."""
    unit = _DOTTED.match(plain, match.start())
    if unit is not None and not plain[unit.end() : unit.end() + 1].isalnum():
        return _ALONE[unit.group()].split(), unit.end()
    if match.group() in _ALONE:
        return _ALONE[match.group()].split(), match.end()
    return None


def _word(word: str) -> list[str]:
    """A word without its apostrophe: "doesn't" -> doesnt, "rider's" -> riders."""
    return [word.replace("'", "")]


def _spelled_mixed(match: re.Match[str]) -> list[str]:
    part = spell_fraction(int(match["top"]), int(match["bottom"]))
    if part is None:
        slash = _spelled_slash(match["top"], match["bottom"])
        return [*spell_integer(int(match["whole"])), *slash]
    return [*spell_integer(int(match["whole"])), "and", *part]


def _spelled_slash(top: str, bottom: str) -> list[str]:
    """A fraction of the shop, or (a tyre size) two numbers with the word slash between."""
    part = spell_fraction(int(top), int(bottom))
    return part or [*_spelled_number(top), "slash", *_spelled_number(bottom)]


def _spelled_ordinal(written: str) -> list[str]:
    singular = written.removesuffix("s")
    named = _ORDINAL.get(singular)
    if named is None:
        return [written]
    return named.split() if written.endswith("s") else named.removesuffix("s").split()


def _spelled_number(written: str) -> list[str]:
    plain = written.replace(",", "")
    whole, point, places = plain.partition(".")
    if (len(whole) > 1 and whole.startswith("0")) or len(whole) > 6:
        head = spell_digits(whole)
    else:
        head = spell_integer(int(whole)) if whole else []
    return [*head, "point", *spell_digits(places)] if point else head


def _sign(plain: str, at: int, after_number: bool) -> list[str]:
    sign = plain[at]
    before, after = plain[at - 1 : at], plain[at + 1 : at + 2]
    if sign == "-":
        follows = plain[at + 1 :].lstrip()[:1]
        spaced = before.isspace() and not after.isspace()
        if after_number and follows.isdigit() and not spaced:
            # "10-32nds" is ten thirty-seconds, "2-3 mm" a range
            part = re.match(r"\s?\d+(?:nd|th)s?\b", plain[at + 1 :])
            return [] if part else ["to"]
        number_next = after.isdigit() or (after == "." and plain[at + 2 : at + 3].isdigit())
        return ["minus"] if number_next and not before.isalnum() else []
    if sign == "<":
        return ["less", "than"]
    if sign == ">":
        return ["more", "than"]
    if sign in "~≈":
        return ["about"]
    if sign == "&":
        return ["and"]
    if sign == "%":
        return ["percent"]
    if sign == "°":
        return ["degrees"]
    if (
        sign in _LENGTHS
        and before.isdigit()
        and (sign == '"' or not (after.isdigit() or after == "'"))
    ):
        return [_LENGTHS[sign]]
    behind = sign == "'" and plain[:at].rstrip(" '")[-1:].isdigit()
    if behind or (sign in ".,;'" and after.isdigit()):
        return [sign]  # part of a number, or none: ``written`` tells, here it rejects
    if sign in _DROPPED:
        return []
    return [sign]
