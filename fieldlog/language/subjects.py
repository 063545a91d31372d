"""The first words of a text -> what it is about: component, characteristic and place (pure)."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

from fieldlog.catalogue.component import Axis, Catalogue, Characteristic, Component
from fieldlog.grammar import expression as ex
from fieldlog.grammar.automaton import Automaton
from fieldlog.grammar.check import reachable
from fieldlog.grammar.parse import Parse, Parser
from fieldlog.language.lexicon import spoken_name
from fieldlog.language.rule_names import GRAMMAR
from fieldlog.language.shape import SUBJECTS, Subject
from fieldlog.model.finding import Finding

_START = f"{GRAMMAR}.{SUBJECTS}"
_POSITIONS = "positions."

AxisValues = Callable[[str], Sequence[str]]
"""Axis -> its canonical values."""


@dataclass(frozen=True)
class About:
    """What ``used`` first words of a text name.

    ``characteristic`` is None when only the component was named; ``places`` holds axis -> value.
    """

    component: Component
    characteristic: Characteristic | None
    axes: tuple[Axis, ...]
    places: Mapping[str, str]
    used: int

    @cached_property
    def position(self) -> str | None:
        """The canonical position ("front left"), in the order of the catalogue's axes."""
        return " ".join(self.places[a.name] for a in self.axes if a.name in self.places) or None

    @cached_property
    def missing(self) -> tuple[Axis, ...]:
        """Places that are needed and were not said."""
        return tuple(a for a in self.axes if a.required and a.name not in self.places)

    def placed(self, axis: str, value: str) -> About:
        """The same with one more place."""
        return About(
            self.component, self.characteristic, self.axes, {**self.places, axis: value}, self.used
        )


class SubjectReader:
    """Reads subjects with the rules of the made grammar."""

    def __init__(
        self,
        rules: Mapping[str, ex.Rule],
        subjects: Mapping[str, Subject],
        typed: Mapping[str, ex.Expression],
    ) -> None:
        """``rules``: the closed grammar; ``subjects``: its subject rules by plain name.

        ``typed``: what a rule may be as well where words are typed; listeners are not offered it.
        """
        self._subjects = {f"{GRAMMAR}.{name}": about for name, about in subjects.items()}
        names = [name for name in self._subjects if name in rules]
        start = ex.Rule(_START, ex.Alternative(tuple(ex.Reference(name) for name in names)))
        used = reachable({**rules, _START: start}, [_START])
        own = {name: _widened(rules.get(name, start), typed.get(name)) for name in used}
        self._parser = Parser(own)
        self._graph = Automaton(own, (_START,))
        self._known = lru_cache(maxsize=16_384)(self._read)
        self._values = {
            axis.name: tuple(
                spoken_name(choice.name)
                for choice in _choices(rules[_POSITIONS + axis.name.replace(" ", "_")].expression)
            )
            for about in subjects.values()
            for axis in about.axes
        }

    def values(self, axis: str) -> tuple[str, ...]:
        """The canonical values of an axis: ``end`` -> front, rear."""
        return self._values[axis]

    def read(self, words: Sequence[str]) -> tuple[About, ...]:
        """Everything that the first words can be about, the longest first, each meaning once."""
        # A breath asks this of each of its words: the automaton says at once that most begin nothing.
        longest = self._graph.longest(words)
        return self._known(tuple(words[:longest])) if longest else ()

    def _read(self, words: tuple[str, ...]) -> tuple[About, ...]:
        found: dict[tuple[str, str, str | None, int], About] = {}
        for parse in self._parser.prefixes(words, _START):
            about = self._about(parse)
            one = about.characteristic.name if about.characteristic else ""
            key = (about.component.name, one, about.position, about.used)
            found.setdefault(key, about)
        return tuple(found.values())

    def _about(self, parse: Parse) -> About:
        tree = parse.tree.children[0]
        subject = self._subjects[tree.rule]
        names = {axis.name for axis in subject.axes}
        places = {}
        for inner in tree.walk():
            axis = inner.rule.removeprefix(_POSITIONS)
            if axis != inner.rule and spoken_name(axis) in names and inner.children:
                places[spoken_name(axis)] = spoken_name(inner.children[0].rule)
        return About(
            subject.component, subject.characteristic, subject.axes, places, len(parse.words)
        )


def about_of(one: Finding, catalogue: Catalogue, values: AxisValues) -> About | None:
    """What a finding is about; None where the catalogue has no such component."""
    component = catalogue.get(one.component)
    if component is None:
        return None
    known = component.characteristic(one.characteristic)
    axes = known.axes if known else component.axes
    return About(component, known, axes, dict(_places_of(one.position, axes, values)), 0)


def _places_of(
    position: str | None, axes: Sequence[Axis], values: AxisValues
) -> Iterator[tuple[str, str]]:
    rest = position or ""
    for axis in axes:
        for value in sorted(values(axis.name), key=len, reverse=True):
            if rest == value or rest.startswith(f"{value} "):
                yield axis.name, value
                rest = rest[len(value) :].strip()
                break


def _widened(rule: ex.Rule, also: ex.Expression | None) -> ex.Rule:
    if also is None:
        return rule
    return replace(rule, expression=ex.Alternative((rule.expression, also)))


def _choices(expression: ex.Expression) -> tuple[ex.Reference, ...]:
    items = expression.choices if isinstance(expression, ex.Alternative) else (expression,)
    return tuple(item for item in items if isinstance(item, ex.Reference))
