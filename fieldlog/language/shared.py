"""One thing said of several: "tail light and brake light work", "all four indicators work" (pure)."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

from fieldlog.language.lexicon import Words
from fieldlog.language.shape import SIDE
from fieldlog.language.subjects import About, SubjectReader

_AND = "and"
_MOST_PLACES = 4
_CONTROLS = {("front", "and", "rear"): "control", ("rear", "and", "front"): "control"}


def shared(
    words: Words, subjects: SubjectReader, each: tuple[Words, ...]
) -> Iterator[tuple[Words, ...]]:
    """Every way to read ``words`` as several findings that share their words, each written out."""
    yield from _of_all(words, subjects, each)
    yield from _placed_behind(words, subjects)
    for at in range(1, len(words) - 1):
        if words[at] == _AND:
            yield from _of_two(words[:at], words[at + 1 :], subjects)


def _of_two(left: Words, right: Words, subjects: SubjectReader) -> Iterator[tuple[Words, ...]]:
    whole = any(about.used == len(left) for about in subjects.read(left))
    named = subjects.read(right)
    for about in named:
        said = right[about.used :]
        if not said:
            continue
        if whole:  # "tail light and brake light work"
            for place in _lent(left, about, subjects):  # "rear pads and disc replaced"
                yield (*left, *said), (*place, *right)
            yield (*left, *said), right
        for start in range(1, about.used):  # "high and low beam work"
            lent = (*left, *right[start : about.used])
            if any(one.used == len(lent) for one in subjects.read(lent)):
                yield (*lent, *said), right
    for about in () if named else subjects.read(left):
        if about.used < len(left):  # "clutch cable lubed and adjusted"
            yield left, (*left[: about.used], *right)


def _of_all(
    words: Words, subjects: SubjectReader, each: tuple[Words, ...]
) -> Iterator[tuple[Words, ...]]:
    """ "All four indicators work", "brake light works front and rear"."""
    for phrase in each:
        n = len(phrase)
        if words[:n] != phrase:
            continue
        for about in subjects.read(words[n:]):
            places = [*_places(about, subjects)]
            counted = "four" not in phrase or len(places) == _MOST_PLACES
            if counted and not about.missing and about.used < len(words) - n:
                yield (words[n:],)  # "all valve clearances in spec"
            if counted and 1 < len(places) <= _MOST_PLACES and about.used < len(words) - n:
                yield tuple((*place, *words[n:]) for place in places)
    for about in subjects.read(words):
        said = words[about.used + 1 :]
        places = [*_places(about, subjects)] or [
            (value,)
            for axis in about.axes
            for value in subjects.values(axis.name)
            if axis.name == SIDE and axis.name not in about.places
        ]
        if words[about.used : about.used + 1] in (("is",), ("are",)):
            said = words[about.used + 2 :]  # "rear indicators are both working"
        both = "both" in words[about.used : about.used + 2]
        if both and said and "both" not in said and len(places) == 2:
            yield tuple((*place, *words[: about.used], *said) for place in places)
        yield from _all_behind(words, about, each, [*_places(about, subjects)])
    for phrase, axis in _CONTROLS.items():
        if words[-len(phrase) :] != phrase:
            continue
        said = words[: -len(phrase)]
        for about in subjects.read(said):
            if axis in {one.name for one in about.axes} and about.used < len(said):
                yield tuple((*said, "from", "the", value) for value in subjects.values(axis))


def _all_behind(
    words: Words, about: About, each: tuple[Words, ...], places: list[Words]
) -> Iterator[tuple[Words, ...]]:
    """ "Indicators all working"; of one mirror that is "all loose" nobody knows which it is."""
    if not words[about.used - 1].endswith("s"):
        return
    at = about.used + (words[about.used : about.used + 1] in (("is",), ("are",)))
    for phrase in each:
        said = words[at + len(phrase) :]
        counted = "four" not in phrase or len(places) == _MOST_PLACES
        behind = words[at : at + len(phrase)] == phrase and said and counted
        if behind and 1 < len(places) <= _MOST_PLACES:
            yield tuple((*place, *words[: about.used], *said) for place in places)


def _placed_behind(words: Words, subjects: SubjectReader) -> Iterator[tuple[Words, ...]]:
    """ "Tappet clearance six thou inlet eight thou exhaust": each value with its place behind it."""
    for about in subjects.read(words):
        named, rest = words[: about.used], words[about.used :]
        for axis in (one for one in about.axes if one.name not in about.places):
            places = {value for value in subjects.values(axis.name) if " " not in value}
            said: dict[str, Words] = {}
            segment: Words = ()
            for word in rest:
                if word in places and segment and word not in said:
                    said[word], segment = segment, ()
                else:
                    segment = (*segment, word)
            if len(said) > 1 and not segment:
                yield tuple((place, *named, *body) for place, body in said.items())


def _lent(left: Words, about: About, subjects: SubjectReader) -> Iterator[Words]:
    """The place that ``left`` begins with, where ``about`` needs one and names none."""
    for one in subjects.read(left):
        lacking = {axis.name for axis in about.missing}
        said = {axis: value for axis, value in one.places.items() if axis in lacking}
        if said and one.used == len(left):
            yield tuple(word for value in said.values() for word in value.split())


def _places(about: About, subjects: SubjectReader) -> Iterator[Words]:
    """The words of every place that is needed and was not said."""
    missing = about.missing
    if missing:
        for values in product(*(subjects.values(axis.name) for axis in missing)):
            yield tuple(word for value in values for word in value.split())
