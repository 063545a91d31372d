"""Phrases of the inspection language as people would say them, covering all of it (pure).

Two sources: phrases put together from the catalogue in the ways that are usual in speech, and the
grammar's own sampler, which reaches every word, number form and dialogue phrase. Each phrase belongs
to one part of the set by a hash of its words, so no phrase is in both.
"""

from __future__ import annotations

import hashlib
import random
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from fieldlog.catalogue.component import Axis, Characteristic, Component
from fieldlog.catalogue.phrases import expand
from fieldlog.grammar.sample import Sampler
from fieldlog.lab.speech_set.voices import TEST, TRAIN, TUNE
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.language.lexicon import phrases
from fieldlog.language.rule_names import value_rules
from fieldlog.model.finding import Quantity
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.quantities.code_reading import CodeKind
from fieldlog.quantities.units import convert, dimension
from fieldlog.words.say import say

PHRASE, INCOMPLETE, HALF = "phrase", "incomplete", "half"

_MOST_WORDS = 11
_TRIES = 40
_UTTERANCE, _FINDINGS = "inspection.utterance", "catalogue.findings"
_SHARES = {
    "judged": 0.42,
    "asked": 0.08,
    "about": 0.10,
    "dialogue": 0.05,
    "remark": 0.01,
    "correction": 0.06,
}
"""Largest shares of a part; "about" is skip, photo of and how to check."""


@dataclass(frozen=True, slots=True)
class Phrase:
    """Words of the grammar with what kind of utterance they are."""

    words: str
    kind: str
    group: str
    """Which share of the set it counts against."""
    features: frozenset[str]
    """Words, names and forms it covers."""
    usual: bool = False
    """Put together as people speak; else drawn from the grammar, which allows clumsier ways."""


class PhraseSource:
    """Draws phrases of one language; the same seed gives the same ones."""

    def __init__(self, language: InspectionLanguage, seed: int) -> None:
        """``language`` loaded; nothing is drawn yet."""
        self._language = language
        self._rules = language.grammar.rules
        self._graph = language.word_graph()
        self._random = random.Random(seed)
        self._seed = seed
        self._samplers: dict[tuple[str, ...], Sampler] = {}

    def pool(self, per_component: int = 100, draws: int = 6000) -> list[Phrase]:
        """Distinct phrases, in random order."""
        seen: dict[str, Phrase] = {}
        for words, usual in self._candidates(per_component, draws):
            if words not in seen and len(words.split()) <= _MOST_WORDS:
                phrase = self._classified(words, usual)
                if phrase is not None:
                    seen[words] = phrase
        found = list(seen.values())
        self._random.shuffle(found)
        return found

    def halves(self, whole: Iterable[Phrase], count: int) -> list[Phrase]:
        """Beginnings of phrases that say nothing complete ("front brake pads", "rear tyre is")."""
        found: dict[str, Phrase] = {}
        for phrase in whole:
            words = phrase.words.split()
            if phrase.group not in ("finding", "judged") or len(words) < 4:
                continue
            half = " ".join(words[: self._random.randint(2, len(words) - 1)])
            if self._language.understand(half).decision is not Decision.ACCEPT:
                found[half] = Phrase(half, HALF, HALF, frozenset())
            if len(found) == count:
                break
        return list(found.values())

    def about(
        self, component: Component, one: Characteristic | None, condition: str = "", unit: str = ""
    ) -> str:
        """A usual phrase that puts ``condition`` or a value in ``unit`` on ``component``.

        With neither it is any value of ``one``: a grade, a size. ``one`` is the characteristic, None for the component as a whole. Empty when forty draws
        gave none that the listener's graph and the parser take that way.
        """
        for turn in range(_TRIES):
            name = self._random.choice(expand(self._random.choice(component.spoken)))
            axes = component.axes
            said = ""
            if one is not None:
                axes += tuple(axis for axis in one.axes if axis not in axes)
                said = (
                    self._random.choice(expand(self._random.choice(one.words))) if one.words else ""
                )
            subject = self._placed(name, axes, said)
            if condition:
                rest = self._condition([condition])
            elif one is not None and not unit:
                rest = self._measured(one)
            elif one is not None:
                # Some units are said in ways that only the grammar knows ("eighty a minute").
                rules = tuple(f"quantities.{rule}" for rule in value_rules(one))
                rest = self._drawn(rules) if turn % 2 else self._value_in(one, unit)
            else:
                rest = ""
            words = f"{subject} {rest}"
            found = self._language.understand(words).finding if rest else None
            if (
                found is not None
                and self._sayable(words.split())
                and found.component == component.name
                and (one is None or found.characteristic == one.name)
                and (found.condition or "") == condition
                and (not unit or (found.quantity is not None and found.quantity.unit == unit))
            ):
                return words
        return ""

    def _value_in(self, one: Characteristic, unit: str) -> str:
        fitting = [r for r in one.ranges if dimension(r.unit) == dimension(unit)]
        if not fitting:
            return self._drawn(tuple(f"quantities.{rule}" for rule in value_rules(one)))
        low = convert(fitting[0].low, fitting[0].unit, unit)
        high = convert(fitting[0].high, fitting[0].unit, unit)
        value, denominator = self._value(low, high, unit)
        return say(Quantity(value, unit), denominator=denominator)

    def _candidates(self, per_component: int, draws: int) -> Iterator[tuple[str, bool]]:
        for component in self._language.catalogue.heard:
            for _ in range(per_component):
                words = self._usual(component)
                if words:
                    yield words, True
        # Two passes over findings, so that what one phrase alone covers is there for both parts.
        for rule, turn in ((_FINDINGS, 0), (_FINDINGS, 1), (_UTTERANCE, 0)):
            for words in Sampler(self._rules, [rule], self._seed + turn).covering(draws):
                yield words, False

    def _usual(self, component: Component) -> str:
        """One phrase about ``component`` in a usual way; empty when the draw does not fit."""
        choose = self._random
        name = choose.choice(expand(choose.choice(component.spoken)))
        measured = [c for c in component.characteristics if c.units or c.conditions or c.code]
        if measured and choose.random() < 0.7:
            one: Characteristic | None = choose.choice(measured)
            assert one is not None
            axes = component.axes + tuple(a for a in one.axes if a not in component.axes)
            said = choose.choice(one.words) if one.words else ""
            subject = self._placed(name, axes, choose.choice(expand(said)) if said else "")
            rest = self._measured(one)
        else:
            subject = self._placed(name, component.axes, "")
            one = None
            rest = self._condition(component.conditions)
        if not rest:
            return ""
        article = choose.choice(["", "", "the "])
        verbs = ["", "", " are" if subject.endswith("s") else " is"]
        if one is not None and one.units:
            verbs += [" at", " reads"]
        if rest.split()[0] in ("has", "got", "shows", "rises", "lifts", "pulls"):
            verbs = [""]
        return f"{article}{subject}{choose.choice(verbs)} {rest}"

    def _placed(self, name: str, axes: Sequence[Axis], characteristic: str) -> str:
        before: list[str] = []
        after: list[str] = []
        for axis in axes:
            if not axis.required and self._random.random() < 0.6:
                continue
            ways = [w for w in ("before", "after") if f"positions.{axis.name}_{w}" in self._rules]
            if not ways:
                continue
            way = self._random.choice(ways)
            options = phrases(self._rules, f"positions.{axis.name}_{way}")
            spoken = " ".join(self._random.choice(options))
            (before if way == "before" else after).append(spoken)
        return " ".join(part for part in (*before, name, *after, characteristic) if part)

    def _condition(self, conditions: Iterable[str]) -> str:
        names = [c for c in conditions if f"conditions.{c.replace(' ', '_')}" in self._rules]
        if not names:
            return ""
        rule = f"conditions.{self._random.choice(names).replace(' ', '_')}"
        return " ".join(self._random.choice(phrases(self._rules, rule)))

    def _measured(self, one: Characteristic) -> str:
        if one.code:
            grammar = "quantities" if one.code is CodeKind.DATE_CODE else "codes"
            return self._drawn((f"{grammar}.{one.code.replace(' ', '_')}",))
        if one.units and self._random.random() < 0.3:
            return self._drawn(tuple(f"quantities.{rule}" for rule in value_rules(one)))
        if not one.units or (one.conditions and self._random.random() < 0.15):
            return self._condition(one.conditions)
        unit = self._random.choice(one.units)
        if not any(dimension(r.unit) == dimension(unit) for r in one.ranges):
            return ""
        return self._value_in(one, unit)

    def _drawn(self, rules: tuple[str, ...]) -> str:
        """A value as the grammar says it, every form and unit word in turn."""
        known = tuple(rule for rule in rules if rule in self._rules)
        if not known:
            return ""
        if known not in self._samplers:
            self._samplers[known] = Sampler(self._rules, known, self._seed)
        return self._samplers[known].next_phrase()

    def _value(self, low: Fraction, high: Fraction, unit: str) -> tuple[Fraction, int | None]:
        """A value that a gauge would show: about 100 steps over the range, or parts of an inch."""
        if unit == "in" and self._random.random() < 0.6:
            denominator = 32 if high <= 1 else self._random.choice([2, 4, 8])
            top = self._random.randint(int(low * denominator), max(1, int(high * denominator)))
            value = Fraction(top, denominator)
            return value, denominator if value.denominator > 1 else None
        places = 0
        while places < 3 and (high - low) * 10**places < 40:
            places += 1
        steps = self._random.randint(0, int((high - low) * 10**places))
        value = Fraction(int(low * 10**places) + steps, 10**places)
        return value, None

    def _classified(self, words: str, usual: bool) -> Phrase | None:
        """None for what the listener's graph or the parser refuses, and for clumsy phrases."""
        tokens = words.split()
        if any(a == b == "the" for a, b in pairwise(tokens)):
            return None
        if not self._sayable(tokens):
            return None
        found = self._language.understand(words)
        if found.decision is Decision.REFUSE:
            return None
        features = _features(tokens, found)
        if found.decision is Decision.ASK:
            return Phrase(words, INCOMPLETE, "asked", features, usual)
        group = found.kind.value
        if found.finding is not None and found.finding.condition:
            group = "judged"
        if found.kind is Kind.DIALOGUE and found.dialogue in _ABOUT:
            group = "about"
        elif tokens[0] == "correction":
            group = "correction"
        return Phrase(words, PHRASE, group, features, usual)

    def _sayable(self, tokens: Sequence[str]) -> bool:
        state = self._graph.start
        for token in tokens:
            arc = self._graph.arcs(state).get(token)
            if arc is None:
                return False
            state = arc[0]
        return self._graph.is_final(state)


_ABOUT = frozenset({"photo of", "skip", "how to check of", "photo", "how to check"})


def in_part(phrase: Phrase, part: str) -> bool:
    """Whether ``phrase`` may be used in ``part``.

    The dialogue phrases are so few that every part needs all of them; there only the voices differ.
    """
    return phrase.group in ("dialogue", "remark") or part_of(phrase.words) == part


def part_of(words: str) -> str:
    """The part a phrase belongs to, by the SHA-256 of its words: half of them to the test part.

    Of the other half a quarter is the tuning part of the set; the rest is for training weights only.
    """
    digest = hashlib.sha256(words.encode()).digest()
    if digest[0] % 2:
        return TEST
    return TUNE if digest[1] % 4 == 0 else TRAIN


def chosen(pool: Sequence[Phrase], count: int) -> list[Phrase]:
    """``count`` of ``pool``: first what covers something new, then in order, shares kept."""
    used: dict[str, int] = {}
    covered: set[str] = set()
    picked: dict[str, Phrase] = {}

    def full(phrase: Phrase) -> bool:
        share = _SHARES.get(phrase.group, 1.0)
        return used.get(phrase.group, 0) >= max(1.0, share * count)

    def take(phrase: Phrase) -> None:
        picked[phrase.words] = phrase
        used[phrase.group] = used.get(phrase.group, 0) + 1
        covered.update(phrase.features)

    finding = ("finding", "judged")
    complete_first = sorted(
        pool, key=lambda p: (p.kind != PHRASE, p.group not in finding, not p.usual)
    )
    for phrase in complete_first:
        # A small set cannot cover everything; what is not a finding keeps its room all the same.
        room = 0.8 * count if phrase.group in finding else count
        if len(picked) < room and not full(phrase) and not phrase.features <= covered:
            take(phrase)
    for phrase in sorted(pool, key=lambda p: not (p.usual or p.group == "asked")):
        if len(picked) == count:
            break
        if phrase.words not in picked and not full(phrase):
            take(phrase)
    return list(picked.values())


def _features(tokens: Sequence[str], found: Understanding) -> frozenset[str]:
    features = {f"word {token}" for token in tokens}
    for finding in (found.finding,) if found.finding else found.candidates:
        component = f"component {finding.component}"
        features |= {component, f"{component} at {finding.position}"}
        features.add(f"{component} {finding.characteristic}")
        if finding.condition:
            features.add(f"{component} {finding.condition}")
        if finding.quantity:
            features.add(f"{component} in {finding.quantity.unit}")
            features.add(f"unit {finding.quantity.unit}")
    if found.dialogue:
        features.add(f"dialogue {found.dialogue}")
    return frozenset(features)
