"""Values drawn at random, said and typed in every style, and a reader of them that is this file's own.

``python -m tests.values_said 200000 20000`` says so many phrases and answers to questions, and prints how
many were accepted, asked about, refused, and wrong: accepted with another value than the one that was said.
"""

from __future__ import annotations

import random
import sys
import time
from bisect import bisect
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from fieldlog.catalogue.phrases import expand
from fieldlog.grammar.sample import Sampler
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.finding import Quantity
from fieldlog.model.understanding import Decision, Understanding

# --- words of numbers, written down once more ------------------------------------------------------

ONES = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
TEENS = [
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
TENS = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
DIGIT = {word: str(n) for n, word in enumerate(ONES)} | {
    **dict.fromkeys(("oh", "o", "nought", "naught"), "0"),
    "wun": "1",
    "tree": "3",
    "fower": "4",
    "fife": "5",
    "ait": "8",
    "niner": "9",
}
PAIR = {word: n for n, word in enumerate(TEENS, 10)} | {w: 10 * n for n, w in enumerate(TENS, 2)}
PART = {
    ("half",): 2, ("halves",): 2, ("third",): 3, ("thirds",): 3, ("quarter",): 4, ("quarters",): 4,
    ("fourth",): 4, ("fourths",): 4, ("fifth",): 5, ("fifths",): 5, ("eighth",): 8, ("eighths",): 8,
    ("tenth",): 10, ("tenths",): 10, ("sixteenth",): 16, ("sixteenths",): 16,
    ("thirty", "second"): 32, ("thirty", "seconds"): 32, ("sixty", "fourth"): 64,
    ("sixty", "fourths"): 64, ("hundredth",): 100, ("hundredths",): 100, ("thousandth",): 1000,
    ("thousandths",): 1000,
}  # fmt: skip
PLURAL = {2: "halves", 4: "quarters", 8: "eighths", 16: "sixteenths", 32: "thirty seconds", 64: "sixty fourths"}  # fmt: skip
SINGLE = {2: "half", 4: "quarter", 8: "eighth", 16: "sixteenth", 32: "thirty second", 64: "sixty fourth"}  # fmt: skip
QUALIFIED = {"about": "about", "around": "about", "roughly": "about", "less than": "less than", "under": "less than", "at most": "less than", "more than": "more than", "over": "more than", "at least": "more than"}  # fmt: skip
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


# --- the reader: every value that words can honestly mean ------------------------------------------


def cardinal(words: Sequence[str]) -> int | None:
    """A whole number in full, built up word by word; None where a word cannot follow."""
    total, current, last = 0, None, ""
    for n, word in enumerate(words):
        behind = words[n + 1] if n + 1 < len(words) else ""
        if word == "a" and behind in ("hundred", "thousand") and last in ("", "thousand", "and"):
            current = 1
        elif word == "and":
            if last not in ("hundred", "thousand") or not behind:
                return None
        elif word in ("hundred", "thousand"):
            if current == 0 or (current is None and n):
                return None
            many = 1 if current is None else current
            if word == "hundred":
                if many > 99:
                    return None
                current = many * 100
            else:
                if total or many > 999:
                    return None
                total, current = many * 1000, None
        elif word in PAIR or (word in DIGIT and DIGIT[word] != "0"):
            value = PAIR.get(word) or int(DIGIT[word])
            room = 100 if value >= 10 else 10
            before = current or 0
            teen = 10 <= before % 100 < 20
            if before % room or (value < 10 and teen) or (current and last in (*DIGIT, "a")):
                return None
            current = before + value
        else:
            return None
        last = word
    if not words or last == "and":
        return None
    return total + (current or 0)


def spelled(words: Sequence[str]) -> str:
    """Digits read out one by one or in twos, strung together; "" where a word is neither."""
    text, n, times = "", 0, 1
    while n < len(words):
        word = words[n]
        if word in ("double", "triple"):
            times = 2 if word == "double" else 3
            n += 1
            continue
        if word in DIGIT:
            text += DIGIT[word] * times
        elif word in PAIR and times == 1:
            value = PAIR[word]
            if value >= 20 and n + 1 < len(words) and DIGIT.get(words[n + 1], "0") != "0":
                value += int(DIGIT[words[n + 1]])
                n += 1
            text += str(value)
        else:
            return ""
        times = 1
        n += 1
    return text if times == 1 else ""


def whole(words: Sequence[str]) -> set[int]:
    found = {cardinal(words)} - {None}
    if spelled(words):
        found.add(int(spelled(words)))
    if tuple(words) in (("zero",), ("nought",), ("oh",), ("nil",)):
        found.add(0)
    return {n for n in found if n is not None}


def parts(words: tuple[str, ...]) -> set[Fraction]:
    """Fractions: "three eighths", "a half", "five and a half thirty seconds"."""
    found: set[Fraction] = set()
    for size in (1, 2):
        below = PART.get(words[-size:])
        if below is None:
            continue
        top = words[:-size]
        if top in ((), ("a",), ("an",), ("one",)):
            found.add(Fraction(1, below))
        else:
            found |= {n / below for n in plain(top)}
    return found


def plain(words: tuple[str, ...]) -> set[Fraction]:
    """One number of any style, without its sign."""
    found = {Fraction(n) for n in whole(words)}
    scale = 1
    if words[-1:] == ("thousand",) and len(words) > 1:
        scale = 1000
    for at, word in enumerate(words):
        if word in ("point", "decimal"):
            left, right = words[:at], spelled(words[at + 1 : len(words) - (scale > 1)])
            if right:
                ends = whole(left) if left else {0}
                found |= {scale * (n + Fraction(int(right), 10 ** len(right))) for n in ends}
        if word == "and" and at:
            found |= {
                n + part for n in whole(words[:at]) for part in parts(words[at + 1 :]) if part < 1
            }
    return found | parts(words)


def compact(words: tuple[str, ...]) -> set[Fraction]:
    """ "Twelve six" of a voltmeter, "twelve sixty five" of a hydrometer."""
    text = spelled(words)
    found = {Fraction(int(text), 1000)} if len(text) == 4 else set()
    full = cardinal(words)
    if full is not None and 1000 <= full < 2000:
        found.add(Fraction(full, 1000))
    if len(text) in (3, 4) and words[0] in PAIR:
        found.add(Fraction(int(text), 10 ** (len(text) - 2)))
    return found


def honest(words: Sequence[str]) -> set[tuple[Fraction, Fraction | None]]:
    """Every value, or range, that number words can mean."""
    said = tuple(words)
    found: set[tuple[Fraction, Fraction | None]] = set()
    for sign, rest in ((1, said), (-1, said[1:])):
        if (sign < 0) == (said[:1] == ("minus",)) and rest:
            found |= {(sign * n, None) for n in plain(rest) | compact(rest)}
    inner, links = (said[1:], ("and", "to")) if said[:1] == ("between",) else (said, ("to",))
    for at, word in enumerate(inner):
        if word in links:
            low, high = inner[:at], inner[at + 1 :]
            tops = _ends(high, ()) | _borrowed(low, high)
            found |= {(a, b) for a in _ends(low, high) for b in tops if a < b}
    return found


def _borrowed(low: tuple[str, ...], high: tuple[str, ...]) -> set[Fraction]:
    """The upper end of "twelve point four to six": its places alone were said."""
    point = next((n for n, word in enumerate(low) if word in ("point", "decimal")), None)
    if point is None or len(spelled(low[point + 1 :])) != len(spelled(high)):
        return set()
    return plain((*low[: point + 1], *high))


def _ends(words: tuple[str, ...], lends: tuple[str, ...]) -> set[Fraction]:
    """One end of a range, which may borrow what the other one ends in ("two to three eighths")."""
    found = {n for n, high in honest(words) if high is None} if words else set()
    for size in (1, 2):
        if lends[-size:] in PART or lends[-size:] in (("hundred",), ("thousand",)):
            found |= plain((*words, *lends[-size:]))
    return found


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


# --- holding what is understood against what was said ----------------------------------------------


@dataclass
class Outcome:
    """What became of many phrases."""

    counts: Counter[str] = field(default_factory=Counter)
    by_style: Counter[tuple[str, str]] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)
    slow: list[str] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    slowest_ms: float = 0.0
    times_ms: list[float] = field(default_factory=list)

    def take(
        self, text: str, style: str, wanted: Wanted, understand: Callable[[], Understanding]
    ) -> None:
        """Understand one text, and note what came of it."""
        began = time.thread_time()
        try:
            found = understand()
        except Exception as error:  # anything at all: that is what is looked for
            self.failed.append(f"{text!r}: {error!r}")
            return
        took = (time.thread_time() - began) * 1000
        self.times_ms.append(took)
        self.slowest_ms = max(self.slowest_ms, took)
        if took > SLOW_MS:
            self.slow.append(f"{text!r}: {took:.0f} ms")
        self.counts[found.decision.value] += 1
        self.by_style[style, found.decision.value] += 1
        if found.decision is Decision.REFUSE:
            self.refused.append(f"{text!r}: {found.reason}")
        if found.decision is Decision.ACCEPT:
            got = values_of(found)
            if got != wanted:
                self.wrong.append(f"{text!r}: said {told(wanted)}, taken {told(got)}")

    @property
    def faults(self) -> list[str]:
        """Everything that must not be."""
        return [*self.wrong, *self.failed, *self.slow]

    def __str__(self) -> str:
        each = ", ".join(f"{n} {name}" for name, n in sorted(self.counts.items()))
        median = sorted(self.times_ms)[len(self.times_ms) // 2] if self.times_ms else 0.0
        return (
            f"{sum(self.counts.values())}: {each}; {len(self.wrong)} wrong, {len(self.failed)} failed, "
            f"{len(self.slow)} over {SLOW_MS:.0f} ms (median {median:.2f}, slowest {self.slowest_ms:.0f} ms)"
        )


SLOW_MS = 200.0
Wanted = tuple[Fraction, Fraction | None, str, str | None] | None


def told(value: Wanted) -> str:
    if value is None:
        return "nothing"
    low, high, unit, qualifier = value
    return f"{qualifier or ''} {low}{'' if high is None else f'..{high}'} {unit}".strip()


def values_of(found: Understanding) -> Wanted:
    """The one value that is accepted, as it would be said."""
    quantity = found.finding.quantity if found.finding is not None else None
    if quantity is None or found.parts:
        return None
    return as_wanted(quantity)


def as_wanted(quantity: Quantity) -> Wanted:
    qualifier = quantity.qualifier.value if quantity.qualifier is not None else None
    return quantity.value, quantity.high, quantity.unit, qualifier


def say_phrases(language: InspectionLanguage, count: int, seed: int = 1) -> Outcome:
    """``count`` phrases of values of the catalogue, a twelfth of them corrections."""
    draw, outcome, known = random.Random(seed), Outcome(), measured(language)
    for _ in range(count):
        one = draw.choice(known)
        value = drawn(one, draw)
        text = phrase(one, value, draw)
        wanted = (value.value, value.high, one.unit, value.qualifier)
        way = draw.random()
        if way < 0.04:
            text = f"correction {text}"
        elif way < 0.08:
            before = drawn(one, draw)
            link = draw.choice(["correction", "no i meant", "no i meant", "correction"])
            after = with_unit(value, one.unit, draw)
            text = f"{one.name} {with_unit(before, one.unit, draw)} {link} {after}"
        style = f"{'spoken' if value.spoken else 'typed'} {value.style}"
        if value.spoken and value.high is None and value.qualifier is None:
            meant = {low for low, _ in honest(value.text.split())}
            assert value.value in meant, (value, meant)
        outcome.take(text, style, wanted, lambda text=text: language.understand(text))  # type: ignore[misc]
    return outcome


def sample_phrases(language: InspectionLanguage, count: int, seed: int = 2) -> Outcome:
    """``count`` phrases that listeners are offered, each value held against this file's reader."""
    sampler = Sampler(language.grammar.rules, ["catalogue.findings"], seed=seed)
    outcome = Outcome()
    for _ in range(count):
        text = sampler.random_phrase()
        began = time.thread_time()
        found = language.understand(text)
        took = (time.thread_time() - began) * 1000
        outcome.times_ms.append(took)
        outcome.slowest_ms = max(outcome.slowest_ms, took)
        outcome.counts[found.decision.value] += 1
        quantity = found.finding.quantity if found.finding is not None else None
        if took > SLOW_MS:
            outcome.slow.append(f"{text!r}: {took:.0f} ms")
        if found.decision is not Decision.ACCEPT or quantity is None:
            continue
        if not any(_is(quantity, text) for text in [quantity.words]):
            outcome.wrong.append(f"{text!r}: taken {told(as_wanted(quantity))}")
    return outcome


SCALE = {"thou": Fraction(1, 1000), "thousandths": Fraction(1, 1000), "mils": Fraction(1, 1000), "mil": Fraction(1, 1000)}  # fmt: skip
_QUALIFIERS = sorted(["just under", "just over", *QUALIFIED], key=len, reverse=True)


def _is(quantity: Quantity, text: str) -> bool:
    """Whether some first words of the value, without its qualifier, say its number."""
    for qualifier in _QUALIFIERS:
        text = text.removeprefix(f"{qualifier} ")
    words = text.replace("below zero", "").split()
    sign = -1 if text.endswith("below zero") else 1
    tried = [words[:n] for n in range(1, len(words) + 1)]
    tried += [["one", *words[1:]]] if words[:1] in (["a"], ["an"]) else []
    if words[:1] in (["a"], ["an"]):
        tried.append(["one", *words[2:]])
        tried.append(["one"])
    for said in tried:
        for low, high in honest([word for word in said if word not in ("of",)]):
            for scale in {Fraction(1), *(SCALE[w] for w in words if w in SCALE)}:
                top = None if high is None else high * scale
                if (sign * low * scale, top) == (quantity.value, quantity.high):
                    return True
    return False


# --- questions and their answers -------------------------------------------------------------------


def say_answers(language: InspectionLanguage, count: int, seed: int = 3) -> Outcome:
    """``count`` answers to questions about values: what is accepted is what was said, no more and no less."""
    draw, outcome, known = random.Random(seed), Outcome(), measured(language)
    while sum(outcome.counts.values()) + len(outcome.failed) < count:
        one = draw.choice(known)
        for first, asked, text, style, wanted in _answers(language, one, draw):
            told_ = f"{first} / {text}"
            outcome.take(told_, style, wanted, lambda a=asked, t=text: language.answer(a, t))  # type: ignore[misc]
    return outcome


def _answers(
    language: InspectionLanguage, one: Measured, draw: random.Random
) -> Iterator[tuple[str, Understanding, str, str, Wanted]]:
    """A question about a value of ``one``, and an answer to it with what it then means."""
    value = drawn(one, draw)
    bare = draw.random() < 0.6
    first = f"{one.name} {value.text if bare else with_unit(value, one.unit, draw)}"
    asked = language.understand(first)
    if asked.decision is not Decision.ASK or not asked.offered:
        return
    offered = {as_wanted(each.quantity) for each in asked.offered if each.quantity is not None}
    said = (value.value, value.high, one.unit, value.qualifier)
    only = next(iter(offered)) if len(offered) == 1 and len(asked.offered) == 1 else None
    other = drawn(one, draw)
    anew = (other.value, other.high, one.unit, other.qualifier)
    unit = draw.choice(SPOKEN[one.unit])
    again = with_unit(other, one.unit, draw)
    same = with_unit(value, one.unit, draw)
    yes, no = (
        draw.choice(["yes", "affirm", "that's right", "yeah"]),
        draw.choice(["no", "negative"]),
    )
    yield first, asked, yes, "yes", only
    yield first, asked, again, "value anew", anew
    yield first, asked, same, "value again", said
    yield first, asked, f"{no}, {again}", "no and value", anew
    yield first, asked, f"{yes}, {same}", "yes and value", said
    yield first, asked, f"{yes}, {again}", "yes and another", anew if anew in offered else None
    if only is None or only[:2] == said[:2]:
        yield first, asked, unit, "unit", said if bare else None
    yield first, asked, other.text, "number alone", _of_inch(other, anew)
    yield first, asked, value.text, "number again", _of_inch(value, said) if bare else said


def _of_inch(told: Drawn, meant: Wanted) -> Wanted:
    """Eighths without a unit are parts of an inch."""
    parts_ = {"part 8", "part 16", "part 32", "part 64"}
    if meant is None or told.value.denominator == 1 or not any(p in told.style for p in parts_):
        return meant
    low, high, _, qualifier = meant
    return low, high, "in", qualifier


def main() -> None:
    phrases, answers = (int(n) for n in (*sys.argv[1:], "2000", "1000")[:2])
    language = load_language()
    language.understand("frnot pads")  # the first refusal builds the word graph, once
    for name, outcome in (
        ("phrases", say_phrases(language, phrases // 2)),
        ("phrases of the grammar", sample_phrases(language, phrases - phrases // 2)),
        ("answers", say_answers(language, answers)),
    ):
        print(f"{name} {outcome}")
        for style in sorted({style for style, _ in outcome.by_style}):
            row = {d: outcome.by_style[style, d] for d in ("accept", "ask", "refuse")}
            print(f"  {style}: {row}")
        for refused in outcome.refused[:: max(1, len(outcome.refused) // 30)]:
            print("  ?", refused)
        for fault in outcome.faults[:60]:
            print("  !", fault)


if __name__ == "__main__":
    main()
