"""What is said of the part of the finding before: of another place of it, or of the same (pure).

"Left mirror cracked, right tight": what a finding leaves out of a breath (part, characteristic, place, unit)
is that of the one before, where that is certain; else it is asked about.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property

from fieldlog.catalogue.component import Axis, Catalogue, Characteristic, Component
from fieldlog.catalogue.phrases import expand
from fieldlog.language.breath import One, doubted, first_value
from fieldlog.language.decide import decide
from fieldlog.language.lexicon import Words
from fieldlog.language.subjects import About, SubjectReader, about_of
from fieldlog.language.values import REPAIR, ValueReader
from fieldlog.model.finding import Finding
from fieldlog.model.question import Asks
from fieldlog.model.understanding import Decision, Flag, Understanding
from fieldlog.quantities.dates import DATE_WORDS
from fieldlog.quantities.number_words import DENOMINATORS, NUMBER_WORDS
from fieldlog.quantities.units import SPOKEN
from fieldlog.quantities.values import DOUBTFUL

_ONES = ("one", "ones")
VALUE_WORDS = NUMBER_WORDS.union(DATE_WORDS, *SPOKEN)
"""Words that a value may be begun with before it is put right."""
_LIKE = Fraction(4)
"""How many times another a value may be that was said without its unit: "thirty two psi, rear two
point four" means bar."""
UNSURE_OF_WHAT = "what it is said of is not certain"
_UNIT_BEHIND = "the unit was said of what follows"
_MOST_KNOWN = 20_000
_ASKED_ALL_THE_SAME = frozenset({*DOUBTFUL, Flag.UNIT_ASSUMED})


@dataclass
class CarriedOver:
    """Reads what leans on the finding before it."""

    one: One
    catalogue: Catalogue
    subjects: SubjectReader
    values: ValueReader
    places: Mapping[str, Mapping[Words, str]]
    """Axis -> words before a name -> the value they mean."""
    _known: dict[tuple[object, ...], Understanding | None] = field(default_factory=dict)
    """What words say of a thing: asked again for every place where a breath is cut."""

    def completed(
        self, own: Understanding, said: Words, before: Understanding | None
    ) -> Understanding:
        """A finding that names its part, with the place or unit that it leaves to the one before."""
        was = before.finding if before and before.decision is Decision.ACCEPT else None
        if was is None or own.decision is not Decision.ASK:
            return own
        for tail in _unit_words(was) if _lacks_unit(own) else ():
            whole = self.one((*said, *tail))
            same = {(one.component, one.characteristic) for one in whole.offered} if whole else ()
            if whole and same == {(was.component, was.characteristic)}:
                placed = self._placed(replace(whole, text=own.text), was)
                if _is_sure(placed, was):
                    return placed
        return self._placed(own, was)

    @staticmethod
    def _placed(own: Understanding, was: Finding) -> Understanding:
        """Where only the place lacks, that of the same component before."""
        if own.asks is not Asks.PLACE:
            return own
        fitting = [
            one
            for one in own.candidates
            if one.position == was.position and one.component == was.component
        ]
        if len(fitting) != 1 or not _ASKED_ALL_THE_SAME.isdisjoint(own.flags):
            return own
        return replace(
            own,
            decision=Decision.ACCEPT,
            reason="understood",
            finding=fitting[0],
            candidates=(),
            question=None,
        )

    def with_unit_behind(self, parts: Sequence[Understanding]) -> tuple[Understanding, ...]:
        """ "Front tyre two point five and rear two point nine bar": asked about with the unit that follows.

        That of the nearest finding behind it which says one, of the same characteristic and of like size.
        """
        found: list[Understanding] = []
        unit_of: Finding | None = None
        for part in reversed(parts):
            if not _lacks_unit(part):
                one = part.offered[0] if len(part.offered) == 1 else None
                unit_of = one if first_value(one) is not None else unit_of
            elif unit_of is not None:
                part = self._in_unit_of(unit_of, part)
            found.append(part)
        return tuple(reversed(found))

    def _in_unit_of(self, behind: Finding, part: Understanding) -> Understanding:
        """``part`` with the unit of the finding ``behind`` it, to be asked about, where that can be."""
        about = (behind.component, behind.characteristic)
        own = {one.meaning for one in part.offered} if part.asks is Asks.ASSUMED_UNIT else None
        for tail in _unit_words(behind):
            whole = self.one((*part.text.split(), *tail))
            if whole is None or {(one.component, one.characteristic) for one in whole.offered} != {
                about
            }:
                continue
            alike = own is None or own.issuperset(one.meaning for one in whole.offered)
            if alike and _is_sure(
                whole, behind
            ):  # "pads two, rear pads three thirty seconds": 2 mm?
                flags = tuple(dict.fromkeys((*whole.flags, Flag.UNIT_ASSUMED)))
                return doubted(replace(whole, text=part.text, flags=flags), _UNIT_BEHIND)
        return part

    def carried(self, said: Words, before: Understanding) -> Iterator[Understanding]:
        """What is said of the part of the finding before: of another place of it, or of the same."""
        was = before.offered
        of_one = len({one.subject for one in was}) == 1  # in one unit or another: "front tyre 32"
        base = about_of(was[0], self.catalogue, self.subjects.values) if of_one else None
        base = base or self._placed_alike(before) or self._of_one_place(before)
        if base is not None:
            for about, rest, certain in self._places(base, said):
                if len(was) > 1 and rest == said:  # a number more, of no other place: none of it
                    continue
                for one, told in self._measures(base, rest):
                    found = self._said_of(about, one, told, said, before)
                    if found is not None:
                        sure = certain and before.decision is Decision.ACCEPT
                        yield found if sure else doubted(found, UNSURE_OF_WHAT)
                        return  # the characteristic before goes before any other
        for phrase, of in self._own_to_one.items():
            if said[: len(phrase)] == phrase and len(said) > len(phrase):
                about = About(of[0], of[1], of[1].axes, {}, 0)
                found = self._said_of(about, of[1], said[len(phrase) :], said, before)
                if found is not None:
                    yield doubted(found, UNSURE_OF_WHAT)
                    return

    def _placed_alike(self, before: Understanding) -> About | None:
        """Of what is asked for its place, the part with the place that was said."""
        if before.asks is not Asks.PLACE:
            return None
        abouts = [about_of(one, self.catalogue, self.subjects.values) for one in before.offered]
        first = abouts[0]
        if first is None or any(
            one is None or one.component is not first.component for one in abouts
        ):
            return None
        said = {
            axis: value
            for axis, value in first.places.items()
            if all(one is not None and one.places.get(axis) == value for one in abouts)
        }
        return About(first.component, first.characteristic, first.axes, said, 0)

    def _of_one_place(self, before: Understanding) -> About | None:
        """Of what is asked for its unit, the part: "front tyre two point five" is tread or pressure."""
        if not _lacks_unit(before) or len({(o.component, o.position) for o in before.offered}) != 1:
            return None
        about = about_of(before.offered[0], self.catalogue, self.subjects.values)
        return about and replace(about, characteristic=None)

    @cached_property
    def _own_to_one(self) -> Mapping[Words, tuple[Component, Characteristic]]:
        """Words of a characteristic that only one component has: "charging" -> of the battery."""
        owners: dict[Words, dict[tuple[str, str], tuple[Component, Characteristic]]] = {}
        for component in self.catalogue:
            for one in component.characteristics:
                for phrase in (tuple(p.split()) for text in one.words for p in expand(text)):
                    owners.setdefault(phrase, {})[component.name, one.name] = component, one
        alone = {words: [*of.values()] for words, of in owners.items() if len(of) == 1}
        return {words: alone[words][0] for words in sorted(alone, key=len, reverse=True)}

    def _places(self, base: About, said: Words) -> Iterator[tuple[About, Words, bool]]:
        """The places that the first words name, and whether nothing else of the place is carried."""
        rest = said[1:] if said[:1] == ("the",) else said
        places: dict[str, str] = {}
        while found := self._place(base.axes, places, rest):
            axis, value, size = found
            places[axis] = value
            rest = rest[size:]
        if not places:
            if said == rest:
                yield base, said, True
        elif rest:
            carried = set(base.places) - set(places)
            about = About(
                base.component, base.characteristic, base.axes, {**base.places, **places}, 0
            )
            yield about, rest, not carried
            if rest[0] in _ONES and len(rest) > 1:  # "the right one missing"
                yield about, rest[1:], not carried

    def _place(
        self, axes: Sequence[Axis], known: Mapping[str, str], said: Words
    ) -> tuple[str, str, int] | None:
        best: tuple[str, str, int] | None = None
        for axis in axes:
            if axis.name in known:
                continue
            for phrase, value in self.places.get(axis.name, {}).items():
                longer = best is None or len(phrase) > best[2]
                if longer and said[: len(phrase)] == phrase:
                    best = axis.name, value, len(phrase)
        return best

    @staticmethod
    def _measures(base: About, rest: Words) -> Iterator[tuple[Characteristic | None, Words]]:
        """The characteristic that ``rest`` names, else the one before, else whatever fits."""
        for one in base.component.characteristics:
            for text in (*one.words, *one.alone, *one.typed):
                for phrase in (tuple(each.split()) for each in expand(text)):
                    if len(rest) > len(phrase) and rest[: len(phrase)] == phrase:
                        yield one, rest[len(phrase) :]
        if base.characteristic is not None:
            yield base.characteristic, rest
        yield None, rest

    def _said_of(
        self,
        about: About,
        one: Characteristic | None,
        told: Words,
        said: Words,
        before: Understanding,
    ) -> Understanding | None:
        axes = about.component.axes if one is None else one.axes
        places = {axis: at for axis, at in about.places.items() if axis in {a.name for a in axes}}
        if len(places) < len(about.places):
            return None
        of = About(about.component, one, axes, places, 0)
        found = self._decided_of(of, told, said)
        was = before.finding if before.decision is Decision.ACCEPT else None
        if was is not None and (found is None or _lacks_unit(found)):
            for tail in _unit_words(was):
                whole = self._decided_of(of, (*told, *tail), said)
                if whole is not None and _is_sure(whole, was):
                    return whole
        return found

    def _decided_of(self, of: About, told: Words, said: Words) -> Understanding | None:
        one = None if of.characteristic is None else of.characteristic.name
        key = (of.component.name, one, tuple(of.places.items()), told, said)
        if key not in self._known:
            if len(self._known) > _MOST_KNOWN:
                self._known.clear()
            self._known[key] = self._decided_anew(of, told, said)
        return self._known[key]

    def _decided_anew(self, of: About, told: Words, said: Words) -> Understanding | None:
        text = " ".join(said)
        if REPAIR in told[1:-1]:
            first = told[: told.index(REPAIR)]
            if self._decided_of(of, first, said) is None and not VALUE_WORDS.issuperset(first):
                return None  # what is put right is something else
        return decide(self.values.read(of, told, text)[0], text, self.subjects.values)


def _is_sure(carried: Understanding, was: Finding) -> bool:
    """Whether a value with the unit of the one before would be said so, and is of like size."""
    if carried.decision is not Decision.ACCEPT or Flag.AGREEMENT in carried.flags:
        return False
    one, other = first_value(carried.finding), first_value(was)
    if one is None or other is None or one.unit != other.unit:
        return False
    small, large = sorted((one.value, other.value))
    return one.value == 0 or 0 < small <= large <= _LIKE * small


def _lacks_unit(found: Understanding) -> bool:
    kinds = (Asks.UNIT, Asks.ASSUMED_UNIT, Asks.PLACE_AND_UNIT)
    return found.asks in kinds or (found.asks is not None and Flag.UNIT_ASSUMED in found.flags)


def _unit_words(was: Finding) -> Iterator[Words]:
    """The last words of a value that are its unit: "millimetres", "thirty seconds" and "second"."""
    value = first_value(was)
    words = tuple(value.words.split()) if value is not None else ()
    for size in range(min(5, len(words) - 1), 0, -1):
        tail = words[-size:]
        if tail in SPOKEN or tail in DENOMINATORS:
            part = DENOMINATORS.get(tail, (0,))[0]
            yield tail
            yield from (other for other, known in DENOMINATORS.items() if part == known[0])
            return
