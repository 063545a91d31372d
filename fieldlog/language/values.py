"""The words after the subject -> every finding they can make (pure)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from fieldlog.catalogue.component import (
    CONDITION,
    NOT_WORKED_ON,
    SOUND,
    WORK,
    Axis,
    Characteristic,
    Component,
)
from fieldlog.catalogue.phrases import expand
from fieldlog.derived.tyre import is_week
from fieldlog.language.given import Facts, before_condition, with_given
from fieldlog.language.lexicon import Words
from fieldlog.language.plausible import plausible_twin, standing_of, without_idle_mils
from fieldlog.language.reading import Reading, Standing, Unread
from fieldlog.language.series import series
from fieldlog.language.subjects import About
from fieldlog.language.vocabulary import Vocabulary
from fieldlog.model.finding import Finding
from fieldlog.model.understanding import Flag
from fieldlog.quantities.code_reading import CodeKind
from fieldlog.quantities.codes import brake_fluid_twin, codes
from fieldlog.quantities.number_words import NUMERALS
from fieldlog.quantities.quantity import Quantities, QuantityReading, quantities
from fieldlog.quantities.values import DOUBTFUL
from fieldlog.words import tell

REPAIR = "correction"
NONE = "no"
"""Before a noun: "no play in the steering head"."""
_NOT = "not"
_DONE_FOR = ("worn", "not working")
_ARE = (("is",), ("are",))
_ONLY = ("only",)
"""Before a number it changes nothing; before all else it may: "only works hot"."""
_OLD = (("old",),)
_KEPT_OF_CODES = frozenset({Flag.NO_YEAR, Flag.HOMOPHONE, Flag.SHORTHAND, Flag.THREE_DIGITS})
_KEPT_FIRST = frozenset({Flag.HOMOPHONE, Flag.UNIT_ASSUMED})
_KEPT_FLAGS = (
    *(Flag.AGREEMENT, Flag.LOOSE_UNIT, Flag.SHORTHAND, Flag.EITHER),
    *sorted(DOUBTFUL),
)


class ValueReader:
    """Reads what is said of a subject."""

    def __init__(self, vocabulary: Vocabulary) -> None:
        """``vocabulary``: the phrases of the loaded grammars."""
        self._vocabulary = vocabulary
        self._phrases: dict[tuple[str, str | None], dict[Words, tuple[str, str]]] = {}
        self._typed: dict[tuple[str, str | None], dict[Words, set[tuple[str, str]]]] = {}
        self._copulas = frozenset(vocabulary.copulas), max(map(len, vocabulary.copulas), default=0)
        self._works = {phrase: work for work, said in vocabulary.works.items() for phrase in said}

    def read(self, about: About, rest: Words, words: str) -> tuple[list[Reading], list[Unread]]:
        """Every reading of ``rest`` said of ``about``, and why others were refused.

        ``words``: the whole text, kept in the finding.
        """
        found: list[Reading] = []
        reasons: list[Unread] = []
        for said in self.without_copula(rest):
            self._judged(about, said, words, found)
            for one in self._characteristics(about):
                placed = about
                if about.characteristic is None and one.axes != about.axes:
                    placed = About(about.component, None, one.axes, about.places, about.used)
                    if any(axis not in {a.name for a in one.axes} for axis in about.places):
                        continue
                self._coded(placed, one, said, words, found)
                if one.units:
                    for body, given in with_given(one, said):
                        fresh: list[Reading] = []
                        self._measured(placed, one, body, words, fresh, reasons)
                        found += [_with(reading, given) for reading in fresh]
            for one, body in self._named_behind(about, said):
                self._measured(about, one, body, words, found, reasons)
        return found, list(dict.fromkeys(reasons))

    def found_in(self, about: About, said: Words, words: str) -> Iterator[Reading]:
        """ "nail", "there is a crack": the conditions of ``about`` that a noun stands for.

        "no play" gives what is as it should be, to be asked about.
        """
        noun = said[2:] if said[:2] == ("there", "is") else said
        absent = noun[:1] == (NONE,)
        noun = noun[1:] if absent or noun[:1] in (("a",), ("an",), ("some",)) else noun
        known = set(self.conditions_of(about.component, about.characteristic).values())
        meant = {c for _, c in known if noun in self._vocabulary.faults.get(c, ())}
        if absent and meant:
            meant = {SOUND}
        for name, condition in sorted(known):
            if condition in meant:
                finding = Finding(
                    about.component.name, about.position, name, condition=condition, words=words
                )
                yield _placed(Reading(about, finding, Standing.FITS))

    def conditions_of(
        self, component: Component, one: Characteristic | None
    ) -> Mapping[Words, tuple[str, str]]:
        """Phrase -> (characteristic, condition) for an entry; its own ways of saying them win."""
        key = (component.name, one.name if one else None)
        table = self._phrases.get(key)
        if table is None:
            table = self._phrases[key] = dict(self._condition_table(component, one))
        return table

    def judged(self, about: About, said: Words, words: str) -> Iterator[Reading]:
        """What exactly ``said`` judges of ``about``, in words that may be spoken or only typed.

        Typed words that stand for two conditions of it give both.
        """
        for name, condition in self._meant(about, said):
            finding = Finding(
                about.component.name, about.position, name, condition=condition, words=words
            )
            yield _placed(Reading(about, finding, Standing.FITS))

    def _meant(self, about: About, said: Words) -> Iterable[tuple[str, str]]:
        work = self._works.get(said)
        if work is not None and about.component.system not in NOT_WORKED_ON:
            return [(WORK, work)]
        table = self.conditions_of(about.component, about.characteristic)
        known = table.get(said)
        if known is None:
            return sorted(self._typed_of(about).get(said, ()))
        return list(dict.fromkeys((known, *self._else_meant(table, said, known[0]))))

    def _else_meant(
        self, table: Mapping[Words, tuple[str, str]], said: Words, name: str
    ) -> Iterator[tuple[str, str]]:
        """What else the phrase of a condition can mean, to be asked about.

        "Not tight" of what tight is a fault of: sound, or loose. "Gone" of a lamp: it is not there, or
        it is dead.
        """
        admitted = {condition for one, condition in table.values() if one == name}
        denied = table.get(said[1:]) if said[:1] == (_NOT,) else None
        if denied is not None and denied[1] != SOUND and SOUND in admitted:
            yield name, SOUND
        if said in self._vocabulary.done_for:
            yield from ((name, each) for each in _DONE_FOR if each in admitted)

    def _typed_of(self, about: About) -> Mapping[Words, set[tuple[str, str]]]:
        """Phrase -> every (characteristic, condition) that it can judge when it is typed."""
        component, one = about.component, about.characteristic
        key = (component.name, one.name if one else None)
        table = self._typed.get(key)
        if table is None:
            table = self._typed[key] = {}
            own: dict[Words, set[tuple[str, str]]] = {}
            for name, owner in self._owners(component, one):
                for condition in owner.conditions:
                    for phrase in self._vocabulary.typed.get(condition, ()):
                        table.setdefault(phrase, set()).add((name, condition))
                for condition, said in owner.typed_say.items():
                    for phrase in (tuple(p.split()) for text in said for p in expand(text)):
                        own.setdefault(phrase, set()).add((name, condition))
            table.update(own)
            for phrase, meant in table.items():  # the part as a whole before one thing of it
                whole = {each for name, each in meant if name == CONDITION}
                table[phrase] = {
                    each for each in meant if each[0] == CONDITION or each[1] not in whole
                }
        return table

    def is_condition(self, rest: Words) -> str | None:
        """The condition that ``rest`` names on any component, or None."""
        for said in self.without_copula(rest):
            for condition, phrases in self._vocabulary.conditions.items():
                if said in phrases:
                    return condition
        return None

    def _condition_table(
        self, component: Component, one: Characteristic | None
    ) -> Iterator[tuple[Words, tuple[str, str]]]:
        owners = self._owners(component, one)
        for name, owner in owners:
            for condition in owner.conditions:
                for phrase in self._vocabulary.conditions[condition]:
                    yield phrase, (name, condition)
        for name, owner in owners:
            for condition, phrases in owner.say.items():
                for phrase in (tuple(p.split()) for text in phrases for p in expand(text)):
                    yield phrase, (name, condition)

    @staticmethod
    def _owners(
        component: Component, one: Characteristic | None
    ) -> list[tuple[str, Component | Characteristic]]:
        if one is not None:
            return [(one.name, one)]
        owners: list[tuple[str, Component | Characteristic]]
        owners = [(c.name, c) for c in component.characteristics if not c.named]
        return [*reversed(owners), (CONDITION, component)]

    def without_copula(self, rest: Words) -> list[Words]:
        """``rest`` without its "is" (first), and as it stands ("at the wear bars")."""
        copulas, longest = self._copulas
        ways = [
            rest[size:] for size in range(1, min(len(rest), longest + 1)) if rest[:size] in copulas
        ]
        ways.append(rest)
        few = [way[1:] for way in ways if way[:1] == _ONLY and way[1:] and way[1] in NUMERALS]
        return [*ways, *few]

    @staticmethod
    def _characteristics(about: About) -> Sequence[Characteristic]:
        if about.characteristic is not None:
            return (about.characteristic,)
        return [one for one in about.component.characteristics if not one.named]

    # --- conditions and codes ------------------------------------------------------------------

    def _judged(self, about: About, said: Words, words: str, found: list[Reading]) -> None:
        flags = _repaired(said)
        for place, body in self._last_place(about, about.axes, _after_repair(said)):
            found += [replace(one, flags=flags) for one in self.judged(place, body, words)]
            amounted = self.amounted(place, body, words)
            found += [replace(one, flags=flags) for one in amounted]

    def amounted(self, about: About, body: Words, words: str) -> Iterator[Reading]:
        """ "two missing", "half a quart low": how many or how much, then the condition."""
        table = self.conditions_of(about.component, about.characteristic)

        def judged(rest: Words) -> tuple[str, str]:
            said = rest[1:] if rest[:1] in _ARE else rest
            typed = () if said in table else tuple(self._typed_of(about).get(said, ()))
            return typed[0] if len(typed) == 1 else table.get(said, ("", ""))

        for rest, owner, before, given, can_be in before_condition(
            about.component, about.characteristic, body, lambda rest: bool(judged(rest)[0])
        ):
            name, condition = judged(rest)
            if name == owner and condition in before:
                finding = Finding(
                    about.component.name,
                    about.position,
                    name,
                    condition=condition,
                    words=words,
                    given=given,
                )
                standing = Standing.FITS if can_be else Standing.IMPLAUSIBLE
                yield _placed(Reading(about, finding, standing))

    def _coded(
        self, about: About, one: Characteristic, said: Words, words: str, found: list[Reading]
    ) -> None:
        if not one.code:
            return
        body = _after_repair(said)
        for code in codes(one.code, body):
            flags = [flag for flag in code.flags if flag in _KEPT_OF_CODES]
            flags += _repaired(said)
            twin = brake_fluid_twin(code.text) if one.code is CodeKind.BRAKE_FLUID else None
            if twin:
                flags.append(Flag.GRADE_TWIN)
            finding = Finding(
                about.component.name, about.position, one.name, code=code.text, words=words
            )
            dated = one.code is not CodeKind.DATE_CODE or is_week(code.text)
            standing = Standing.FITS if dated else Standing.IMPLAUSIBLE
            found.append(_placed(Reading(about, finding, standing, tuple(flags), twin or "")))

    # --- quantities ------------------------------------------------------------------------------

    def _measured(
        self,
        about: About,
        one: Characteristic,
        said: Words,
        words: str,
        found: list[Reading],
        reasons: list[Unread],
    ) -> None:
        for place, body in self._last_place(about, one.axes, said):
            announced = self._announced(body)
            if announced is not None and one.readings > 1:
                found += self._series(place, one, announced, words)
                continue
            result, repaired = self._quantities(one, body)
            for reading in without_idle_mils(result.readings, one, body):
                standing = standing_of(reading.quantity, one)
                found.append(self._reading(place, one, reading, standing, body, words, repaired))
            for reading in result.assumed:
                fits = standing_of(reading.quantity, one) is Standing.FITS
                standing = Standing.NO_UNIT if fits else Standing.IMPLAUSIBLE
                found.append(self._reading(place, one, reading, standing, body, words, repaired))
            if result.reason and not result.assumed:
                reasons.append(_told(result, one, about.component))

    def _last_place(
        self, about: About, axes: Sequence[Axis], said: Words
    ) -> Iterator[tuple[About, Words]]:
        yield about, said
        for axis in axes:
            for phrase, value in self._vocabulary.last.get(axis.name, {}).items():
                if axis.name not in about.places and said[-len(phrase) :] == phrase:
                    yield about.placed(axis.name, value), said[: -len(phrase)]

    @staticmethod
    def _named_behind(about: About, said: Words) -> Iterator[tuple[Characteristic, Words]]:
        """Characteristics that the last words name ("thirty millimetres of slack")."""
        for one in about.component.characteristics:
            if about.characteristic not in (None, one) or not one.units:
                continue
            words = [tuple(p.split()) for text in (*one.words, *one.typed) for p in expand(text)]
            named = (("of", *each) for each in words)
            plain = (each for each in words if len(each) > 1)  # "force" is of a unit
            behind = (tuple(p.split()) for text in one.behind for p in expand(text))
            old = _OLD if "a" in one.units else ()
            for phrase in dict.fromkeys((*behind, *named, *plain, *old)):
                if len(said) > len(phrase) and said[-len(phrase) :] == phrase:
                    yield one, said[: -len(phrase)]

    def _announced(self, said: Words) -> Words | None:
        for phrase in self._vocabulary.readings:
            if len(said) > len(phrase) and said[: len(phrase)] == phrase:
                return said[len(phrase) :]
        return None

    @staticmethod
    def _quantities(one: Characteristic, said: Words) -> tuple[Quantities, bool]:
        """What the words measure; behind a self-repair only what is said there counts."""
        gravity = "gravity" in one.said
        if REPAIR not in said:
            return quantities(said, one.units, gravity=gravity), False
        at = len(said) - said[::-1].index(REPAIR)
        result = quantities(said[at:], one.units, gravity=gravity)
        return result, True

    @staticmethod
    def _reading(
        about: About,
        one: Characteristic,
        reading: QuantityReading,
        standing: Standing,
        said: Words,
        words: str,
        repaired: bool,
    ) -> Reading:
        flags = [flag for flag in reading.flags if flag in _KEPT_FIRST]
        flags += [flag for flag in _KEPT_FLAGS if flag in reading.flags]
        if repaired:
            flags.append(Flag.REPAIRED)
        twin = plausible_twin(one, reading.quantity, said)
        if twin:
            flags.append(Flag.TEEN_TWIN)
        finding = Finding(
            about.component.name,
            about.position,
            one.name,
            quantity=reading.quantity,
            words=words,
        )
        return _placed(Reading(about, finding, standing, tuple(flags), twin))

    @staticmethod
    def _series(about: About, one: Characteristic, said: Words, words: str) -> Iterator[Reading]:
        for values in series(said, one):
            finding = Finding(
                about.component.name, about.position, one.name, readings=values, words=words
            )
            if any(not value.unit for value in values):
                standing = Standing.NO_UNIT
            elif all(one.plausible_reading(value.value, value.unit) for value in values):
                standing = Standing.FITS
            else:
                standing = Standing.IMPLAUSIBLE
            yield _placed(Reading(about, finding, standing))


def _with(reading: Reading, given: Facts) -> Reading:
    return replace(reading, finding=replace(reading.finding, given=given)) if given else reading


def _repaired(said: Words) -> tuple[Flag, ...]:
    return (Flag.REPAIRED,) if REPAIR in said[:-1] else ()


def _after_repair(said: Words) -> Words:
    if REPAIR in said[:-1]:
        return said[len(said) - said[::-1].index(REPAIR) :]
    return said


def _placed(reading: Reading) -> Reading:
    if reading.about.missing and reading.standing is Standing.FITS:
        return replace(reading, standing=Standing.UNPLACED)
    return reading


def _told(result: Quantities, one: Characteristic, component: Component) -> Unread:
    """A refusal that names what would be allowed."""
    if not result.refused:
        return Unread(result.reason)
    said = ", ".join(tell.unit(each) or each for each in result.refused)
    allowed = " or ".join(tell.unit(each) or each for each in one.units)
    told = f"{one.name} of the {component.name} is not given in {said}; allowed: {allowed}"
    return Unread(told, wrong_unit=True)
