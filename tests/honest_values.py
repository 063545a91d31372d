"""A reader of spoken and typed values that is the tests' own: everything that words can honestly mean."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

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
