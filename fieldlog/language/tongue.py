"""Another language as data: what stands in a folder beside the reference grammars (pure).

``words.toml`` says how things are written and what rules mean that the reference has no rule for;
``names.toml`` how each part is called. The JSGF files of the folder have the rules of the reference by
the same names: a rule's name is what it means, its expansion how that is said here.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from fieldlog.catalogue.component import Catalogue, Characteristic, Component, Given
from fieldlog.errors import GrammarError
from fieldlog.grammar.check import words_of
from fieldlog.grammar.expression import Rule

OWN = "own"
"""Name of the grammar that is made of names.toml: its rules stand where the reference has plain words."""
_WORDS, _ALONE, _BEHIND, _IS = " words", " alone", " behind", "is "


@dataclass(frozen=True)
class Tongue:
    """How one language is written and what its own rules mean."""

    code: str
    """ISO 639-1."""
    name: str
    hint: str
    decimal: str
    grouping: str
    prefixes: tuple[str, ...]
    """First halves of compounds, written in one word with what follows."""
    joints: tuple[str, ...]
    """Words inside numbers that are taken apart there."""
    fillers: frozenset[str]
    letters: tuple[tuple[str, str], ...]
    written: Mapping[str, str]
    """What is written behind a figure, or alone -> its words."""
    respelled: Mapping[str, str]
    meaning: Mapping[str, str]
    """Qualified rule -> its words in the reference language; "" for nothing."""
    given: Mapping[str, str]
    """Word of the reference before a fact of the check -> the same here."""
    numbers: Mapping[str, str]
    """``hundred``, ``thousand``, ``one``, ``point``, ``minus``, ``to`` -> the word."""
    names: Mapping[str, Mapping[str, str]]
    """Component -> what names.toml has of it."""
    heard: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Words -> how a recogniser may write them."""
    unsaid: frozenset[str] = frozenset()
    """Rules of the reference that nobody says here."""
    hesitations: tuple[str, ...] = ()
    openings: tuple[str, ...] = ()
    twins: tuple[tuple[str, str], ...] = ()
    """Words and what they are taken for, each way round."""
    cue: str = ""
    """What additions to a recogniser's weights were told was said before; "" where none were trained."""
    say: Mapping[str, str] = field(default_factory=dict)
    """Phrase of the reference's ``say`` -> the same here."""


_NUMBERS = ("hundred", "thousand", "one", "point", "minus", "to")


def read_tongue(words: str, names: str, where: str) -> Tongue:
    """The language of ``words`` and ``names`` (texts of the two files); raises ``GrammarError``."""
    try:
        told, called = tomllib.loads(words), tomllib.loads(names)
        say = called.pop("say", {})
        return Tongue(
            code=str(told["code"]),
            name=str(told["name"]),
            hint=str(told["hint"]),
            decimal=str(told["decimal"]),
            grouping=str(told["grouping"]),
            prefixes=tuple(told["prefixes"]),
            joints=tuple(told["number_joints"]),
            fillers=frozenset(told["fillers"]),
            letters=tuple((a, b) for a, b in told["letters"]),
            written=told["written"],
            respelled=told["respelled"],
            meaning=told["meaning"],
            given=told["given"],
            numbers={key: str(told[key]) for key in _NUMBERS},
            names=called,
            say=say,
            heard={key: tuple(forms) for key, forms in told.get("heard", {}).items()},
            unsaid=frozenset(told.get("unsaid", ())),
            hesitations=tuple(told.get("hesitations", ())),
            openings=tuple(told.get("openings", ())),
            twins=tuple(
                (a, b)
                for one, other in told.get("twins", ())
                for a, b in ((one, other), (other, one))
            ),
            cue=str(told.get("cue", "")),
        )
    except (tomllib.TOMLDecodeError, KeyError, TypeError, ValueError) as error:
        raise GrammarError(
            f"is no language: {error}", where=where, todo="see docs/languages.md for its keys"
        ) from None


@dataclass(frozen=True)
class Renamed:
    """The catalogue in the words of a tongue."""

    catalogue: Catalogue
    own: str
    """JSGF text of the grammar ``own``."""
    meaning: Mapping[str, tuple[str, str]]
    """Rule of it -> (what kind of thing, its canonical name): ``is`` a condition, ``behind`` a
    characteristic, ``given`` a word before a fact."""
    faults: tuple[str, ...]
    """What names.toml lacks or has too much."""


def renamed(tongue: Tongue, catalogue: Catalogue) -> Renamed:
    """``catalogue`` as it is said in ``tongue``; a part that it has no name for is not said."""
    maker = _Maker(tongue)
    made = {one.name: maker.component(one) for one in catalogue}
    unknown = sorted(set(tongue.names) - set(made))
    faults = [*maker.faults, *(f"names.toml: there is no part '{name}'" for name in unknown)]
    rules = "\n".join(f"public <{name}> = {text};" for name, text in maker.rules.items())
    own = f"#JSGF V1.0 UTF-8 {tongue.code};\ngrammar {OWN};\n{rules}\n"
    return Renamed(replace(catalogue, components=made), own, maker.meaning, tuple(faults))


class _Maker:
    def __init__(self, tongue: Tongue) -> None:
        self.tongue = tongue
        self.rules: dict[str, str] = {}
        self.meaning: dict[str, tuple[str, str]] = {}
        self.faults: list[str] = []

    def component(self, one: Component) -> Component:
        """``one`` with the names and words of the tongue."""
        told = self.tongue.names.get(one.name)
        if told is None:
            self.faults.append(f"names.toml: '{one.name}' has no name")
            told = {}
        known = {"name"}
        said = tuple(self._characteristic(one, each, told, known) for each in one.characteristics)
        say = self._say(one.conditions, one.say, told, known)
        for key in sorted(set(told) - known):
            self.faults.append(f"names.toml: '{one.name}' has no use for '{key}'")
        names = _phrases(told.get("name", ""))
        return replace(
            one, spoken=names, typed=(), say=say, typed_say={}, characteristics=said,
            given=tuple(self._given(each) for each in one.given),
        )  # fmt: skip

    def _characteristic(
        self, component: Component, one: Characteristic, told: Mapping[str, str], known: set[str]
    ) -> Characteristic:
        words, alone, behind = (
            _phrases(told.get(one.name + kind, "")) for kind in (_WORDS, _ALONE, _BEHIND)
        )
        known |= {one.name + kind for kind in (_WORDS, _ALONE, _BEHIND)}
        if one.named and not (words or alone):
            self.faults.append(f"names.toml: '{component.name}' has no '{one.name}{_WORDS}'")
        after = (self._own("behind", one.name, behind),) if behind else ()
        return replace(
            one, words=words, alone=alone, behind=after, typed=(), typed_say={},
            say=self._say(one.conditions, one.say, told, known),
            given=tuple(self._given(each) for each in one.given),
        )  # fmt: skip

    def _say(
        self,
        conditions: Iterable[str],
        say: Mapping[str, tuple[str, ...]],
        told: Mapping[str, str],
        known: set[str],
    ) -> Mapping[str, tuple[str, ...]]:
        found: dict[str, tuple[str, ...]] = {}
        for condition in conditions:
            known.add(_IS + condition)
            same = (self.tongue.say.get(each, "") for each in say.get(condition, ()))
            phrases = _phrases(" | ".join((told.get(_IS + condition, ""), *same)))
            if phrases:
                found[condition] = (self._own("is", condition, phrases),)
        return found

    def _given(self, one: Given) -> Given:
        said = [self.tongue.given[word] for word in one.words if word in self.tongue.given]
        words = tuple(self._own("given", one.words[0], _phrases(each)) for each in said[:1])
        return replace(one, words=words)

    def _own(self, kind: str, name: str, phrases: tuple[str, ...]) -> str:
        """A reference to the rule that says ``phrases`` for that."""
        text = " | ".join(phrases)
        meant = (kind, name)
        slug = f"{kind}_{name}".replace(" ", "_").replace("-", "_")
        number = 1
        rule = slug
        while self.rules.get(rule, text) != text or self.meaning.get(rule, meant) != meant:
            number += 1
            rule = f"{slug}_{number}"
        self.rules[rule], self.meaning[rule] = text, meant
        return f"<{OWN}.{rule}>"


def _phrases(text: str) -> tuple[str, ...]:
    """The phrases of an entry in lower case, as the grammars have them."""
    found = (each.strip().lower().replace("-", " ") for each in text.split("|"))
    return tuple(dict.fromkeys(each for each in found if each))


def vocabulary(rules: Mapping[str, Rule]) -> frozenset[str]:
    """Every word written in ``rules``."""
    return frozenset(w.text for rule in rules.values() for w in words_of(rule.expression))
