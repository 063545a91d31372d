"""Values drawn at random of everything that can be measured, said and typed in every style."""

from __future__ import annotations

import random
from bisect import bisect
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from fieldlog.catalogue.phrases import expand
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.understanding import Decision
from tests.honest_values import (
    ONES,
    PLURAL,
    QUALIFIED,
    SINGLE,
    TEENS,
    TENS,
)

SPOKEN = {
    "mm": ["millimetres", "m m", "millimeters"], "in": ["inches", "inch"], "psi": ["p s i", "psi"],
    "bar": ["bar"], "kPa": ["kilopascals", "k p a"], "V": ["volts"], "N.m": ["newton metres", "newton meters"],
    "lbf.ft": ["foot pounds"], "km": ["kilometres", "k m"], "mi": ["miles"], "degC": ["degrees celsius"],
    "degF": ["degrees fahrenheit"], "1/min": ["r p m"], "A": ["amps"], "ml": ["millilitres"], "deg": ["degrees"],
}  # fmt: skip


TYPED = {
    "mm": ["mm"], "in": ["in", '"', "inches"], "psi": ["psi", "PSI"], "bar": ["bar"], "kPa": ["kPa"],
    "V": ["V", "v"], "N.m": ["Nm", "N·m", "N.m"], "lbf.ft": ["lbf·ft", "ft-lb"], "km": ["km"],
    "mi": ["mi", "miles"], "degC": ["°C", "C"], "degF": ["°F", "F"], "1/min": ["rpm"], "A": ["A"],
    "ml": ["ml"],
}  # fmt: skip


# --- saying a value --------------------------------------------------------------------------------


def full(n: int, draw: random.Random) -> str:
    """A whole number in full, British or American."""
    joined = draw.choice(["and ", ""])

    def below(m: int) -> str:
        if m < 20:
            return (ONES + TEENS)[m]
        if m < 100:
            return TENS[m // 10 - 2] + (f" {ONES[m % 10]}" if m % 10 else "")
        rest = f" {joined}{below(m % 100)}" if m % 100 else ""
        return f"{draw.choice(['a', 'one']) if m == n < 200 else ONES[m // 100]} hundred{rest}"

    if n < 1000:
        return below(n)
    head, rest = divmod(n, 1000)
    link = "and " if rest and ((rest < 100 and joined) or draw.random() < 0.15) else ""
    return f"{below(head)} thousand" + (f" {link}{below(rest)}" if rest else "")


def out(digits: str, draw: random.Random) -> str:
    """Digits one by one."""
    return " ".join(draw.choice(["zero", "oh"]) if d == "0" else ONES[int(d)] for d in digits)


def in_twos(n: int) -> str:
    """ "One twenty five", "twelve sixty", "twelve oh five"."""
    head, rest = divmod(n, 100)
    words = (ONES + TEENS)[rest] if rest < 20 else TENS[rest // 10 - 2]
    if rest > 20 and rest % 10:
        words += f" {ONES[rest % 10]}"
    if rest < 10:
        words = f"oh {words}" if rest else "hundred"
    front = (ONES + TEENS)[head] if head < 20 else TENS[head // 10 - 2]
    if head > 20 and head % 10:
        front += f" {ONES[head % 10]}"
    return f"{front} {words}"


def said_whole(n: int, draw: random.Random) -> str:
    ways = [full(n, draw), full(n, draw)]
    if n >= 10:
        ways.append(out(str(n), draw))
    if 100 <= n < 10_000 and n // 100 % 10:
        ways.append(in_twos(n))
    if n == 0:
        ways = ["zero", "nought"]
    return draw.choice(ways)


def said_part(top: int, below: int) -> str:
    if top == 1:
        return (
            f"{'an' if below == 8 else 'a'} {SINGLE[below]}"
            if below < 32
            else f"one {SINGLE[below]}"
        )
    return f"{ONES[top] if top < 10 else (ONES + TEENS)[top] if top < 20 else full(top, random.Random(0))} {PLURAL[below]}"


@dataclass(frozen=True)
class Drawn:
    """One value and the words or figures it was put in."""

    value: Fraction
    high: Fraction | None
    text: str
    style: str
    spoken: bool = True
    qualifier: str | None = None


def drawn_number(
    low: Fraction, high: Fraction, inches: bool, draw: random.Random
) -> tuple[Fraction, str]:
    """A value between the ends, and the kind of number it is; parts of an inch only of ``inches``."""
    kind = draw.choice(["whole", "whole", "decimal", "decimal", "part", "mixed"])
    span = high - low
    if kind == "whole" or span < Fraction(1, 16):
        return Fraction(int(low + span * Fraction(draw.random()))), "whole"
    if kind == "decimal":
        places = draw.choice([1, 1, 2, 3])
        scaled = int((low + span * Fraction(draw.random())) * 10**places)
        return Fraction(scaled, 10**places), "decimal"
    below = draw.choice([2, 2, 4, 8, 16, 32, 64] if inches else [2, 4, 8])
    if kind == "part":
        return Fraction(draw.randrange(1, below), below), f"part {below}"
    below = draw.choice([2, 4, 8])
    return int(low + span * Fraction(draw.random())) + Fraction(
        draw.randrange(1, below), below
    ), f"part {below}"


def speak(value: Fraction, kind: str, draw: random.Random) -> str:
    """``value`` in words, in a style that its kind can be said in."""
    sign = "minus " if value < 0 else ""
    value = abs(value)
    n = int(value)
    if kind.startswith("part") and value.denominator > 1:
        below = int(kind.split()[1])
        part = value - n
        told = said_part(int(part * below), below)
        return f"{sign}{full(n, draw)} and {told}" if n else f"{sign}{told}"
    if value.denominator == 1:
        return sign + said_whole(n, draw)
    places = next(p for p in range(1, 8) if (value * 10**p).denominator == 1)
    digits = str(int((value - n) * 10**places)).zfill(places) + draw.choice(["", "", "0"])
    right = out(digits, draw)
    if len(digits) == 2 and digits[0] != "0":
        right = draw.choice([right, said_pair(digits)])
    left = (
        draw.choice([full(n, draw), full(n, draw), said_whole(n, draw)])
        if n
        else draw.choice(["", "zero", "oh", "nought"])
    )
    return f"{sign}{left} point {right}".replace("  ", " ").strip()


def said_pair(digits: str) -> str:
    n = int(digits)
    return (
        (ONES + TEENS)[n] if n < 20 else TENS[n // 10 - 2] + (f" {ONES[n % 10]}" if n % 10 else "")
    )


def write(value: Fraction, kind: str, draw: random.Random) -> str:
    """``value`` in figures, in a way that somebody somewhere writes it."""
    sign = draw.choice(["-", "- ", "−"]) if value < 0 else ""
    value = abs(value)
    n = int(value)
    if kind.startswith("part") and value.denominator > 1:
        below = int(kind.split()[1])
        part = f"{int((value - n) * below)}/{below}"
        return f"{sign}{n}{draw.choice([' ', '-'])}{part}" if n else sign + part
    whole_ = str(n)
    if n >= 1000:
        mark = draw.choice(["", "", ",", ".", " ", "'"])
        whole_ = f"{n:,}".replace(",", mark)
    if value.denominator == 1:
        return sign + whole_
    places = next(p for p in range(1, 8) if (value * 10**p).denominator == 1)
    digits = str(int((value - n) * 10**places)).zfill(places)
    point = draw.choice([".", ".", ","])
    lead = whole_ if n or point == "," or draw.random() < 0.5 else ""
    return f"{sign}{lead}{point}{digits}"


@dataclass(frozen=True)
class Measured:
    """What can be measured: how it is named, in which units, and between which values."""

    name: str
    unit: str
    low: Fraction
    high: Fraction


TRIED = [Fraction(n, 100) for n in (*range(0, 2000, 7), *range(2000, 5_000_000, 1999))]


def measured(language: InspectionLanguage) -> list[Measured]:
    """Everything of the catalogue that a plain value is accepted of, in units of ``SPOKEN``."""
    found = []
    for component in language.catalogue:
        for one in component.characteristics:
            words = [expand(text)[0] for text in one.words] or [""]
            axes = one.axes or component.axes
            place = " ".join(language._subjects.values(axis.name)[0] for axis in axes)
            name = " ".join(f"{place} {expand(component.spoken[0])[0]} {words[0]}".split())
            for unit in one.units:
                if unit not in SPOKEN:
                    continue
                first = next((n for n, value in enumerate(TRIED) if one.plausible(value, unit)), -1)
                if first < 0:
                    continue
                behind = bisect(  # ranges are intervals: what is plausible ends once
                    TRIED, False, lo=first, key=lambda value: not one.plausible(value, unit)
                )
                least, high = TRIED[first], TRIED[behind - 1]
                low = -high / 4 if one.plausible(-high / 4, unit) else least
                middle = Fraction(int((least + high) / 2))
                sure = language.understand(
                    f"{name} {full(int(middle), random.Random(1))} {SPOKEN[unit][0]}"
                )
                if sure.decision is Decision.ACCEPT:
                    found.append(Measured(name, unit, low, high))
    return found


def drawn(one: Measured, draw: random.Random) -> Drawn:
    """A value of it: one number, a range or a qualified one, spoken or typed."""
    spoken = draw.random() < 0.6
    value, kind = drawn_number(one.low, one.high, one.unit == "in", draw)
    put: Callable[[Fraction, str, random.Random], str] = speak if spoken else write
    shape = draw.random()
    if shape < 0.1 and value >= 0:
        more = value + max(Fraction(1, value.denominator), Fraction(int(value / 3)))
        kind_high = kind if more.denominator > 1 else "whole"
        if more <= one.high:
            first, second = put(value, kind, draw), put(more, kind_high, draw)
            link = draw.choice([" to "]) if spoken else draw.choice(["-", " - ", " to ", "–", ".."])
            if spoken and draw.random() < 0.3:
                return Drawn(value, more, f"between {first} and {second}", f"range {kind}", spoken)
            return Drawn(value, more, first + link + second, f"range {kind}", spoken)
    if shape > 0.92:
        word, meant = draw.choice(sorted(QUALIFIED.items()))
        return Drawn(
            value, None, f"{word} {put(value, kind, draw)}", f"qualified {kind}", spoken, meant
        )
    return Drawn(value, None, put(value, kind, draw), kind, spoken)


def with_unit(told: Drawn, unit: str, draw: random.Random) -> str:
    if told.spoken or unit not in TYPED or draw.random() < 0.2:
        return f"{told.text} {in_words(unit, told, draw)}"
    return f"{told.text}{draw.choice(['', ' '])}{draw.choice(TYPED[unit])}"


def in_words(unit: str, told: Drawn, draw: random.Random) -> str:
    """The unit in words; "m m" only behind words."""
    return draw.choice([w for w in SPOKEN[unit] if told.spoken or w != "m m"])


def phrase(one: Measured, told: Drawn, draw: random.Random) -> str:
    between = draw.choice([" ", " ", " ", " is ", " at ", ": ", ", ", " reads "])
    text = f"{one.name}{between}{with_unit(told, one.unit, draw)}"
    text = text + draw.choice(["", "", "", ".", "!"])
    return text.upper() if draw.random() < 0.03 else text
