"""Typed spellings -> the words of the grammar, which writes what listeners' dictionaries know (pure)."""

from __future__ import annotations

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


def respell(words: tuple[str, ...]) -> tuple[str, ...]:
    """``words`` with joined or other spellings as the grammar has them."""
    if not any(word in _TOGETHER for word in words):
        return words
    return tuple(part for word in words for part in _TOGETHER.get(word, word).split())
