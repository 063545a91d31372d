"""Tyre age from the date code, load index and speed symbol (pure).

Sources: 49 CFR 574.5 (tyre identification number: four-digit date code, week then year; example
0301 = third week of 2001; three digits before July 2000); the first full calendar week, Sunday to
Saturday, is week 01. Load index as tabulated for ISO 4223-1 / UN R75 Annex 4; speed symbols
as public lists have them (the regulation, UN R75 para 2, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

LOAD_INDEX_KG: dict[int, int] = {
    10: 60, 20: 80, 24: 90, 26: 95, 30: 106, 31: 109, 32: 112, 33: 115, 34: 118, 35: 121, 36: 125,
    37: 128, 38: 132, 39: 136, 40: 140, 41: 145, 42: 150, 43: 155, 44: 160, 45: 165, 46: 170,
    47: 175, 48: 180, 49: 185, 50: 190, 51: 195, 52: 200, 53: 206, 54: 212, 55: 218, 56: 224,
    57: 230, 58: 236, 59: 243, 60: 250, 61: 257, 62: 265, 63: 272, 64: 280, 65: 290, 66: 300,
    67: 307, 68: 315, 69: 325, 70: 335, 71: 345, 72: 355, 73: 365, 74: 375, 75: 387, 76: 400,
    77: 412, 78: 425, 79: 437, 80: 450, 81: 462, 82: 475, 83: 487, 84: 500, 85: 515, 86: 530,
    87: 545, 88: 560, 89: 580, 90: 600, 91: 615, 92: 630, 93: 650, 94: 670, 95: 690, 96: 710,
    100: 800, 103: 875, 105: 925, 108: 1000, 110: 1060, 112: 1120, 119: 1360, 121: 1450,
}  # fmt: skip
"""Load index -> kilograms. The gaps are indices that no source at hand tabulates."""

SPEED_SYMBOL_KMH: dict[str, int] = {
    "B": 50, "F": 80, "J": 100, "K": 110, "L": 120, "M": 130, "N": 140, "P": 150, "Q": 160,
    "R": 170, "S": 180, "T": 190, "U": 200, "H": 210, "V": 240, "W": 270, "Y": 300,
}  # fmt: skip
"""Speed symbol -> km/h, in rising order: H stands between U and V, so letters must not be sorted."""


def load_capacity_kg(index: int) -> int | None:
    """Kilograms one tyre of load index ``index`` may carry; None where no source tabulates it."""
    return LOAD_INDEX_KG.get(index)


def top_speed_kmh(symbol: str) -> int | None:
    """Speed in km/h of a speed symbol; None for Z/ZR (over 240, no upper figure) and unknown ones."""
    return SPEED_SYMBOL_KMH.get(symbol.upper())


@dataclass(frozen=True, slots=True)
class DateCode:
    """One reading of a date code: the week's number, the year, and its first day (a Sunday)."""

    week: int
    year: int
    first_day: date

    @property
    def last_day(self) -> date:
        """Saturday of that week; for the last week of a year it may lie in the next."""
        return self.first_day + timedelta(days=6)


def weeks_in(year: int) -> int:
    """How many date-code weeks ``year`` has: 53 when 53 Sundays fall in it, else 52."""
    first = _first_sunday(year)
    return 53 if (first + timedelta(weeks=52)).year == year else 52


def is_week(code: str) -> bool:
    """Whether a date code of three or four digits names a week that its year had (years from 2000).

    Three digits are a week and the last digit of a year before 2000: any decade's 53 weeks will do.
    """
    if len(code) == 3:
        return 1 <= int(code[:2]) <= 53
    return 1 <= int(code[:2]) <= weeks_in(2000 + int(code[2:]))


def date_code(code: str, latest: date) -> tuple[DateCode, ...]:
    """Every reading of a date code that does not lie after ``latest``; empty when it has none.

    Four digits are week and year (``2501``: week 25 of 2001). Three digits are from before July
    2000 and leave the decade open: each possible decade is returned, none is guessed.
    """
    if not (code.isascii() and code.isdigit()):
        return ()
    week, tail = int(code[:2]), code[2:]
    if len(code) == 4:
        years = [2000 + int(tail)]
    elif len(code) == 3:
        years = [decade + int(tail) for decade in (1970, 1980, 1990)]
    else:
        return ()
    found = []
    for year in years:
        if 1 <= week <= weeks_in(year):
            first = _first_sunday(year) + timedelta(weeks=week - 1)
            if first <= latest:
                found.append(DateCode(week, year, first))
    return tuple(found)


def age_years(made: date, on: date) -> Fraction:
    """Age in years of 365.2425 days (the mean Gregorian year) from the first day of the code."""
    return Fraction((on - made).days) / Fraction(3652425, 10000)


def _first_sunday(year: int) -> date:
    new_year = date(year, 1, 1)
    return new_year + timedelta(days=(6 - new_year.weekday()) % 7)
