"""Numbers -> words: the inverse of ``numbers`` for single values (pure)."""

from __future__ import annotations

from fractions import Fraction

from fieldlog.quantities.number_words import PARTS, PLAIN_DIGITS, SPELT_TENS, TEENS

_MOST_PLACES = 6
_ONES = ("zero", *PLAIN_DIGITS, *TEENS)
_TENS = ("", "", *SPELT_TENS)


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


def spell_fraction(top: int, bottom: int) -> list[str] | None:
    """Words of ``top/bottom`` as said, not reduced ("four thirty seconds"); None if not sayable."""
    names = PARTS.get(bottom)
    if names is None:
        return None
    if top == 1:
        return ["one", *names[0].split()]
    return [*spell_integer(top), *names[1].split()]


def decimal_places(value: Fraction) -> int | None:
    """Decimals needed to write ``value`` exactly, up to six; None when it needs more."""
    return next((n for n in range(_MOST_PLACES + 1) if 10**n % value.denominator == 0), None)
