"""What is said of a part that was not named, or not in full: asked, with what it may be (pure)."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cached_property

from fieldlog.catalogue.component import SOUND, Catalogue, Component
from fieldlog.catalogue.phrases import expand
from fieldlog.language.asked import (
    asked_in_full,
)
from fieldlog.language.breath import Breath, asked_of
from fieldlog.language.decide import decide
from fieldlog.language.lexicon import Words
from fieldlog.language.one_finding import FOUND_IN
from fieldlog.language.reading import Reading, Standing
from fieldlog.language.subjects import About, SubjectReader
from fieldlog.language.typed import other_number
from fieldlog.language.values import ValueReader
from fieldlog.model.understanding import Decision, Understanding

_MOST_PARTS = 5
"""Parts that are offered where one was named in part."""
_MOST_OFFERED = 3
"""Parts that a place and a value may be of, where none was named: of more it is no question."""
_SO_FAR = (("on", "it"), ("on", "the", "clock"), ("so", "far"))
_PLACES = frozenset({"front", "rear", "back", "left", "right"})
_ENDS = frozenset({"front", "rear", "back"})
_UNNAMED = (("test", "ride"), ("engine",), ("gearbox",), ("idle",), ("odometer",))
"""What is spoken of where nothing is named: "pulls to the left", "smokes"."""


class UnnamedReader:
    """Finds the parts that words without a full name can be of."""

    def __init__(
        self,
        catalogue: Catalogue,
        subjects: SubjectReader,
        values: ValueReader,
        plain: Callable[[Words, str], Understanding],
    ) -> None:
        """``plain``: what words are as one finding."""
        self._catalogue = catalogue
        self._subjects = subjects
        self._values = values
        self._plain = plain

    def of_what(self, words: Words, text: str) -> Breath | None:
        """What was said of a part that was not named in full, or not at all: asked with what it may be.

        "Lever pulls firm", "static sag thirty five", "wobbles at sixty".
        """
        said = words[1:] if words[:1] == ("the",) else words
        said = next((said[: -len(end)] for end in _SO_FAR if said[-len(end) :] == end), said)
        place = said[:1] if said[:1] and said[0] in _PLACES else ()
        rest = said[len(place) :]
        if not rest or self._subjects.read(words):
            return None
        names = self._named_in_part.get(rest[0], ())
        tried = [(*place, *name, *rest[1:]) for name in names]
        tried += [(*place, *name, *rest) for name in self._measured_parts.get(rest[0], ())]
        tried += [] if place or tried else [(*name, *rest) for name in _UNNAMED]
        found = [one for each in tried if (one := self._plain(each, text)).offered]
        parts = {one.component for each in found for one in each.offered}
        if not found or len(parts) > _MOST_PARTS or any(one.dialogue for one in found):
            return None
        if any(one.condition == SOUND for each in found for one in each.offered) and not names:
            return None
        return asked_of(text, found, "of what was not said")

    def of_several(self, words: Words, text: str, typed: Callable[[str], Breath]) -> Breath | None:
        """ "Pressures thirty six front forty two rear": what is measured of one kind of part.

        ``typed``: what a text comes to as a whole breath.
        """
        names = self._measured_parts.get(other_number(words[0]) if words else "", ())
        if not names or self._subjects.read(words):
            return None
        tried = [typed(" ".join((*name, *words))) for name in names]
        found = [each for each in tried if len(each.whole.offered) > 1]
        if len(found) != 1:
            return None
        if found[0].whole.decision is Decision.ASK:
            return Breath(text, (replace(found[0].whole, text=text),))
        return replace(found[0], text=text).asked("of what was not said")

    def of_places(self, words: Words, text: str, commas: frozenset[int]) -> Breath | None:
        """ "Front thirty four, rear thirty eight": of what is asked for all of it."""
        pieces: list[Words] = [()]
        for at, word in enumerate(words):
            if at in commas or word == "and":
                pieces.append(())
            pieces[-1] = (*pieces[-1], *(() if word == "and" else (word,)))
        found = [self.of_a_place(piece, text) for piece in pieces if len(pieces) > 1]
        asked = [one for one in found if one is not None]
        return (
            asked_of(text, asked, "of what was not said")
            if asked and len(asked) == len(found)
            else None
        )

    def of_a_place(self, words: Words, text: str) -> Understanding | None:
        """ "Front's at thirty three psi": what has that place and can measure that, to be asked."""
        said = words[1:] if words[:1] == ("set",) else words
        said = said[1:] if said[:1] == ("the",) else said
        if said[-2:-1] == ("the",) and said[-3:-2] in FOUND_IN and said[-1] in _ENDS:
            said = (said[-1], *said[:-3])  # "thirty eight in the back"
        place = "rear" if said[:1] == ("back",) else next(iter(said), "")
        axis = next((a for a in ("end", "side") if place in self._subjects.values(a)), "")
        rest = said[2:] if said[1:2] == ("to",) else said[1:]
        if not axis or not rest:
            return None
        readings = [
            reading
            for component in self._catalogue
            if axis in {one.name for one in component.axes}
            for reading in self._values.read(
                About(component, None, component.axes, {axis: place}, 0), rest, text
            )[0]
            if reading.finding.quantity is not None
            and (reading.standing is Standing.FITS or _is_pressure(component, reading))
        ]
        decided = decide(readings, text, self._subjects.values)
        if decided is None or len(decided.offered) > _MOST_OFFERED:
            return None
        return asked_in_full(decided, "of what was not said")

    @cached_property
    def _named_in_part(self) -> Mapping[str, tuple[Words, ...]]:
        """The last word of names -> a name of each component that ends so: "lever", "pedal"."""
        found: dict[str, dict[str, Words]] = {}
        for one in self._catalogue:
            for name in (tuple(p.split()) for t in (*one.spoken, *one.typed) for p in expand(t)):
                for last in (name[-1], other_number(name[-1])) if len(name) > 1 else ():
                    found.setdefault(last, {}).setdefault(one.name, name)
        return {word: tuple(names.values()) for word, names in found.items()}

    @cached_property
    def _measured_parts(self) -> Mapping[str, tuple[Words, ...]]:
        """The first word of what is measured -> a name of each component that it is measured of."""
        found: dict[str, dict[str, Words]] = {}
        for one in self._catalogue:
            name = tuple(expand((one.spoken or one.typed)[0])[0].split())
            for each in one.characteristics:
                for words in (p.split() for t in (*each.words, *each.typed) for p in expand(t)):
                    if words:
                        found.setdefault(words[0], {}).setdefault(one.name, name)
        return {word: tuple(names.values()) for word, names in found.items()}


def _is_pressure(component: Component, reading: Reading) -> bool:
    """ "Front thirty four": of what has an end, a number without its unit is a tyre's pressure."""
    return component.system == "tyres" and reading.standing is Standing.NO_UNIT
