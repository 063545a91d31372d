"""Typed spellings -> the words of the grammar, which writes what listeners' dictionaries know (pure)."""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType

_TOGETHER: Mapping[str, str] = MappingProxyType(
    {
        "calliper": "caliper",
        "callipers": "calipers",
        "tyres": "tyre",
        "tires": "tire",
        "swingarm": "swing arm",
        "sidestand": "side stand",
        "kickstand": "kick stand",
        "centrestand": "centre stand",
        "centerstand": "center stand",
        "footpeg": "foot peg",
        "footpegs": "foot pegs",
        "footrest": "foot rest",
        "footrests": "foot rests",
        "mudgard": "mudguard",
        "runout": "run out",
        "freeplay": "free play",
        "liftoff": "lift off",
        "headlights": "headlight",
        "taillamp": "tail lamp",
        "stoplight": "stop light",
        "sidewall": "sidewall",
        "crankcases": "crankcase",
        "airbox": "air box",
        "carburettor": "carburetor",
        "carb": "carburetor",
        "colour": "color",
        "doesnt": "does not",
        "isnt": "is not",
        "cant": "cannot",
        "ok": "okay",
        "abs": "a b s",
        "overfull": "over full",
        "burned": "burnt",
        "preload": "preload",
        "idling": "idle",
        "gearshift": "gear shift",
        "thirtysecond": "thirty second",
        "thirtyseconds": "thirty seconds",
    }
)
_SAME = frozenset(word for word, to in _TOGETHER.items() if word == to)


_MONTHS = (
    *("january", "february", "march", "april", "may", "june", "july", "august", "september"),
    *("october", "november", "december"),
)
_ISO_DATE = re.compile(r"\b(\d{4})-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])\b")
_ORDINAL_DAY = re.compile(rf"\b(\d{{1,2}})(?:st|nd|rd|th)(?: of)? (?={'|'.join(_MONTHS)})")
_TEMPERATURE = re.compile(r"(?<=\d)\s?°?\s?([cf])\b(?!\.)")
_SIZE = re.compile(r"(\d+/\d+)\s?-\s?(?=\d)")
_BETWEEN_READINGS = re.compile(r"(?<=[a-z0-9]),\s+(?=[a-z0-9.])")


def respell_written(text: str) -> str:
    """Written forms that only make sense to the eye, in words: dates, sizes, "150 C", commas.

    ``text`` is lower case.
    """
    text = _ISO_DATE.sub(lambda m: f"{int(m[3])} {_MONTHS[int(m[2]) - 1]} {m[1]}", text)
    text = _ORDINAL_DAY.sub(r"\1 ", text)
    text = _TEMPERATURE.sub(lambda m: " degrees " + {"c": "celsius", "f": "fahrenheit"}[m[1]], text)
    if "size" in text:
        text = _SIZE.sub(r"\1 ", text)
    if "reading" in text:
        text = _BETWEEN_READINGS.sub(" then ", text)
    return text


def respell(words: tuple[str, ...]) -> tuple[str, ...]:
    """``words`` with joined or other spellings as the grammar has them."""
    if not any(word in _TOGETHER for word in words):
        return words
    return tuple(part for word in words for part in _TOGETHER.get(word, word).split())
