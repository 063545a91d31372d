"""Which of the things that were offered a short answer picks (pure)."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from fieldlog.catalogue.component import Catalogue, Characteristic
from fieldlog.catalogue.phrases import expand
from fieldlog.language.lexicon import Words
from fieldlog.model.finding import Finding, Qualifier, Quantity
from fieldlog.model.understanding import Flag, Understanding
from fieldlog.quantities import units
from fieldlog.quantities.codes import codes
from fieldlog.quantities.quantity import quantities
from fieldlog.quantities.values import DOUBTFUL

IN_DOUBT = frozenset({Flag.UNSURE, Flag.TWIN})
"""Flags of an utterance that may have been misheard."""
VALUE_IN_DOUBT = frozenset({*IN_DOUBT, *DOUBTFUL, Flag.ODD, Flag.DID_YOU_MEAN})
"""Flags of an utterance whose value no unit alone confirms."""
_SMALL = frozenset({"the", "one", "it", "is", "that", "was", "in", "on", "at", "side"})

_Value = tuple[Fraction, Fraction | None, str, Qualifier | None]


@dataclass(frozen=True, slots=True)
class Pick:
    """One way to take some of the candidates."""

    takes: Callable[[Finding], bool]
    confirms: bool = False
    """Whether it may take the only candidate there is."""
    repeats: bool = False
    """Whether it says the value itself once more."""
    tells_unit: bool = False
    """Whether it says the unit, which was assumed until then."""
    affirms: bool = False
    """Whether it says yes to all that was asked."""


@dataclass(frozen=True)
class Picking:
    """Reads what a short answer picks."""

    catalogue: Catalogue
    places: Mapping[Words, frozenset[str]]
    """Words of a place -> the canonical values they can mean."""

    def picks(
        self, words: Words, asked: Understanding, candidates: Sequence[Finding]
    ) -> Iterator[Pick]:
        """Ways in which the words may pick among candidates.

        A place confirms nothing where no other was offered; a unit does where it was all that was
        asked; a number does, unless its unit was assumed.
        """
        yield Pick(lambda one: self.has_place(one, words))
        pure = {meaning.symbol for meaning in units.meanings(words)}
        # "thou" is no answer to "millimetres or inches?": it is said with its number again
        pure -= {meaning.symbol for meaning in units.meanings(words) if meaning.scale != 1}
        yield Pick(
            lambda one: one.quantity is not None and one.quantity.unit in pure,
            confirms=Flag.UNIT_ASSUMED in asked.flags and VALUE_IN_DOUBT.isdisjoint(asked.flags),
            tells_unit=True,
        )
        yield Pick(lambda one: self._is_named(one, words))
        yield Pick(lambda one: self._is_code(one, words), confirms=True, repeats=True)
        said, with_unit = self._values_said(candidates, words)
        yield Pick(
            lambda one: one.quantity is not None and _value_of(one.quantity) in said,
            confirms=with_unit or Flag.UNIT_ASSUMED not in asked.flags,
            repeats=True,
            tells_unit=with_unit,
        )

    def _values_said(
        self, candidates: Sequence[Finding], words: Words
    ) -> tuple[frozenset[_Value], bool]:
        """The candidates' values that the words say, each as it would be said of its candidate, and
        whether with their unit. None where they can say another value too.
        """
        offered = {_value_of(one.quantity) for one in candidates if one.quantity is not None}
        said: set[_Value] = set()
        with_unit = True
        for one in candidates:
            known = self.known(one)
            if known is None or one.quantity is None or not words:
                continue
            gravity = "gravity" in known.said
            found = quantities(words, known.units, gravity=gravity)
            if not found.readings:
                found = quantities(words, [one.quantity.unit], gravity=gravity)
                with_unit = with_unit and bool(found.readings)
            for reading in found.readings or found.assumed:
                value = _value_of(reading.quantity)
                if value in offered or plausible(reading.quantity, known):
                    said.add(value)
                if not DOUBTFUL.isdisjoint(reading.flags):
                    return frozenset(), False
        return (frozenset(said), with_unit) if said <= offered else (frozenset(), False)

    def known(self, one: Finding) -> Characteristic | None:
        """The characteristic that it is about; None where the catalogue has none."""
        component = self.catalogue.get(one.component)
        return component.characteristic(one.characteristic) if component else None

    def has_place(self, one: Finding, words: Words) -> bool:
        """Whether every place in the words is one of the finding's."""
        if one.position is None or not words:
            return False
        plain = tuple(word for word in words if word not in _SMALL)
        return bool(plain) and any(
            all(value in f" {one.position} " for value in (f" {v} " for v in cut))
            for cut in self._as_places(plain)
        )

    def _as_places(self, words: Words) -> Iterator[tuple[str, ...]]:
        if not words:
            yield ()
            return
        for size in range(len(words), 0, -1):
            for value in self.places.get(words[:size], ()):
                for rest in self._as_places(words[size:]):
                    yield (value, *rest)

    def _is_code(self, one: Finding, words: Words) -> bool:
        """Whether the words are the code of ``one`` and no other."""
        known = self.known(one)
        if one.code is None or known is None or known.code is None or not words:
            return False
        return {reading.text for reading in codes(known.code, words)} == {one.code}

    def _is_named(self, one: Finding, words: Words) -> bool:
        known = self.known(one)
        if known is None or not words:
            return False
        spoken = {tuple(p.split()) for text in known.words for p in expand(text)}
        own = known.name.replace("-", " ").split()
        return words in spoken or all(word in own for word in words)


def _value_of(quantity: Quantity) -> _Value:
    return quantity.value, quantity.high, quantity.unit, quantity.qualifier


def plausible(quantity: Quantity, known: Characteristic | None) -> bool:
    """Whether every end of a value can be of what it is about."""
    ends = (quantity.value, quantity.value if quantity.high is None else quantity.high)
    return known is None or all(known.plausible(end, quantity.unit) for end in ends)
