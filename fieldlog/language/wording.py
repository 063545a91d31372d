"""A derivation in another language -> the words of the reference language that say the same (pure).

Rules mean what their names say, so a derivation is walked from its first word to its last and each rule
is said as the reference says the rule of that name. What a part is called, how its place is said and a
number are put together from the catalogue, the axes and the figures. Every word of the utterance lies in
a rule that has a meaning, be it none: where one does not, nothing at all is said (``WordingGap``), and
``gaps`` finds such rules before anybody speaks.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from fieldlog.catalogue.component import Catalogue, Component
from fieldlog.catalogue.phrases import expand
from fieldlog.grammar import expression as ex
from fieldlog.grammar.check import references, words_of
from fieldlog.grammar.parse import Parse, Tree
from fieldlog.language.lexicon import Words, phrases, spoken_name
from fieldlog.language.rule_names import GRAMMAR
from fieldlog.language.shape import Subject
from fieldlog.language.tongue import OWN
from fieldlog.quantities.spell import spell_digits, spell_integer

_LEAF = re.compile(r"numbers\.([nh])_(\d+)(?:_figure)?")
_WHOLE = frozenset(
    f"numbers.{name}"
    for name in (
        *("plain", "teen", "zero", "digit", "any_digit", "ty", "two_digit", "n9", "n99"),
        *("n1_99", "hundreds", "n999", "n1_999", "thousands", "teen_hundreds", "year_number"),
        *("from_two", "n99_figure", "n999_figure"),
    )
)
"""Rules of one whole number."""
_PLACES = frozenset(f"numbers.{name}" for name in ("place", "places1", "places2", "places3"))
"""Rules of the figures behind the point."""
_FIGURES = "numbers.spelled"
_HUNDRED, _THOUSAND = "numbers.hundred", "numbers.thousand"
_POSITIONS = "positions."
_FORM = "_form"
"""Ends the names of rules for the inflected forms of a place."""
_PLACE = re.compile(r"positions\.(\w+)_(before|after|last)")


class WordingGap(Exception):
    """A word that no rule gives a meaning."""


@dataclass(frozen=True)
class Wording:
    """Says derivations of another language in the reference language."""

    subjects: Mapping[str, Subject]
    """Subject rules of the made grammar, by qualified name, about the reference's catalogue."""
    catalogue: Catalogue
    reference: Mapping[str, ex.Rule]
    """Rules of the reference language."""
    own: Mapping[str, tuple[str, str]]
    """Rule of the grammar ``own`` -> kind and canonical name."""
    meaning: Mapping[str, str]
    """Qualified rule -> its words in the reference language."""

    def of(self, parse: Parse) -> str:
        """The sentence; raises ``WordingGap`` where a word has no meaning."""
        return " ".join(self._said(parse.tree, parse.words))

    def _said(self, tree: Tree, words: Words) -> list[str]:
        rule = tree.rule
        leaf = _LEAF.fullmatch(rule)
        if leaf is not None:
            number = spell_integer(int(leaf[2]))
            return number if leaf[1] == "n" else [*number, "and", "a", "half"]
        if rule in _WHOLE:
            return spell_integer(_whole(tree))
        if rule in _PLACES or rule == _FIGURES:
            return [word for digits in _digits(tree) for word in digits]
        known = self.meant(rule)
        if known is not None:
            return list(known)
        place = _PLACE.fullmatch(rule)
        axis = f"{_POSITIONS}{place[1]}" if place else ""
        inner = tree.find(axis) or tree.find(f"{axis}{_FORM}") if place else None
        if place and inner is not None and inner.children:
            value = inner.children[0].rule.removesuffix(_FORM)
            return list(self._placed(place[1], value, place[2]) or self.meant(value) or ())
        subject = self.subjects.get(rule)
        if subject is not None:
            self._check(tree, words)
            return self._subject(tree, subject)
        at, said = tree.start, []
        for child in tree.children:
            if child.start > at:
                break
            said += self._said(child, words)
            at = child.end
        if at < tree.end:
            raise WordingGap(f"'{words[at]}' in <{rule}>")
        return said

    def meant(self, rule: str) -> Words | None:
        """What a rule says by itself; None where what stands in it does, or where it has no meaning."""
        if rule in self.meaning:
            return tuple(self.meaning[rule].split())
        grammar, _, name = rule.rpartition(".")
        if grammar == OWN:
            return self._own_rule(*self.own[name])
        if grammar == GRAMMAR:
            return self._name_rule(name)
        same = self.reference.get(rule)
        if grammar in ("numbers", "quantities", "codes", "answer") or same is None:
            return None
        if any(references(same.expression)):
            return None
        return phrases(self.reference, rule)[0]

    def _own_rule(self, kind: str, name: str) -> Words:
        if kind == "is":
            rule = f"conditions.{name.replace(' ', '_').replace('-', '_')}"
            return phrases(self.reference, rule)[0]
        if kind == "behind":
            behind = next(k.behind for c in self.catalogue for k in c.characteristics if k.name == name and k.behind)  # fmt: skip
            return tuple(expand(behind[0])[0].split())
        return tuple(expand(name)[0].split())

    def _name_rule(self, name: str) -> Words | None:
        """Names and words of the made grammar."""
        for one in self.catalogue:
            slug = _slug(one.name)
            if name == slug:
                return called(one)
            if name.startswith(f"{slug}__") and name.endswith("__words"):
                for each in one.characteristics:
                    if name == f"{slug}__{_slug(each.name)}__words" and each.words:
                        return tuple(expand(each.words[0])[0].split())
        return None

    # --- subjects ------------------------------------------------------------------------------

    def _check(self, tree: Tree, words: Words) -> None:
        """Raises ``WordingGap`` where a word of a subject lies in no rule that has a meaning."""
        if tree.rule.endswith("__alone") or self.meant(tree.rule) is not None:
            return
        at = tree.start
        for child in tree.children:
            if child.start > at:
                break
            self._check(child, words)
            at = child.end
        if at < tree.end:
            raise WordingGap(f"'{words[at]}' in <{tree.rule}>")

    def _subject(self, tree: Tree, subject: Subject) -> list[str]:
        before: list[str] = []
        after: list[str] = []
        axes = {axis.name for axis in subject.axes}
        for inner in tree.walk():
            axis = inner.rule.removeprefix(_POSITIONS).removesuffix(_FORM)
            if (
                not inner.rule.startswith(_POSITIONS)
                or spoken_name(axis) not in axes
                or not inner.children
            ):
                continue
            value = inner.children[0].rule.removesuffix(_FORM)
            first = self._placed(axis, value, "before")
            before += first
            if not first:
                after += self._placed(axis, value, "after")
        one = subject.characteristic
        if one is None:
            return [*before, *called(subject.component), *after]
        if one.words:
            return [*before, *called(subject.component), *after, *expand(one.words[0])[0].split()]
        return [*before, *expand(one.alone[0])[0].split(), *after]

    def _placed(self, axis: str, value: str, way: str) -> Words:
        """How the reference says a place before or after a name; () where it does not."""
        rule = f"{_POSITIONS}{axis}_{way}"
        if rule not in self.reference or value not in self.reference:
            return ()
        own = phrases(self.reference, value)
        found = [p for p in phrases(self.reference, rule) if any(p[-len(o) :] == o for o in own)]
        if way == "after" and axis == "cell":
            found = [p for p in found if p[0] == "cell"]
        return min(found, key=len, default=())

    # --- before anybody speaks -----------------------------------------------------------------

    def gaps(self, rules: Mapping[str, ex.Rule]) -> Iterator[str]:
        """Rules of ``rules`` in which a word stands that means nothing."""
        inside = self._inside_subjects(rules)
        for name, rule in rules.items():
            if name in inside or name in (_HUNDRED, _THOUSAND) or _LEAF.fullmatch(name):
                continue
            if self.meant(name) is not None:
                continue
            if any(words_of(rule.expression)):
                yield name

    def _inside_subjects(self, rules: Mapping[str, ex.Rule]) -> frozenset[str]:
        """Names of parts and characteristics, which the subject around them says."""
        return frozenset(
            name for name in rules
            if name.startswith(f"{GRAMMAR}.") and name.endswith(("__alone", "__words"))
        )  # fmt: skip


def called(one: Component) -> Words:
    """A part's name in the reference language."""
    return tuple(expand((*one.spoken, *one.typed)[0])[0].split())


def _slug(name: str) -> str:
    return re.sub(r"[^a-z0-9]", "_", name)


def _leaves(tree: Tree) -> Iterator[str]:
    """Rules of the leaves in spoken order; a leaf of figures hides what is inside it."""
    if not tree.children or _LEAF.fullmatch(tree.rule):
        yield tree.rule
        return
    for child in tree.children:
        yield from _leaves(child)


def _whole(tree: Tree) -> int:
    """The value of a whole number."""
    total = here = 0
    for rule in _leaves(tree):
        if rule == _HUNDRED:
            here = (here or 1) * 100
        elif rule == _THOUSAND:
            total, here = total + (here or 1) * 1000, 0
        elif (leaf := _LEAF.fullmatch(rule)) is not None:
            here += int(leaf[2])
    return total + here


def _digits(tree: Tree) -> Iterable[list[str]]:
    """The figures behind a point, or those that were said one by one."""
    for rule in _leaves(tree):
        leaf = _LEAF.fullmatch(rule)
        yield spell_digits(leaf[2]) if leaf is not None else ["point"]
