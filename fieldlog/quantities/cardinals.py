"""Cardinals, digit strings and pairs: the shapes whole numbers are said in (pure)."""

from __future__ import annotations

from fieldlog.quantities.number_words import DIGITS, REPEATS, SCALES, TEENS, TENS, ZEROS

DIGIT_WORDS = DIGITS
_TWO_DIGITS = {**TEENS, **TENS}


def below_hundred(words: tuple[str, ...]) -> int | None:
    """1..99 said in full ("seven", "twelve", "forty", "forty seven"); None otherwise."""
    if len(words) == 1:
        return DIGITS.get(words[0], _TWO_DIGITS.get(words[0]))
    if len(words) == 2 and words[0] in TENS and words[1] in DIGITS:
        return TENS[words[0]] + DIGITS[words[1]]
    return None


def _rest(words: tuple[str, ...], limit: int) -> int | None:
    """What follows a scale word: nothing, a smaller number, *and* with 1..99 or, behind a thousand
    and more, with hundreds ("twelve thousand and three hundred")."""
    if not words:
        return 0
    if words[0] == "and":
        hundreds = limit > 100 and "hundred" in words
        value = _hundreds(words[1:]) if hundreds else below_hundred(words[1:])
        return value if value is not None and value < limit else None
    value = cardinal(words) if limit > 100 else below_hundred(words)
    return value if value is not None and value < limit else None


def _hundreds(words: tuple[str, ...]) -> int | None:
    at = words.index("hundred")
    left, right = words[:at], words[at + 1 :]
    many = 1 if left in ((), ("a",)) else below_hundred(left)
    # "twelve hundred" is said, "twenty hundred" is not.
    if many is None or (many >= 10 and many % 10 == 0):
        return None
    rest = _rest(right, 100)
    return None if rest is None else many * 100 + rest


def cardinal(words: tuple[str, ...]) -> int | None:
    """A whole number from 1 said in full, up to the trillions; None when it is not one.

    "a hundred and five", "one hundred five", "twelve hundred", "forty two thousand two hundred
    fifty nine". Zero, digit strings and pairs are not cardinals.
    """
    for name, scale in SCALES:
        if name in words:
            at = words.index(name)
            left, right = words[:at], words[at + 1 :]
            many = 1 if left in ((), ("a",)) else cardinal(left)
            if many is None or many >= 1000:
                return None
            rest = _rest(right, scale)
            return None if rest is None else many * scale + rest
    if "hundred" in words:
        return _hundreds(words)
    return below_hundred(words)


def _digit(word: str) -> str:
    if word in ZEROS:
        return "0"
    return str(DIGITS[word]) if word in DIGITS else ""


def digit_string(words: tuple[str, ...]) -> str:
    """Digits said one by one, "double" and "triple" included, as text; "" when they are not."""
    text, repeat = "", 0
    for word in words:
        if word in REPEATS and not repeat:
            repeat = REPEATS[word]
            continue
        digit = _digit(word)
        if not digit:
            return ""
        text += digit * (repeat or 1)
        repeat = 0
    return "" if repeat else text


def _pair(words: tuple[str, ...]) -> tuple[str, int]:
    """The two digits that the words begin with, and how many words they take ("", 0 if none)."""
    if not words:
        return "", 0
    if words[0] in TENS:
        if len(words) > 1 and words[1] in DIGITS:
            return str(TENS[words[0]] + DIGITS[words[1]]), 2
        return str(TENS[words[0]]), 1
    if words[0] in TEENS:
        return str(TEENS[words[0]]), 1
    if words[0] in ZEROS and len(words) > 1 and _digit(words[1]):
        return "0" + _digit(words[1]), 2
    if words[0] == "double" and len(words) > 1 and words[1] in ZEROS:
        return "00", 2
    return "", 0


def pair_string(words: tuple[str, ...]) -> str:
    """Digits said in twos, after at most one single digit in front, as text; "" otherwise.

    "twenty five oh one" = "2501", "one twenty" = "120", "five thirty" = "530", "one oh five" =
    "105", "oh five twenty one" = "0521". A lone zero word never follows ("thirty oh").
    """
    text, at = "", 0
    pair, size = _pair(words)
    if not pair and words and words[0] in DIGITS:
        text, at = str(DIGITS[words[0]]), 1
    groups = 0
    while at < len(words):
        pair, size = _pair(words[at:])
        if not pair:
            break
        text += pair
        at += size
        groups += 1
    if at < len(words):
        # "twelve six": one digit may close a string that began with a pair other than a round ten.
        last = words[at:]
        if groups == 1 and len(text) == 2 and len(last) == 1 and last[0] in DIGITS:
            return text + str(DIGITS[last[0]])
        return ""
    return text if groups and len(text) > 2 else ""


def leading_pair(words: tuple[str, ...]) -> tuple[int | None, tuple[str, ...]]:
    """A two-digit number at the front and the words after it (None and all words if none)."""
    pair, size = _pair(words)
    if not pair or pair[0] == "0":
        return None, words
    return int(pair), words[size:]


def decimal_string(words: tuple[str, ...]) -> str:
    """The digits after a point as text: one by one, in pairs, or both ("oh seventy five").

    A round ten is never followed by a zero word, so that "thirty oh" stays no number.
    """
    literal = digit_string(words)
    if literal:
        return literal
    text, at, round_ten = "", 0, False
    while at < len(words):
        word = words[at]
        if word in _TWO_DIGITS:
            pair, size = _pair(words[at:])
            text, at, round_ten = text + pair, at + size, pair.endswith("0")
        elif _digit(word):
            if round_ten and word in ZEROS:
                return ""
            text, at, round_ten = text + _digit(word), at + 1, False
        else:
            return ""
    return text
