"""What is only typed of the catalogue's names, and phrases looked up by their words (pure)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property

from fieldlog.catalogue.component import Catalogue, Characteristic, Component
from fieldlog.catalogue.phrases import expand
from fieldlog.grammar.expression import (
    Alternative,
    Expression,
    Option,
    Reference,
    Rule,
    Sequence,
    Word,
)
from fieldlog.language.lexicon import Words
from fieldlog.language.rule_names import GRAMMAR, names_rule, words_rule
from fieldlog.language.shape import Subject


class Sayings(frozenset[Words]):
    """Sayings of one kind, looked up by their words."""

    @cached_property
    def sizes(self) -> tuple[int, ...]:
        """How many words they have, the longest first."""
        return tuple(sorted({len(phrase) for phrase in self}, reverse=True))

    def before(self, said: Words) -> Iterator[Words]:
        """Those that ``said`` begins with and goes on behind."""
        for size in self.sizes:
            if size < len(said) and said[:size] in self:
                yield said[:size]

    def behind(self, said: Words) -> Iterator[Words]:
        """Those that ``said`` ends with, and that something stands before."""
        for size in self.sizes:
            if size < len(said) and said[-size:] in self:
                yield said[-size:]


def typed_words(catalogue: Catalogue) -> frozenset[str]:
    """Every word of the names and conditions that are only typed."""
    owners: list[Component | Characteristic] = []
    for component in catalogue:
        owners += (component, *component.characteristics)
    said = [
        phrase
        for one in owners
        for phrase in (*one.typed, *(p for each in one.typed_say.values() for p in each))
    ]
    return frozenset(word for text in said for phrase in expand(text) for word in phrase.split())


def only_typed(catalogue: Catalogue) -> tuple[Mapping[str, Subject], Mapping[str, Rule]]:
    """Subjects of the components without a spoken name, and their rules: no listener is offered them.

    The place stands before or behind the name.
    """
    subjects: dict[str, Subject] = {}
    rules: dict[str, Rule] = {}
    for component in (one for one in catalogue if not one.spoken):
        name = f"typed {component.name}".replace(" ", "_")
        said = [phrase for text in component.typed for phrase in expand(text)]
        names: Expression = _either([*said, *(other_number(one) for one in said)])
        for axis in component.axes:
            place = f"positions.{axis.name.replace(' ', '_')}"
            names = Alternative(
                (
                    names,
                    Sequence((Reference(f"{place}_before"), names)),
                    Sequence((names, Reference(f"{place}_after"))),
                )
            )
        subjects[name] = Subject(component, None, component.axes)
        rules[f"{GRAMMAR}.{name}"] = Rule(
            f"{GRAMMAR}.{name}", Sequence((Option(Word("the")), names))
        )
    return subjects, rules


def widened(catalogue: Catalogue, trade: Mapping[str, Rule]) -> Mapping[str, Expression]:
    """What rules of the made grammar may be as well where words are typed."""
    found: dict[str, Expression] = {}
    spoken = {phrase for one in catalogue for text in one.spoken for phrase in expand(text)}
    for component in (one for one in catalogue if one.spoken):
        said = [phrase for text in (*component.spoken, *component.typed) for phrase in expand(text)]
        own = (phrase for text in component.typed for phrase in expand(text))
        also = [*own, *(other for one in said if (other := other_number(one)) not in spoken)]
        if also:
            found[names_rule(component)] = _either(also)
        for one in component.characteristics:
            if one.typed:
                found[words_rule(component, one)] = _either(
                    phrase for text in one.typed for phrase in expand(text)
                )
    for name, rule in trade.items():
        if name.startswith("trade.") and name.endswith(("_before", "_after")):
            found[f"positions.{name.removeprefix('trade.')}"] = rule.expression
    return found


def other_number(phrase: str) -> str:
    """ "valve cap" -> "valve caps", "drain plugs" -> "drain plug"."""
    return phrase.removesuffix("s") if phrase.endswith("s") else f"{phrase}s"


def _either(phrases: Iterable[str]) -> Expression:
    said = [phrase.split() for phrase in dict.fromkeys(phrases)]
    return Alternative(tuple(Sequence(tuple(Word(word) for word in phrase)) for phrase in said))
