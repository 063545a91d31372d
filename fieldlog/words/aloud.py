"""What is printed, as words to be spoken (pure): figures, units and codes in words, stops for pauses.

"Front brake pads, thickness: 1.5 mm" -> "front brake pads, thickness, one decimal five millimetres".
Numbers follow the radiotelephony rules (ICAO Annex 10 Vol II 5.2.1.4, wording from memory): "decimal",
never "point"; a figure without a unit that has three digits or more (a code), and every figure where
that is asked for, digit by digit. It only says what is printed and decides nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from fractions import Fraction
from types import MappingProxyType

from fieldlog.model.finding import Quantity
from fieldlog.quantities.number_words import PARTS
from fieldlog.quantities.spell import spell_digits, spell_integer
from fieldlog.quantities.units import UNITS
from fieldlog.words import english, tell
from fieldlog.words.say import say, unit_name
from fieldlog.words.telling import telling

STOPS = ",.?"
"""What may stand between the words of a sentence that is spoken: a short pause, an end, a question."""

_PRINTED = MappingProxyType({tell.unit(symbol): symbol for symbol in UNITS if tell.unit(symbol)})
_UNIT = "|".join(re.escape(one) for one in sorted(_PRINTED, key=len, reverse=True))
_FIGURE = r"(?P<about>≈ ?)?(?P<sign>-)?(?P<figure>\d+ \d+/\d+|\d+/\d+|\d+\.\d+|\d+)"
_TOKEN = re.compile(
    rf"(?<![\w/-]){_FIGURE}(?: ?(?P<unit>{_UNIT})(?!\w)|(?![\w/°%]|[.-]\w))"
    r"|(?P<code>\w*\d\w*(?:[./-]\w+)*)"
    rf"|(?P<symbol>(?<!\w)(?:{_UNIT})(?!\w))"
    r"|(?P<word>[^\W\d_]+)"
    r"|(?P<stop>[.?!]|[,;:()]| / |--)"
)
_BARE = frozenset({"in", "m", "A", "g", "V", "L", "s", "h", "days", "weeks", "months", "years"})
"""Symbols that without a figure before them are words, or letters."""
_READ = MappingProxyType({"mph": "miles per hour", "okay": "okay"})
_SAID_WHOLE = frozenset({"dot"})
"""Capitals that are read as a word; any others of up to three ("SAE", "ZR") by their letters."""
_RUNS = re.compile(r"\d+|[a-z]+|[./-]")


def aloud(text: str, *, apart: bool = False) -> str:
    """``text`` in small letters, words and ``STOPS`` alone; ``apart``: every digit by itself.

    In another language than the reference it stays as it is printed: that language has words of its own.
    """
    if telling() is not None:
        return text
    said: list[str] = []
    for token in _TOKEN.finditer(text):
        said += _said(token, apart)
    return _joined(said)


def sentence(*printed: str, apart: bool = False) -> str:
    """Several printed parts as one spoken sentence; ``apart`` is of the last of them."""
    last = len(printed) - 1
    said = (aloud(part, apart=apart and n == last).rstrip(STOPS) for n, part in enumerate(printed))
    return ", ".join(part for part in said if part) + "."


def phrases(said: str) -> Iterator[tuple[tuple[str, ...], str]]:
    """The stretches of a spoken sentence: the words, and the stop behind them ("" at its end)."""
    words: list[str] = []
    for token in re.findall(rf"[{re.escape(STOPS)}]|[^\s{re.escape(STOPS)}]+", said):
        if token not in STOPS:
            words.append(token)
        elif words:
            yield tuple(words), token
            words = []
    if words:
        yield tuple(words), ""


def _said(token: re.Match[str], apart: bool) -> list[str]:
    if token["figure"] is not None:
        return _figure(token, apart)
    if token["code"] is not None:
        return _code(token["code"].lower())
    if token["symbol"] is not None:
        return _symbol(token["symbol"])
    if token["word"] is not None:
        word = token["word"].lower()
        spelt = token["word"].isupper() and 1 < len(word) <= 3 and word not in _SAID_WHOLE
        return list(word) if spelt else _READ.get(word, word).split()
    stop = token["stop"]
    return ["?" if stop == "?" else "." if stop in ".!" else ","]


def _figure(token: re.Match[str], apart: bool) -> list[str]:
    figure = token["figure"]
    whole, _, part = figure.rpartition(" ")
    value = Fraction(part) + (Fraction(whole) if whole else 0)
    value = -value if token["sign"] else value
    below = int(figure.partition("/")[2] or 0)
    unit = _PRINTED[token["unit"]] if token["unit"] else "1"
    lead = ["about"] if token["about"] else []
    if unit == "1" and not below and "." not in figure and len(figure) > 2:
        sign = [english.MINUS] if token["sign"] else []
        return [*lead, *sign, *spell_digits(figure)]
    places = len(figure.partition(".")[2])
    if below and (below not in PARTS or (below in (32, 64) and unit != "in")):
        return [*lead, *_over(value, unit)]
    told = say(
        Quantity(value, unit), denominator=below or None, places=places, digits=apart and not below
    )
    return [*lead, *(english.DECIMAL if one == english.POINT else one for one in told.split())]


def _over(value: Fraction, unit: str) -> list[str]:
    """A fraction that has no name: "one over three"."""
    top, bottom = spell_integer(abs(value.numerator)), spell_integer(value.denominator)
    sign = [english.MINUS] if value < 0 else []
    return [*sign, *top, english.OVER, *bottom, *unit_name(unit).split()]


def _symbol(symbol: str) -> list[str]:
    """A unit without a figure; what may as well be a word or a letter stays one."""
    return [symbol.lower()] if symbol in _BARE else unit_name(_PRINTED[symbol]).split()


def _code(code: str) -> list[str]:
    """ "130/70-17" -> one three zero, seven zero, one seven; "10w" -> ten w; letters by name."""
    said: list[str] = []
    for run in _RUNS.findall(code):
        if run.isdigit():
            said += (
                spell_integer(int(run)) if len(run) <= 2 and run[0] != "0" else spell_digits(run)
            )
        elif run == ".":
            said.append(english.DECIMAL)
        elif run in "/-":
            said.append(",")
        else:
            said += list(run)
    return said


def _joined(said: list[str]) -> str:
    """With one stop between two stretches: the stronger one of several."""
    out = ""
    for one in said:
        if one not in STOPS:
            out += f" {one}" if out else one
        elif out and out[-1] in STOPS:
            out = out[:-1] + max(out[-1], one, key=STOPS.index)
        elif out:
            out += one
    return out
