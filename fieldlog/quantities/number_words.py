"""The words numbers are made of (pure data).

Radiotelephony digits after ICAO Annex 10 Vol II 5.2.1.4.3.1 ("wun", "too", "tree", "fower",
"fife", "ait", "niner", "decimal", "tousand"; wording from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from fieldlog.model.finding import Qualifier

PLAIN_DIGITS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
RADIO_DIGITS: Mapping[str, int] = MappingProxyType(
    {"wun": 1, "tree": 3, "fower": 4, "fife": 5, "ait": 8, "niner": 9}
)
DIGITS: Mapping[str, int] = MappingProxyType(
    {word: n for n, word in enumerate(PLAIN_DIGITS, start=1)} | dict(RADIO_DIGITS)
)
"""Words for 1..9."""
ZEROS = frozenset({"zero", "oh", "o", "nought", "naught"})
"""Words for 0 wherever a digit may stand."""
NOTHINGS = frozenset({"zero", "nought", "naught", "nil"})
"""Words for 0 as a whole number; a lone "oh" is what listeners write for a sigh."""
TEENS: Mapping[str, int] = MappingProxyType(
    {
        "ten": 10,
        "eleven": 11,
        "twelve": 12,
        "thirteen": 13,
        "fourteen": 14,
        "fifteen": 15,
        "sixteen": 16,
        "seventeen": 17,
        "eighteen": 18,
        "nineteen": 19,
    }
)
SPELT_TENS: Mapping[str, int] = MappingProxyType(
    {
        "twenty": 20,
        "thirty": 30,
        "forty": 40,
        "fifty": 50,
        "sixty": 60,
        "seventy": 70,
        "eighty": 80,
        "ninety": 90,
    }
)
"""The round tens as they are spelt."""
TENS: Mapping[str, int] = MappingProxyType({**SPELT_TENS, "fourty": 40})
"""The round tens, a common slip of the pen included."""
TEEN_TENS: Mapping[str, str] = MappingProxyType(
    {
        teen: ty
        for teen, n in TEENS.items()
        for ty, m in SPELT_TENS.items()
        if n > 12 and m == 10 * (n - 10)
    }
)
"""Teen -> the ten that it sounds like: "thirteen" -> "thirty"."""
HOMOPHONES: Mapping[str, str] = MappingProxyType(
    {"to": "two", "too": "two", "for": "four", "ate": "eight", "won": "one"}
)
"""Words a listener writes for a digit; read as the digit only inside a number slot."""
REPEATS: Mapping[str, int] = MappingProxyType({"double": 2, "triple": 3, "treble": 3})
SCALES: tuple[tuple[str, int], ...] = (
    ("trillion", 10**12),
    ("billion", 10**9),
    ("million", 10**6),
    ("thousand", 1000),
    ("tousand", 1000),
)
POINTS = frozenset({"point", "decimal"})
MINUS = frozenset({"minus", "negative"})

PARTS: Mapping[int, tuple[str, str]] = MappingProxyType(
    {
        2: ("half", "halves"),
        3: ("third", "thirds"),
        4: ("quarter", "quarters"),
        5: ("fifth", "fifths"),
        8: ("eighth", "eighths"),
        10: ("tenth", "tenths"),
        16: ("sixteenth", "sixteenths"),
        32: ("thirty second", "thirty seconds"),
        64: ("sixty fourth", "sixty fourths"),
        100: ("hundredth", "hundredths"),
        1000: ("thousandth", "thousandths"),
    }
)
"""Denominator -> one such part, several of them."""
DENOMINATORS: Mapping[tuple[str, ...], tuple[int, bool]] = MappingProxyType(
    {
        tuple(phrase.split()): (n, plural)
        for n, forms in PARTS.items()
        for phrase, plural in zip(forms, (False, True), strict=True)
    }
    | {("fourth",): (4, False), ("fourths",): (4, True)}
)
"""Denominator words -> (denominator, said in the plural)."""

QUALIFIERS: Mapping[tuple[str, ...], Qualifier | None] = MappingProxyType(
    {
        tuple(phrase.split()): qualifier
        for qualifier, phrases in (
            (
                Qualifier.ABOUT,
                "about|around|roughly|approximately|approx|circa|just about|or so|"
                "give or take|somewhere around|more or less",
            ),
            (
                Qualifier.LESS,
                "less than|under|below|just under|just below|at most|up to|no more than|"
                "not more than|nearly|almost|not quite|a bit under|a bit less than|"
                "slightly under|slightly less than|a shade under|a hair under|fewer than|"
                "or less|or under|or below|well under",
            ),
            (
                Qualifier.MORE,
                "more than|over|above|just over|just above|at least|no less than|"
                "not less than|greater than|a bit over|a bit more than|slightly over|"
                "slightly more than|a shade over|a hair over|or more|or over|or above|"
                "well over",
            ),
            (None, "exactly|dead on|bang on|spot on"),
        )
        for phrase in phrases.split("|")
    }
)
"""Words before (or, those starting with *or* and *give or take*, after) a number."""
AFTER = frozenset(
    phrase
    for phrase in QUALIFIERS
    if phrase[0] == "or" or phrase in {("give", "or", "take"), ("more", "or", "less")}
)
"""The qualifiers that follow what they qualify."""

NUMBER_WORDS: frozenset[str] = (
    frozenset(DIGITS)
    | ZEROS
    | NOTHINGS
    | frozenset(TEENS)
    | frozenset(TENS)
    | frozenset(HOMOPHONES)
    | frozenset(REPEATS)
    | frozenset(word for word, _ in SCALES)
    | POINTS
    | MINUS
    | frozenset(word for phrase in DENOMINATORS for word in phrase)
    | frozenset(word for phrase in QUALIFIERS for word in phrase)
    | frozenset({"hundred", "and", "a", "an", "between", "from", "to", "through", "till"})
)
"""Every word that can take part in a number."""

_SMALL = (
    "a about above almost an and approx approximately around at ate bang below between bit circa "
    "dead exactly fewer for from give greater hair just least less more most nearly no not of on or "
    "over quite roughly shade slightly so somewhere spot take than the through till to too under "
    "up well won"
)
SMALL_WORDS = frozenset(_SMALL.split())
"""Words that stand around numbers and anywhere else: "not cracked", "on fire"."""

NUMERALS = NUMBER_WORDS - SMALL_WORDS - frozenset(HOMOPHONES)
"""Those that stand in numbers only."""
