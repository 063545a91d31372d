"""Figures as people type them -> every plain way to write what they can mean (pure).

A sign or a gap before, between or behind figures is part of the number, or it is not: "4,5 mm" is 4.5,
",5 mm" may be 0.5 or 5, "2..3" may be 2.3 or 2 to 3. Each way is one text, in which a number has at most
one point and its thousands in threes behind commas; a way that nobody would call the usual one is not
``sure``, and its meaning is asked about even where no other is left. Nothing is dropped.

Thousands and decimals: a gap or sign groups three figures (SI Brochure, 9th ed., 5.4.4; points and
apostrophes in the writing of several countries); a comma before one or two is decimal.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from itertools import product

from fieldlog.quantities.number_words import DIGITS, NOTHINGS, TEENS, TENS
from fieldlog.quantities.signs import plain_signs

_MOST_WAYS = 8
_CLUSTER = re.compile(r"""(?P<lead>[.,;:'"\s-]*)(?P<body>\d(?:[\d.,;:'"\s_/-]*\d)?)""")
_PARTS = re.compile(r"(\D+)")
_THOUSANDS = re.compile(r"[1-9]\d{0,2}(?:,\d{3})+(?:\.\d+)?")
_THREE_BEHIND = re.compile(r"[1-9]\d{0,2}[.,]\d{3}")
_POINTED_THOUSANDS = re.compile(r"[1-9]\d{0,2}(?:\.\d{3})+(?:,\d+)?")
_DECIMAL_COMMA = re.compile(r"\d+,\d+")
_PLAIN = re.compile(r"\d+(?:\.\d+)?")
_LISTED = re.compile(r"\d+(?:,\d+)+")
_IN_PUNCTUATION = re.compile(r"[.,;:']+\s+")
"""Signs that close what stands before them: "front pads: 2 mm"."""
_BETWEEN_WORDS = frozenset(DIGITS) | frozenset(TEENS) | frozenset(TENS)
_ANNOUNCED = re.compile(r"\breadings\b|\bin turn\b|\ball round\b")
_COUNT = "|".join(sorted(_BETWEEN_WORDS))
_NOUGHT = "|".join(sorted(NOTHINGS))
_DASH = re.compile(rf"(?<![^\s,;:~<>(])-(?:(?P<glued>)|\s+)(?=(?:{_COUNT}|{_NOUGHT}|point)\b)")
"""A dash before a number in words, which stands behind no word or number of its own."""
_WORD_BEFORE = re.compile(rf"\b(?:{_COUNT})$")
_DENOMINATOR_BEHIND = re.compile(r"(?:nd|th)s?\b")
"""What makes the figures the lower half of a fraction: "four 32nds"."""
_CELL_BEFORE = re.compile(r"\bcell(?: number)?$")
"""What makes the figures a place: "cell 3 twelve sixty five"."""
_WORD_BEHIND = re.compile(rf"[.,;:']*\s+(?:{_COUNT})\b(?!\s+(?:seconds?|fourths?)\b)")
_LITERAL = re.compile(
    r"(?P<whole>\d+)(?:\s+|-)(?P<part>\d+\s?/\s?\d+)|(?P<fraction>\d+\s?/\s?\d+)"
    r"|(?P<count>\d+)[\s-]+(?P<of>\d+)(?:nd|th)s?\b"
    r"|(?P<number>[1-9]\d{0,2}(?:,\d{3})+(?:\.\d+)?|\d*\.\d+|\d+)"
)


@dataclass(frozen=True, slots=True)
class Way:
    """One plain way to write what was typed."""

    text: str
    sure: bool = True
    """Whether it is the usual way to read what was typed."""
    gap: bool = False
    """Whether two numbers stand side by side in it: they must not be read as one."""


@dataclass(frozen=True, slots=True)
class Written:
    """The ways to read a text, the likeliest first; none when its figures cannot be read at all."""

    ways: tuple[Way, ...]
    odd: str = ""
    """The figures that can be read in more than one way, or in none, as they were typed."""


class DecimalSign(StrEnum):
    """Which sign stands before the decimals where somebody writes; the other one groups thousands."""

    POINT = "point"
    COMMA = "comma"


def read_written(text: str, sign: DecimalSign | None = None) -> Written:
    """Every plain way to write ``text`` (lower case): at most eight; itself where nothing is odd.

    ``sign``: what settles "12,340" and "12.340", which are both ways otherwise.
    """
    plain = plain_signs(text)
    dash = _DASH.search(plain)
    if dash is not None:
        return _dashed(plain, dash, sign)
    if not any(c.isdigit() for c in plain):
        return Written((Way(plain),))
    pieces: list[tuple[Way, ...]] = []
    odd: list[str] = []
    at = 0
    for match in _CLUSTER.finditer(plain):
        pieces.append((Way(plain[at : match.start()]),))
        at = match.end()
        ways = tuple(_ways(plain, match, sign))
        pieces.append(ways)
        if len(ways) != 1 or not ways[0].sure:
            odd.append(match.group().strip())
    pieces.append((Way(plain[at:]),))
    whole = {
        "".join(way.text for way in chosen): Way(
            "".join(way.text for way in chosen),
            all(way.sure for way in chosen),
            any(way.gap for way in chosen),
        )
        for chosen in product(*pieces)
    }
    return Written(tuple(whole.values())[:_MOST_WAYS], ", ".join(odd))


def _dashed(plain: str, dash: re.Match[str], sign: DecimalSign | None) -> Written:
    """ "- five degrees": below zero, or a dash before the value; "-five" is below zero."""
    before, behind = plain[: dash.start()], plain[dash.end() :]
    signs = ("minus",) if dash["glued"] is not None else ("minus", "")
    each = [read_written(f"{before} {told} {behind}", sign) for told in signs]
    ways = tuple(dict.fromkeys(way for one in each for way in one.ways))
    odd = ", ".join(dict.fromkeys(one.odd for one in each if one.odd))
    return Written(ways[:_MOST_WAYS], odd or (dash.group().strip() if len(signs) > 1 else ""))


def is_listed(text: str) -> bool:
    """Whether several readings are announced: between them a comma parts, and groups nothing."""
    return _ANNOUNCED.search(text) is not None


def literals(text: str) -> frozenset[Fraction]:
    """The numbers that stand in a plain text, each exactly as it is written."""
    found: set[Fraction] = set()
    for match in _LITERAL.finditer(text):
        if match["whole"]:
            found.add(int(match["whole"]) + _fraction(match["part"]))
        elif match["fraction"]:
            found.add(_fraction(match["fraction"]))
        elif match["count"]:
            found.add(_fraction(f"{match['count']}/{match['of']}"))
        else:
            found.add(Fraction(match["number"].replace(",", "")))
    return frozenset(found)


def _fraction(written: str) -> Fraction:
    top, _, bottom = written.partition("/")
    return Fraction(int(top), int(bottom) or 1)


# --- one stretch of figures --------------------------------------------------------------------


def _ways(text: str, match: re.Match[str], sign: DecimalSign | None) -> Iterator[Way]:
    """Every way to write one stretch of figures and signs, what leads to it included."""
    listed = is_listed(text)
    beside = _words_beside(text, match)
    bodies = list(_bodies(match["body"], listed, sign))
    for lead, body in product(_leads(text, match), bodies):
        pointed = lead.text.endswith(".") and not body.text[: len(_first(body.text))].isdigit()
        if not pointed:
            gap = lead.gap or body.gap or beside
            yield Way(lead.text + body.text, lead.sure and body.sure, gap)


def _words_beside(text: str, match: re.Match[str]) -> bool:
    """Whether a number in words stands right beside the figures, and could be one with them."""
    before = text[: match.start()]
    if _WORD_BEFORE.search(before):
        return _DENOMINATOR_BEHIND.match(text, match.end()) is None
    return _WORD_BEHIND.match(text, match.end()) is not None and not _CELL_BEFORE.search(before)


def _first(body: str) -> str:
    """The first number of a body, its point and places included."""
    return re.match(r"\d+(?:[.,]\d+)*", body).group()  # type: ignore[union-attr]


def _leads(text: str, match: re.Match[str]) -> tuple[Way, ...]:
    """What may stand before the figures: a minus, a point, both, or neither."""
    lead = match["lead"].replace('"', " ")
    if not lead:
        return (Way(""),)
    before = text[match.start() - 1 : match.start()]
    closing = _IN_PUNCTUATION.match(lead)
    if before and closing:  # "front pads, 2 mm"
        before, lead = "", lead[closing.end() :]
    glued = bool(before) and bool(lead) and not lead[0].isspace()
    signs = lead.strip()
    if not signs or (signs in (".", "-", "-.") and lead.endswith(signs) and not glued):
        return (Way(" " + signs),)
    if signs == ":" and glued:
        return (Way(lead),)
    if signs == "-":
        as_is = lead if glued and lead == "-" else " "  # "20w-50", "cell-3"; else only a dash
        return (Way(" -"), Way(as_is))
    minus = (" -", " ") if "-" in signs else (" ",)
    point = ("0.", "") if set(signs) & set(".,;'") else ("",)
    return tuple(Way(one + other, sure=False) for one in minus for other in point)


def _bodies(body: str, listed: bool, sign: DecimalSign | None) -> Iterator[Way]:
    """Every way to write the figures from the first to the last."""
    numbers, between = _numbers(body)
    ways = [_number(number, listed, sign) for number in numbers]
    junctions = [
        _between(numbers[n], signs, numbers[n + 1], between[n + 1 : n + 2], listed)
        for n, signs in enumerate(between)
    ]
    for chosen in product(*ways):
        for joints in product(*junctions):
            text = chosen[0].text
            for joint, number in zip(joints, chosen[1:], strict=True):
                text += joint.text + number.text
            sure = all(way.sure for way in (*chosen, *joints))
            yield Way(text, sure, any(joint.gap for joint in joints))


def _numbers(body: str) -> tuple[list[str], list[str]]:
    """The numbers of a stretch, single points and commas inside them kept, and what is between."""
    parts = _PARTS.split(body)
    numbers, between = [parts[0]], []
    for sign, figures in zip(parts[1::2], parts[2::2], strict=True):
        if sign in (".", ","):
            numbers[-1] += sign + figures
        else:
            between.append(sign)
            numbers.append(figures)
    return numbers, between


def _number(written: str, listed: bool, sign: DecimalSign | None) -> tuple[Way, ...]:
    """One number without a gap: plain, or the plain ways to write it."""
    if _THREE_BEHIND.fullmatch(written) and not listed:
        return _three_behind(written, sign)
    if _PLAIN.fullmatch(written) or _THOUSANDS.fullmatch(written):
        return (Way(written),)
    decimal = _DECIMAL_COMMA.fullmatch(written)
    if listed and _LISTED.fullmatch(written):
        apart = Way(written.replace(",", " then "))
        return (Way(written.replace(",", ".")), apart) if decimal else (apart,)
    if decimal:
        whole, _, places = written.partition(",")
        usual = len(places) < 3 or whole == "0"  # "1,2340" may be 12,340 mistyped
        return (Way(written.replace(",", "."), usual),)
    if _POINTED_THOUSANDS.fullmatch(written):
        return (Way(written.replace(".", "").replace(",", "."), sure=False),)
    if listed and "," not in written:
        return (Way(written),)  # cut into readings in every way, and asked
    return ()


def _three_behind(written: str, sign: DecimalSign | None) -> tuple[Way, ...]:
    """ "12,340" and "12.340": thousands in one country, thousandths in the next."""
    decimal = Way(written.replace(",", "."), "." in written)
    grouped = Way(written.replace(".", ","), "," in written)
    if sign is None:
        return (decimal, grouped) if decimal.sure else (grouped, decimal)
    is_decimal = ("." in written) == (sign is DecimalSign.POINT)
    return (Way((decimal if is_decimal else grouped).text),)


def _between(
    first: str, sign: str, second: str, following: list[str], listed: bool
) -> tuple[Way, ...]:
    """What may stand between two numbers: what joins them to one, or keeps them apart."""
    signs = sign.strip()
    if signs[:1] == "-" and sign[-1:] == "." and not signs[1:-1].strip():
        return (Way(f"{sign[:-1]}0.", sure=False),)  # ".2-.4"
    if set(signs) & set("/_") or signs == "-":
        return (Way(sign),)  # a fraction, a range, or what rejects the whole
    if not signs and following[:1] and following[0].strip() == "/":
        return (Way(sign),)  # "5 1/2"
    apart = Way(" then " if listed and signs else " ", gap=True)
    grouped = bool(
        re.fullmatch(r"[1-9]\d{0,2}", first) and re.fullmatch(r"\d{3}(?:[.,]\d+)?", second)
    )
    if first == "0" and not listed and signs in ("", ",", ";", ":") and second.isdigit():
        return Way(".", sure=False), Way(apart.text, sure=False, gap=True)  # "0 5", "0, 5"
    if not signs:
        return (Way("", sure=False), apart) if grouped else (apart,)
    if signs in (",", ";", ":") and sign[-1].isspace() and not sign[0].isspace():
        return (apart,)
    if signs in ("-", ",-", ";-") and sign.endswith("-"):
        return (Way(f"{apart.text}-", gap=True),)
    if signs == "'" and sign == signs:
        return (Way("", sure=False),) if grouped else ()
    if '"' in signs:  # inches, or only a quotation
        return (Way(sign if sign[0] == '"' else apart.text, sign[0] == '"', gap=True),)
    both = first.isdigit() and second.isdigit()
    if set(signs) == {"."} and len(signs) > 1:
        return (*((Way(".", sure=False),) if both else ()), Way("-", sure=False))
    if len(signs) == 1 and signs in ".,;:'":
        kept = Way(apart.text, sure=False, gap=True)
        return (Way(".", sure=False), kept) if both else (kept,)
    return ()
