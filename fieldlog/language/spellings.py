"""Typed spellings -> the words of the grammar, which writes what listeners' dictionaries know (pure)."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from types import MappingProxyType

from fieldlog.quantities.written import is_listed
from fieldlog.quantities.written_dates import dates_in_words

_TOGETHER: Mapping[str, str] = MappingProxyType(
    {
        "sg": "specific gravity",
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
        "arent": "are not",
        "dont": "do not",
        "wont": "will not",
        "wouldnt": "will not",
        "hasnt": "has not",
        "havent": "have not",
        "wasnt": "was not",
        "werent": "were not",
        "theres": "there is",
        "couldnt": "could not",
        "didnt": "did not",
        "shouldnt": "should not",
        "hadnt": "had not",
        "ht": "h t",
        "rears": "rear",
        "fronts": "front",
        "lefts": "left",
        "rights": "right",
        "taillight": "tail light",
        "taillights": "tail light",
        "brakelight": "brake light",
        "brakelights": "brake light",
        "numberplate": "number plate",
        "waterpump": "water pump",
        "cant": "cannot",
        "overtight": "over tight",
        "overtightened": "over tight",
        "spindle": "axle",
        "spindles": "axles",
        "carbs": "carburetors",
        "carburettors": "carburetors",
        "cutout": "cut out",
        "rads": "radiator",
        "rad": "radiator",
        "syncd": "synced",
        "synched": "synced",
        "downpipe": "down pipe",
        "downpipes": "down pipe",
        "handgrip": "grip",
        "handgrips": "grips",
        "pillion": "passenger",
        "topbox": "top box",
        "dipswitch": "dip switch",
        "flyscreen": "windscreen",
        "gaitor": "gaiter",
        "gaitors": "gaiters",
        "wheelbearing": "wheel bearing",
        "wheelbearings": "wheel bearings",
        "headbearing": "head bearing",
        "headbearings": "head bearings",
        "sidestands": "side stand",
        "sparkplug": "spark plug",
        "sparkplugs": "spark plugs",
        "percents": "percent",
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


_TEMPERATURE = re.compile(r"(?<=\d)\s?°?\s?([cf])\b(?!\.\w)")
_LOAD_SPEED = r"(?:\s?m/c)?(?:\s?\(?(?P<load>\d\d)\s?(?P<speed>[a-z])\)?(?![a-z]))?"
_SIZES = (
    re.compile(
        r"\b(?P<width>[5-9]\d|[12]\d\d)/(?P<aspect>\d{2,3})\s?-?\s?(?P<build>zr|r|b)?\s?-?\s?"
        r"(?P<rim>\d\d)(?!\d)" + _LOAD_SPEED
    ),
    re.compile(
        r"\b(?P<width>[2-6]\.\d\d)\s?-\s?(?P<rim>\d\d)(?![\d.]|\s?(?:mm|in|v|bar|psi)\b)"
        + _LOAD_SPEED
    ),
    re.compile(
        r"\bm(?P<letter>[hjlnprstuv])\s?(?P<aspect>\d\d)\s?-?\s?(?P<build>b)?\s?-?\s?"
        r"(?P<rim>\d\d)(?!\d)" + _LOAD_SPEED
    ),
)
"""Tyre sizes as moulded: 120/70 ZR17 58W, 3.25-19, MT90B16."""
_ICAO = {
    word[0]: word
    for word in (
        *("alfa", "bravo", "charlie", "delta", "echo", "foxtrot", "golf", "hotel", "india"),
        *("juliett", "kilo", "lima", "mike", "november", "oscar", "papa", "quebec", "romeo"),
        *("sierra", "tango", "uniform", "victor", "whiskey", "xray", "yankee", "zulu"),
    )
}
_BRITISH_SIDE = re.compile(r"\b(near|off)[ -]side\b")
_SHORT_SIDES = (
    (re.compile(r"\bn/s\b"), "nearside"),
    (re.compile(r"\bo/s\b"), "offside"),
    (re.compile(r"\bl/?h/?s?\b"), "left"),
    (re.compile(r"\br/?h/?s?\b"), "right"),
)
_OWNERS = frozenset({"driver", "rider", "operator", "owner", "maker", "customer", "manufacturer"})
_HAS = re.compile(
    r"\b([a-z]+)['\u2019]s (?=(?:got|been|gone|had|lost|become|started|worn out|seized up)\b)"
)
_APOSTROPHE = re.compile(r"\b([a-z]+\d?)['\u2019]s\b")
"""That of "the coolant's down"; behind an owner it says whose a thing is."""
_TOGETHER_PHRASES: Mapping[tuple[str, ...], tuple[str, ...]] = MappingProxyType(
    {
        tuple(said.split()): tuple(written.split())
        for said, written in {
            "swinging arm": "swing arm",
            "swinging fork": "swing arm",
            "dip beam": "low beam",
            "per cent": "percent",
            "re set": "reset",
            "half way": "halfway",
            "oil and filter": "oil and oil filter",
            **{
                f"off the {what}": f"from the {what}"
                for what in (
                    "pedal",
                    "lever",
                    "brake pedal",
                    "brake lever",
                    "front lever",
                    "rear pedal",
                )
            },
            **{
                f"{port} {said}": f"{port} valve {said}"
                for port in ("inlet", "intake", "exhaust")
                for said in ("clearance", "clearances", "gap", "gaps")
            },
            **{
                f"bike {said}": f"test ride {said}"
                for said in (
                    "pulls",
                    "drifts",
                    "weaves",
                    "wobbles",
                    "vibrates",
                    "shakes",
                    "tracks",
                    "wanders",
                )
            },
        }.items()
    }
)
"""Two words that the grammar says otherwise."""
_BEGIN_PHRASES = frozenset(said[0] for said in _TOGETHER_PHRASES)
_BETWEEN_READINGS = re.compile(r"(?<=[a-z0-9])[,;]\s+(?=[a-z0-9.-])")


def respell_written(text: str) -> str:
    """Written forms that only make sense to the eye, in words: dates, sizes, "150 C", lists.

    ``text`` is lower case.
    """
    text = _APOSTROPHE.sub(
        lambda m: f"{m[1]}s" if m[1] in _OWNERS else f"{m[1]} is",
        _HAS.sub(r"\1 has ", _BRITISH_SIDE.sub(r"\1side", text)),
    )
    for short, side in _SHORT_SIDES:
        text = short.sub(side, text)
    text = dates_in_words(text)
    text = _TEMPERATURE.sub(lambda m: " degrees " + {"c": "celsius", "f": "fahrenheit"}[m[1]], text)
    for size in _SIZES:
        text = size.sub(_spaced, text)
    return _BETWEEN_READINGS.sub(" then ", text) if is_listed(text) else text


def owned_ways(text: str) -> Iterator[str]:
    """``text`` with one "'s" after the other taken for whose a thing is: "left mirror's glass"."""
    for found in _APOSTROPHE.finditer(text.lower()):
        if len(text.lower()) == len(text):
            yield f"{text[: found.end(1)]}{text[found.end() :]}"


def _spaced(match: re.Match[str]) -> str:
    """A tyre size with its parts apart, so that "57H" is not fifty-seven hours."""
    said = match.groupdict()
    letter, build = said.get("letter"), said.get("build")
    parts = [f"m {letter}" if letter else said["width"]]
    if said.get("aspect"):
        parts = [f"{parts[0]}/{said['aspect']}" if not letter else f"{parts[0]} {said['aspect']}"]
    parts += [" ".join(build)] if build else []
    parts.append(said["rim"])
    if said["load"]:
        parts += [said["load"], _ICAO[said["speed"]]]
    return " ".join(parts)


def respell(words: tuple[str, ...]) -> tuple[str, ...]:
    """``words`` with joined or other spellings as the grammar has them."""
    if any(word in _TOGETHER for word in words):
        words = tuple(part for word in words for part in _TOGETHER.get(word, word).split())
    if words[:2] == ("inch", "and"):  # "inch and a half of slack"
        words = ("an", *words)
    if _BEGIN_PHRASES.isdisjoint(words):
        return words
    for said, written in _TOGETHER_PHRASES.items():
        n = len(said)
        for at in range(len(words) - n, -1, -1):
            if words[at : at + n] == said:
                words = (*words[:at], *written, *words[at + n :])
    return words
