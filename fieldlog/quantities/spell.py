"""Numbers -> words: the inverse of ``numbers`` for single values (pure)."""

from __future__ import annotations

_ONES = [
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
]
_TENS = ["_", "_", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
_PARTS = {
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
_RADIO = ("zero", "wun", "too", "tree", "fower", "fife", "six", "seven", "ait", "niner")


def spell_integer(value: int) -> list[str]:
    """Words of a whole number, 0 .. 999,999; larger ones digit by digit. ``value`` >= 0."""
    if value < 20:
        return [_ONES[value]]
    if value < 100:
        tens, ones = divmod(value, 10)
        return [_TENS[tens], _ONES[ones]] if ones else [_TENS[tens]]
    if value < 1000:
        hundreds, rest = divmod(value, 100)
        tail = ["and", *spell_integer(rest)] if rest else []
        return [_ONES[hundreds], "hundred", *tail]
    if value < 1_000_000:
        thousands, rest = divmod(value, 1000)
        if not rest:
            tail = []
        elif rest < 100:
            tail = ["and", *spell_integer(rest)]
        else:
            tail = spell_integer(rest)
        return [*spell_integer(thousands), "thousand", *tail]
    return spell_digits(str(value))


def spell_digits(digits: str) -> list[str]:
    """Digits one by one, "oh" never: 0 is "zero"."""
    return [_ONES[int(digit)] for digit in digits]


def spell_radio(digits: str) -> list[str]:
    """Digits one by one in the radiotelephony way (ICAO Annex 10 Vol II, wording from memory)."""
    return [_RADIO[int(digit)] for digit in digits]


def spell_fraction(top: int, bottom: int) -> list[str] | None:
    """Words of ``top/bottom`` as said, not reduced ("four thirty seconds"); None if not sayable."""
    names = _PARTS.get(bottom)
    if names is None:
        return None
    if top == 1:
        return ["one", *names[0].split()]
    return [*spell_integer(top), *names[1].split()]
