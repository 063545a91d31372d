"""The small words, places and pieces that stand beside a condition (pure)."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from functools import cached_property

from fieldlog.catalogue.component import SOUND
from fieldlog.catalogue.phrases import expand
from fieldlog.language.left_open import Open, Worded
from fieldlog.language.lexicon import Words
from fieldlog.language.subjects import About, SubjectReader
from fieldlog.language.typed import Sayings
from fieldlog.quantities.number_words import NUMBER_WORDS

_NO_THINGS = NUMBER_WORDS.union(
    (
        "all",
        "back",
        "down",
        "front",
        "full",
        "high",
        "in",
        "left",
        "low",
        "of",
        "rear",
        "right",
        "the",
    )
)
_OF_TWO = frozenset(
    ("front", "rear", "back", "left", "right", "top", "bottom", "inner", "outer", "upper", "lower")
)
"""Before a thing, where on the part something is: "cracked near the left peg" is of no left frame."""
_LOW = ("low",)
_ENDS_AND_SIDES = frozenset({"end", "side"})
_FLUIDS = frozenset({"oil", "fluid", "coolant"})
"""The last word of what leaks from something."""
_LEAKS = frozenset(
    ("leak", "leaks", "leaking", "weep", "weeps", "weeping", "seep", "seeping", "drip", "dripping")
)


class BesideReader:
    """Takes away what stands beside a condition, a step at a time."""

    def __init__(
        self,
        of: Callable[[str], Sayings],
        subjects: SubjectReader,
        nouns: Callable[[], Iterable[str]],
    ) -> None:
        """``of``: the sayings of a rule of trade.jsgf; ``nouns``: words of the names of parts."""
        self._subjects = subjects
        self._degree, self._hedge, self._throughout = of("degree"), of("hedge"), of("throughout")
        self._spot, self._thing, self._spot_alone = of("spot"), of("thing"), of("spot_alone")
        self._named = nouns

    @cached_property
    def _things(self) -> frozenset[str]:
        """Words for where on a part something is."""
        listed = {word for phrase in self._thing for word in phrase}
        return frozenset(listed.union(self._named()) - _NO_THINGS)

    def trimmed(
        self, about: About, said: Words, most: int, part: bool, *, spots: bool = True
    ) -> Iterator[tuple[About, Words, Words]]:
        """``said`` as it stands, then without the small words, places and ``spots`` beside it."""
        yield about, said, ()
        if not most:
            return
        for phrase in self._degree.before(said):
            yield from self.trimmed(about, said[len(phrase) :], most - 1, part, spots=spots)
        for phrase in self._degree.behind(said):
            yield from self.trimmed(about, said[: -len(phrase)], most - 1, part, spots=spots)
        for axis in () if part else about.axes:
            for value in self._subjects.values(axis.name) if axis.name not in about.places else ():
                for phrase in _at(axis.name, value):
                    if len(said) > len(phrase) and said[-len(phrase) :] == phrase:
                        placed = about.placed(axis.name, value)
                        yield from self.trimmed(placed, said[: -len(phrase)], most - 1, part)
        leaks = about.component.system == "fluids" and not _LEAKS.isdisjoint(said)
        fluid = leaks or about.component.name.split()[-1] in _FLUIDS
        axes = {axis.name for axis in about.axes}
        for size in self._spots(said) if spots else ():
            if said[:-size] == _LOW and said[-size] == "on":
                continue  # "low on water"
            placed_at = said[-2] if said[-1] == "side" else said[-1]
            if any(placed_at in self._subjects.values(one) for one in axes & _ENDS_AND_SIDES):
                continue  # of what has sides, "on the left" is which one
            if fluid and self._names_a_part(said[-size:]):
                continue  # "oil leaking from the left fork seal": that is what leaks
            for placed, body, where in self.trimmed(about, said[:-size], most - 1, part):
                yield placed, body, (*where, *said[-size:])

    def _names_a_part(self, spot: Words) -> bool:
        """ "from the left fork seal", but not "at the front"."""
        return any(
            about.used == len(spot) - at
            for at in (1, 2)
            for about in self._subjects.read(spot[at:])
        )

    def _spots(self, said: Words) -> Iterator[int]:
        """How many last words say where on the part something is: "near the banjo"."""
        yield from (len(phrase) for phrase in self._spot_alone.behind(said))
        for things in (1, 2, 3):
            named = said[-things:]
            named = named[1:] if things > 1 and named[0] in _OF_TWO else named
            if len(said) > things + 1 and self._things.issuperset(named):
                for phrase in self._spot.behind(said[:-things]):
                    yield len(phrase) + things

    def half_sound(self, told: Worded, body: Words, said: Words, where: Words) -> bool:
        """ "good, mostly", "good on top": in order, and something beside it says that not all of it is."""
        sound = bool(told.readings) and told.open is Open.NOTHING
        if not sound or any(one.finding.condition != SOUND for one in told.readings):
            return False
        if where and where not in self._throughout:
            return True
        beside = len(body) - len(said)
        return beside > 0 and any(
            body[at : at + size] in self._hedge
            for size in self._hedge.sizes
            for at in range(len(body) - size + 1)
        )


def named_last(about: About, rest: Words) -> Iterator[tuple[About, Words]]:
    """ "front tyre cracked sidewall", "... has a cut in the sidewall": what it is of stands last."""
    for one in about.component.characteristics if about.characteristic is None else ():
        for phrase in (tuple(p.split()) for t in (*one.words, *one.typed) for p in expand(t)):
            if one.conditions and len(rest) > len(phrase) and rest[-len(phrase) :] == phrase:
                named = About(about.component, one, one.axes, about.places, about.used)
                said = rest[: -len(phrase)]
                linked = said[-2:] in (("in", "the"), ("on", "the"), ("of", "the"))
                if not linked or len(said) > 2:
                    yield named, said[:-2] if linked else said


def _at(axis: str, value: str) -> tuple[Words, ...]:
    """A place said last: "cracked left", "pulls to the left"."""
    ways: tuple[Words, ...] = (
        (value,),
        *((word, "the", value) for word in ("on", "to", "at", "in", "of")),
    )
    if axis == "side":
        behind = (("side",), ("hand", "side"))
        ways = (*ways, *((*way, *side) for way in ways for side in behind))
    if axis == "end":
        ways = (*ways, *((*way, what) for way in ways for what in ("wheel", "brake", "end")))
        back = (tuple("back" if word == "rear" else word for word in way) for way in ways)
        ways = (*ways, *back) if value == "rear" else ways
    return ways if axis in ("end", "side", "mount") else ()
