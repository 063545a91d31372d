"""finding.jsgf (a pattern with holes) + catalogue -> the JSGF text of all findings (pure).

Each pattern rule is copied once per filling. Subjects whose values are said alike share one copy,
so that the language stays small although every component admits only its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import permutations, product

from fieldlog.catalogue.component import Axis, Catalogue, Characteristic, Component, Given
from fieldlog.catalogue.phrases import plurals
from fieldlog.language.pattern import filled, read_pattern
from fieldlog.language.rule_names import (
    GRAMMAR,
    bare_rules,
    code_rule,
    conditions_said,
    either,
    part_of_name,
    quantity_rule,
    series_rules,
    value_rules,
)
from fieldlog.quantities.code_reading import CodeKind
from fieldlog.quantities.rules import rules_for

FINDINGS, SUBJECTS, THINGS = "findings", "subjects", "things"
"""Rules of the made grammar: every finding; everything a finding can be about; the same without characteristics."""
PAIRS, CARRIED, MORE, VALUES = "pairs", "carried", "said", "values"
"""And those of a breath: two findings said as one ("both mirrors cracked"); what is said behind a
finding of another place or characteristic of the same thing ("front disc five millimetres, rear four");
what is said of the same ("tyre cracked and worn"); any value with its unit or without."""

SIDE = "side"
"""The axis of the rider's left and right."""


@dataclass(frozen=True)
class Subject:
    """What the words of one subject rule are about.

    ``characteristic`` is None when only the component was named; ``axes`` are those of its place.
    """

    component: Component
    characteristic: Characteristic | None
    axes: tuple[Axis, ...]


@dataclass(frozen=True)
class Shaped:
    """The text of the made grammar, and what its subject rules are about (by rule name)."""

    text: str
    subjects: Mapping[str, Subject]


@dataclass
class _Made:
    """Subjects of one group: complete ones and those with a place left out."""

    complete: list[str] = field(default_factory=list)
    unplaced: list[str] = field(default_factory=list)

    def add(self, rules: tuple[str, str]) -> None:
        self.complete.append(rules[0])
        if rules[1]:
            self.unplaced.append(rules[1])


def shape(
    pattern: str,
    catalogue: Catalogue,
    spoken_axes: frozenset[str],
    faults: frozenset[str],
    where: str,
) -> Shaped:
    """Fill the pattern (text of finding.jsgf, called ``where``) from the catalogue.

    ``spoken_axes``: the rule names of positions.jsgf, to know where each axis may be said;
    ``faults``: those of faults.jsgf, the conditions that have a noun. Raises ``GrammarError`` when
    the pattern lacks a rule or uses a hole that it does not have.
    """
    return _Shaper(pattern, catalogue, spoken_axes, faults, where).shaped()


class _Shaper:
    def __init__(
        self,
        pattern: str,
        catalogue: Catalogue,
        spoken_axes: frozenset[str],
        faults: frozenset[str],
        where: str,
    ) -> None:
        read = read_pattern(pattern, where)
        self.imports, self.patterns, self.shared = read.imports, read.patterns, read.shared
        self.catalogue = catalogue
        self.spoken_axes = spoken_axes
        self.faults = faults
        self.rules: dict[str, str] = {}
        self.spoken: dict[str, Sequence[str]] = {}
        self.subjects: dict[str, Subject] = {}
        self.measured: dict[tuple[str, ...], _Made] = {}
        self.measured_last: dict[tuple[tuple[str, ...], str], _Made] = {}
        self.measured_behind: dict[tuple[tuple[str, ...], tuple[str, ...]], _Made] = {}
        self.series: dict[tuple[str, tuple[str, ...]], _Made] = {}
        self.judged: dict[tuple[str, ...], _Made] = {}
        self.judged_last: dict[tuple[tuple[str, ...], str], _Made] = {}
        self.amounted: dict[tuple[str, tuple[str, ...]], _Made] = {}
        self.counted: dict[tuple[str, ...], _Made] = {}
        self.measured_given: dict[tuple[str, str], _Made] = {}
        self.found_in: dict[str, _Made] = {}
        self.coded: dict[CodeKind, _Made] = {}
        self.things: list[str] = []
        self.paired: dict[tuple[tuple[str, ...], str], list[str]] = {}
        self.paired_last: dict[tuple[tuple[str, ...], str], list[str]] = {}
        self.paired_measured: dict[tuple[tuple[str, ...], str], list[str]] = {}

    def shaped(self) -> Shaped:
        for component in self.catalogue:
            if component.spoken:
                self._component(component)
        findings, pairs = [*self._instances()], [*self._pairs()]
        lines = [f"#JSGF V1.0 UTF-8 en;\ngrammar {GRAMMAR};", *self.imports, *self.shared]
        lines += [f"<{name}> = {body};" for name, body in self.rules.items()]
        lines.append(f"public <{FINDINGS}> = {either(findings)};")
        lines.append(f"public <{SUBJECTS}> = {either(self.subjects)};")
        lines.append(f"public <{THINGS}> = {either(self.things)};")
        lines.append(f"public <{PAIRS}> = {either(pairs)};")
        lines.append(f"public <{CARRIED}> = {self._carried()};")
        lines.append(f"public <{MORE}> = {self._more()};")
        lines.append(f"public <{VALUES}> = {self._values()};")
        return Shaped("\n".join(lines) + "\n", self.subjects)

    # --- subjects ----------------------------------------------------------------------------

    def _component(self, component: Component) -> None:
        slug = part_of_name(component.name)
        self.rules[slug] = " | ".join(component.spoken)
        self.spoken[slug] = component.spoken
        about = Subject(component, None, component.axes)
        whole = self._subject("plain", slug, about, component.axes)
        self.things += [rule for rule in whole if rule]
        conditions = conditions_said(component.conditions, component.say)
        pair = self._pair_of(component.axes)
        for one in component.characteristics:
            own = conditions_said(one.conditions, one.say)
            named = [*self._named(component, one, slug)]
            subjects = named if one.named else [*named, self._bare(component, one, slug, whole)]
            for subject in subjects:
                self._said_of(one, subject)
                self._given_with(one, subject)
                if own:
                    self.judged.setdefault(own, _Made()).add(subject)
                    self._found_in(one.conditions, subject)
            if one.behind and one.units:
                made = self.measured_behind.setdefault((value_rules(one), one.behind), _Made())
                for subject in (*named, self._bare(component, one, slug, whole)):
                    made.add(subject)
            for axis in one.axes if one.units else ():
                if self._spoken(axis, "last"):
                    made = self.measured_last.setdefault((value_rules(one), axis.name), _Made())
                    for subject in self._named(component, one, slug, axis.name):
                        made.add(subject)
                        self._given_with(one, subject, f" <positions.{axis.name}_last>")
            if one.units and not one.named and pair and one.axes == component.axes:
                self.paired_measured.setdefault((value_rules(one), pair), []).append(slug)
            if not one.named:
                conditions = tuple(dict.fromkeys((*conditions, *own)))
        for fact in component.given:
            self._amounts(fact, component.say, whole)
        self._found_in(component.conditions, whole)
        if conditions and pair:
            self.paired.setdefault((conditions, pair), []).append(slug)
        for axis in component.axes if conditions else ():
            if f"<both_{axis.name}>" in "".join(self.shared):
                self.paired_last.setdefault((conditions, axis.name), []).append(slug)
        if conditions:
            self.judged.setdefault(conditions, _Made()).add(whole)
            for axis in component.axes:
                if self._spoken(axis, "last"):
                    others = tuple(other for other in component.axes if other is not axis)
                    made = self.judged_last.setdefault((conditions, axis.name), _Made())
                    made.add(self._subject("plain", slug, about, others))

    def _bare(
        self, component: Component, one: Characteristic, slug: str, whole: tuple[str, str]
    ) -> tuple[str, str]:
        """The component's names alone, with the characteristic's own places if it has any."""
        if one.axes == component.axes:
            return whole
        return self._subject("plain", slug, Subject(component, None, one.axes), one.axes)

    def _named(
        self, component: Component, one: Characteristic, slug: str, unsaid: str = ""
    ) -> Iterator[tuple[str, str]]:
        """Subjects that name ``one``; the axis ``unsaid`` is left to be said later."""
        rule = f"{slug}__{part_of_name(one.name)}"
        axes = tuple(axis for axis in one.axes if axis.name != unsaid)
        if one.words:
            self.rules[f"{rule}__words"] = " | ".join(one.words)
            both = f"{rule}__both"
            self.rules[both] = f"<{slug}> <{rule}__words>"
            about = Subject(component, one, one.axes)
            yield self._subject("named", slug, about, axes, both, f"{rule}__words")
        if one.alone:
            self.rules[f"{rule}__alone"] = " | ".join(one.alone)
            about = Subject(component, one, one.axes)
            alone = self._subject("plain", f"{rule}__alone", about, axes)
            self.things += [name for name in alone if name]
            yield alone

    def _subject(
        self,
        pattern: str,
        names: str,
        about: Subject,
        axes: tuple[Axis, ...],
        behind: str = "",
        characteristic: str = "",
    ) -> tuple[str, str]:
        """Rule names of the complete and the unplaced subject; the second may be "".

        ``behind``: the rule of names and characteristic together, to be followed by the place.
        """
        made = []
        placements = self._placements(names, axes)
        followed = self._placements(behind, axes, only_behind=True) if behind else ([], [])
        for kind, first, last in zip("su", placements, followed, strict=True):
            if not first:
                made.append("")
                continue
            name = self._new(f"{kind}_{part_of_name(about.component.name)}")
            self.rules[name] = filled(
                self.patterns[pattern],
                placed=self._rule(f"{names}__{kind}_at", first, axes),
                placed_last=self._rule(f"{behind}__{kind}_at", last, axes),
                characteristic=f"<{characteristic}>",
            )
            self.subjects[name] = about
            made.append(name)
        return made[0], made[1]

    def _rule(self, stem: str, alternatives: Sequence[str], axes: tuple[Axis, ...]) -> str:
        """A reference to the rule of these names at these axes, made once."""
        if not alternatives:
            return "<VOID>"
        key = f"{stem}_" + "_".join(a.name + ("" if a.required else "0") for a in axes)
        self.rules.setdefault(key, " | ".join(alternatives))
        return f"<{key}>"

    def _placements(
        self, names: str, axes: tuple[Axis, ...], only_behind: bool = False
    ) -> tuple[list[str], list[str]]:
        """Ways to say the names with their place: complete ones, and those lacking a needed place.

        Each axis is said before the names, after them, or not at all; before them in any order.
        ``only_behind``: only ways with something after the names.
        """
        complete: list[str] = []
        lacking: list[str] = []
        ways = [
            [way for way in ("before", "after") if self._spoken(axis, way)] + [""] for axis in axes
        ]
        for choice in product(*ways):
            said = dict(zip((axis.name for axis in axes), choice, strict=True))
            before = [axis for axis, way in said.items() if way == "before"]
            after = [axis for axis, way in said.items() if way == "after"]
            if only_behind and not after:
                continue
            missing = any(axis.required and not said[axis.name] for axis in axes)
            tail = "".join(f" <positions.{axis}_after>" for axis in after)
            for order in permutations(before):
                head = "".join(f"<positions.{axis}_before> " for axis in order)
                (lacking if missing else complete).append(f"{head}<{names}>{tail}")
        return complete, lacking

    def _spoken(self, axis: Axis, way: str) -> bool:
        return f"{axis.name} {way}" in self.spoken_axes

    # --- what is said of them ------------------------------------------------------------------

    def _said_of(self, one: Characteristic, subject: tuple[str, str]) -> None:
        if one.code:
            self.coded.setdefault(one.code, _Made()).add(subject)
        if not one.units:
            return
        value = value_rules(one)
        self.measured.setdefault(value, _Made()).add(subject)
        if one.readings > 1:
            self.series.setdefault(series_rules(one), _Made()).add(subject)

    def _given_with(self, one: Characteristic, subject: tuple[str, str], last: str = "") -> None:
        """Facts said after the value (and its place ``last``), or an amount before a condition."""
        for fact in one.given:
            if fact.before:
                self._amounts(fact, one.say, subject)
                continue
            # degrees of either scale leave a choice, which a fact must not
            units = [
                rule.replace("of_", "fact_")
                for rule in rules_for(fact.units)
                if rule != "of_bare_degrees"
            ]
            given = f"({' | '.join(fact.words)}) {quantity_rule(units)}"
            value = f"{quantity_rule(value_rules(one))}{last}"
            self.measured_given.setdefault((value, given), _Made()).add(subject)

    def _amounts(
        self, fact: Given, say: Mapping[str, tuple[str, ...]], subject: tuple[str, str]
    ) -> None:
        """ "two missing", "half a quart low"; a count may be said first of all as well."""
        said = conditions_said(
            dict.fromkeys(fact.before), {name: say[name] for name in fact.before if name in say}
        )
        amount = "<several>" if fact.counted else "<quantities.lacking>"
        self.amounted.setdefault((amount, said), _Made()).add(subject)
        if fact.counted:
            self.counted.setdefault(said, _Made()).add(subject)

    def _found_in(self, conditions: Iterable[str], subject: tuple[str, str]) -> None:
        for fault in sorted(self.faults.intersection(conditions)):
            self.found_in.setdefault(fault, _Made()).add(subject)

    def _instances(self) -> Iterator[str]:
        for value, made in self.measured.items():
            numbers = bare_rules(value)
            yield self._said(
                "measured", made, value=quantity_rule(value), number=quantity_rule(numbers)
            )
        for (value, axis), made in self.measured_last.items():
            last = f"<positions.{axis}_last>"
            yield self._said("measured_last", made, value=quantity_rule(value), last=last)
        for (value, behind), made in self.measured_behind.items():
            words = f"({' | '.join(behind)})"
            yield self._said("measured_behind", made, value=quantity_rule(value), behind=words)
        for (reading, units), made in self.series.items():
            more = self._new("more")
            self.rules[more] = filled(self.patterns["more"], reading=reading)
            unit = f"({' | '.join(units)})" if units else "<NULL>"
            yield self._said("series", made, reading=reading, more=f"<{more}>", unit=unit)
        for conditions, made in self.judged.items():
            yield self._said("judged", made, condition="(" + " | ".join(conditions) + ")")
        for (conditions, axis), made in self.judged_last.items():
            said = "(" + " | ".join(conditions) + ")"
            last = f"<positions.{axis}_last>"
            yield self._said("judged_last", made, condition=said, last=last)
        for (amount, conditions), made in self.amounted.items():
            said = "(" + " | ".join(conditions) + ")"
            yield self._said("amounted", made, amount=amount, condition=said)
        for conditions, made in self.counted.items():
            yield self._said("counted", made, condition="(" + " | ".join(conditions) + ")")
        for (quantity, given), made in self.measured_given.items():
            yield self._said("measured_given", made, value=quantity, given=given)
        for fault, made in self.found_in.items():
            yield self._said("found_in", made, fault=f"<faults.{part_of_name(fault)}>")
        for code, made in self.coded.items():
            yield self._said("coded", made, code=code_rule(code))

    def _pair_of(self, axes: tuple[Axis, ...]) -> str:
        """The axis of which both values may be said at once: the only one, or the only one that is needed
        ("front and rear pads"), or of several that may all be left out the rider's sides; "" for none."""
        needed = [axis.name for axis in axes if axis.required]
        names = needed or [axis.name for axis in axes]
        if SIDE in names and not needed:
            names = [SIDE]
        shared = "".join(self.shared)
        return names[0] if len(names) == 1 and f"<pair_{names[0]}>" in shared else ""

    def _pairs(self) -> Iterator[str]:
        """ "Both mirrors cracked", "front and rear rims fine": of what has one axis of two values."""
        for (conditions, axis), names in self.paired.items():
            said = f"({' | '.join(conditions)})"
            yield self._pair("paired", names, pair=f"<pair_{axis}>", condition=said)
        for (conditions, axis), names in self.paired_last.items():
            said = f"({' | '.join(conditions)})"
            yield self._pair("paired_last", names, both=f"<both_{axis}>", condition=said)
        for (value, axis), names in self.paired_measured.items():
            said = quantity_rule(value)
            yield self._pair("paired_measured", names, pair=f"<pair_{axis}>", value=said)

    def _pair(self, pattern: str, names: Sequence[str], **holes: str) -> str:
        name = self._new(pattern)
        if "<hole.two>" in self.patterns[pattern]:
            holes["two"] = f"({either([self._of_two(slug) for slug in names])})"
        self.rules[name] = filled(self.patterns[pattern], names=f"({either(names)})", **holes)
        return name

    def _of_two(self, slug: str) -> str:
        """The rule of a component's names as they are said of two of it: "both tyres"."""
        name = f"{slug}__two"
        self.rules.setdefault(name, " | ".join((f"<{slug}>", *plurals(self.spoken[slug]))))
        return name

    def _carried(self) -> str:
        """A place or characteristic with whatever any part is said to be or to measure: which of it
        the part before may be is found when it was heard."""
        axes = {a.name for c in self.catalogue for a in c.axes}
        axes |= {a.name for c in self.catalogue for one in c.characteristics for a in one.axes}
        places = [
            f"positions.{axis}_before"
            for axis in sorted(axes)
            if f"{axis} before" in self.spoken_axes
        ]
        words = dict.fromkeys(
            name for name in self.rules if name.endswith("__words") and "__" in name
        )
        return filled(
            self.patterns["carried"],
            place=f"({either(places)})",
            words=f"({either(words)})",
            condition=f"({' | '.join(self._conditions())})",
            value=f"<{VALUES}>",
        )

    def _values(self) -> str:
        values = dict.fromkeys(rule for said in self.measured for rule in said)
        return f"/20/ {quantity_rule(values)} | /1/ {quantity_rule(bare_rules(tuple(values)))}"

    def _more(self) -> str:
        codes = [code_rule(code) for code in self.coded]
        return f"/4/ ({' | '.join(self._conditions())}) | /1/ ({' | '.join(codes)})"

    def _conditions(self) -> list[str]:
        return [*dict.fromkeys(one for said in self.judged for one in said)]

    def _said(self, pattern: str, made: _Made, **holes: str) -> str:
        about = self._new("about")
        if made.unplaced:
            self.rules[about] = filled(
                self.patterns["about"],
                complete=f"({either(made.complete)})",
                unplaced=f"({either(made.unplaced)})",
            )
        else:
            self.rules[about] = either(made.complete)
        name = self._new(pattern)
        self.rules[name] = filled(self.patterns[pattern], subject=f"<{about}>", **holes)
        return name

    def _new(self, stem: str) -> str:
        name, number = stem, 1
        while name in self.rules:
            number += 1
            name = f"{stem}_{number}"
        return name
