"""What a second language owes: everything has a name, every word a meaning, and what is told is read as the
same (pure). A translator runs it as ``fieldlog language check``.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from fieldlog.catalogue.component import CONDITION, Component
from fieldlog.grammar.check import references, words_of
from fieldlog.language.lexicon import phrases
from fieldlog.language.other import OtherLanguage
from fieldlog.language.tongue import Renamed
from fieldlog.model.finding import Finding
from fieldlog.model.understanding import Decision
from fieldlog.words import tell

NAMED = "every part and what is measured of it has a name"
RULED = "every rule of the reference is there"
MEANT = "every word of the grammars has a meaning"
COUNTED = "every number from 0 to 99 has words of its own"
READ_AGAIN = "what is told is read as the same finding"
ONE_MEANING = "no phrase of a condition is taken for another one"
_GRAMMARS = ("conditions", "faults", "positions", "units", "dialogue", "breath", "remark")


@dataclass(frozen=True, slots=True)
class Owed:
    """One rule of the contract and what breaks it."""

    rule: str
    faults: tuple[str, ...]


def checked(
    language: OtherLanguage, said: Renamed, *, phrases_too: bool = True, every: int = 1
) -> Iterator[Owed]:
    """Every rule of the contract held against ``language``.

    ``phrases_too``: the slow one as well (20 s); ``every``: of the findings only each so many.
    """
    yield Owed(NAMED, said.faults)
    yield Owed(RULED, tuple(_lacking(language)))
    spoken = language.spoken
    rules = {**spoken.typed.rules, **spoken.answers.rules, **spoken.offered.rules}
    yield Owed(MEANT, tuple(f"<{name}>" for name in language.wording.gaps(rules)))
    yield Owed(COUNTED, tuple(_twice(language)))
    yield Owed(READ_AGAIN, tuple(_lost(language, every)))
    if phrases_too:
        yield Owed(ONE_MEANING, tuple(_taken_for_another(language, every)))


def _lacking(language: OtherLanguage) -> Iterator[str]:
    """Leaves of the reference that have no rule of their name, and no words anywhere, here."""
    spoken = language.spoken
    own = {*spoken.typed.rules, *spoken.answers.rules, *spoken.offered.rules}
    for name, rule in language.rules.items():
        if name.partition(".")[0] not in _GRAMMARS or any(references(rule.expression)):
            continue
        if name not in own and any(words_of(rule.expression)) and name not in language.unsaid:
            yield f"<{name}>"


def _twice(language: OtherLanguage) -> Iterator[str]:
    rules = language.spoken.offered.rules
    seen: dict[tuple[str, ...], int] = {}
    for number in range(100):
        for phrase in phrases(rules, f"numbers.n_{number}"):
            if seen.setdefault(phrase, number) != number:
                yield f"'{' '.join(phrase)}' is {seen[phrase]} and {number}"


def told_findings(language: OtherLanguage) -> Iterator[Finding]:
    """A finding for every condition of every part, at the first of its places."""
    for component in language.catalogue:
        for condition in component.conditions:
            yield Finding(
                component.name, _place(language, component), CONDITION, condition=condition
            )


def _place(language: OtherLanguage, component: Component) -> str | None:
    values = (language.axis_values(axis.name)[0] for axis in component.axes if axis.required)
    return " ".join(values) or None


def _lost(language: OtherLanguage, every: int) -> Iterator[str]:
    for one in [*told_findings(language)][::every]:
        told = language.told.finding(one)
        said = language.breath(told).whole
        if said.finding is None or said.finding.meaning != one.meaning:
            yield f"'{told}' is told of {tell.finding(one)}"


def _taken_for_another(language: OtherLanguage, every: int) -> Iterator[str]:
    """Phrases of a condition that a part takes for something else without asking."""
    rules = language.spoken.offered.rules
    for component in [*language.catalogue][::every]:
        where = _place(language, component)
        head = language.told.subject(Finding(component.name, where, None))
        for condition in component.conditions:
            rule = f"conditions.{condition.replace(' ', '_')}"
            for phrase in _phrases(rules, rule):
                said = language.breath(f"{head} {phrase}").whole
                got = said.finding.condition if said.finding else None
                if said.decision is Decision.ACCEPT and got != condition:
                    yield f"'{head} {phrase}' ({condition}) is taken as {got}"


def _phrases(rules: object, name: str) -> Iterable[str]:
    assert isinstance(rules, dict)
    return (" ".join(phrase) for phrase in phrases(rules, name)) if name in rules else ()
