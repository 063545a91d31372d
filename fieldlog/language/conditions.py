"""A mechanic's words for how a part is (pure)."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace

from fieldlog.catalogue.component import SOUND, WORK
from fieldlog.language.left_open import Open, Worded
from fieldlog.language.lexicon import Words, spoken_name
from fieldlog.language.reading import Reading, Standing
from fieldlog.language.subjects import About
from fieldlog.language.typed import Sayings
from fieldlog.language.values import ValueReader
from fieldlog.model.finding import Finding

ARTICLES = frozenset({"a", "an", "some", "the"})
"""Words before a name or a condition that say nothing of it."""
_HAS = frozenset({"has", "have", "had", "got", "with", "shows", "showing"})
_WORN_OUT = ("worn", "not working")
"""What "shot" means, in this order, of what admits it."""


class ConditionReader:
    """Reads the conditions that nouns, needs, doubts and amounts stand for."""

    def __init__(
        self, of: Callable[[str], Sayings], names: Iterable[str], values: ValueReader
    ) -> None:
        """``of``: the sayings of a rule of trade.jsgf, of which ``names`` are all."""
        self._values = values
        self.nouns = _by_phrase((n, of(n)) for n in names if n.startswith("noun_"))
        self._needs = _by_phrase(
            (n, of(n)) for n in names if n.startswith("needs_") and n != "needs_work"
        )
        self.need, self._needs_work, self._worn_out = of("need"), of("needs_work"), of("worn_out")
        self._degree, self._nearly, self._negation = of("degree"), of("nearly"), of("negation")
        self._looked_at, self._vague, self._near_limit = (
            of("looked_at"),
            of("vague"),
            of("near_limit"),
        )

    def told(self, about: About, said: Words, text: str, part: bool) -> Worded | None:
        """What ``said`` alone tells of ``about``; ``part``: of a breath, where less may be meant."""
        readings = tuple(self._values.judged(about, said, text)) or tuple(
            self._amounted(about, said, text)
        )
        if readings:
            return Worded(about, readings)
        if said in self._near_limit:
            measured = any(one.units for one in about.component.characteristics)
            return Worded(about, (), Open.MEASURE if measured else Open.HOW)
        if said in self._looked_at or said in self._vague:
            return Worded(about, (), Open.HOW)
        if said in self._worn_out:
            return self._is_worn_out(about, text)
        noun = said[1:] if said[:1] and said[0] in _HAS else ()
        bare = (
            () if part and said[0] not in ARTICLES else said
        )  # "engine" "oil", of a breath, is no engine with oil on it
        readings = tuple(self.found(about, noun or bare, text))
        if readings:
            return Worded(about, readings)
        return (
            self._in_need(about, said, text)
            or self._in_doubt(about, said, text)
            or self._of_another(about, said)
        )

    def _of_another(self, about: About, said: Words) -> Worded | None:
        """A condition that is not said of ``about``: how it is is asked, with what it can be."""
        known = any(about.component.judged()) and self._values.is_condition(said) is not None
        return Worded(about, (), Open.NOT_SAID, " ".join(said)) if known else None

    def _amounted(self, about: About, said: Words, text: str) -> Iterator[Reading]:
        """ "two loose", "down half a litre", "low by a quart"."""
        yield from self._values.amounted(about, said, text)
        for at in range(1, len(said)):
            low = "low" if said[:at] in (("down",), ("short",), ("low",)) else ""
            amount = said[at + 1 :] if said[at] == "by" else said[at:]
            if low and amount:
                yield from self._values.amounted(about, (*amount, low), text)
        if said[-1:] in (("down",), ("short",)):  # "two hundred mil down"
            yield from self._values.amounted(about, (*said[:-1], "low"), text)

    def found(self, about: About, noun: Words, text: str) -> Iterator[Reading]:
        """ "a crack", "some play in it": the conditions of ``about`` that a noun stands for."""
        body = noun
        while body and (body[0] in ARTICLES):
            body = body[1:]
        for phrase in self._degree.before(body):
            body = body[len(phrase) :]
            break
        if body[-2:] in (("in", "it"), ("on", "it")):
            body = body[:-2] or body
        meant = self.nouns.get(body, ())
        yield from self.those(about, meant, text)
        if not meant:
            yield from self._values.found_in(about, body, text) if body[:1] != ("no",) else ()

    def those(self, about: About, meant: Iterable[str], text: str) -> Iterator[Reading]:
        """Of the conditions ``meant`` those that ``about`` can be in."""
        wanted = set(meant)
        known = set(self._values.conditions_of(about.component, about.characteristic).values())
        for name, condition in sorted(known):
            if condition in wanted:
                yield reading_of(about, name, condition, text)

    def _is_worn_out(self, about: About, text: str) -> Worded:
        for condition in _WORN_OUT:
            readings = tuple(self.those(about, (condition,), text))
            if readings:
                return Worded(about, readings)
        return Worded(about, (), Open.HOW)

    def _in_need(self, about: About, said: Words, text: str) -> Worded | None:
        for phrase in self.need.before(said):
            wanted = said[len(phrase) :]
            readings = tuple(self.those(about, self._needs.get(wanted, ()), text))
            if len({one.finding.condition for one in readings}) == 1:
                return Worded(about, readings)
            if wanted in self._needs or wanted in self._needs_work:
                return Worded(about, (), Open.HOW)
        return None

    def _in_doubt(self, about: About, said: Words, text: str) -> Worded | None:
        for phrase in self._nearly.before(said):
            told = self.told(about, said[len(phrase) :], text, False)
            return replace(told, open=Open.NEARLY) if told and told.readings else None
        faults = _split_at(said, self._negation)
        meant = [self._denied(about, fault, text) for fault in faults]
        if meant and all(meant):
            sound = tuple(self.those(about, (SOUND,), text))
            faulty = all(one.finding.condition != SOUND for found in meant for one in found)
            worked = any(one.finding.characteristic == WORK for found in meant for one in found)
            return Worded(about, sound, Open.SOUND if sound and faulty and not worked else Open.HOW)
        return None

    def _denied(self, about: About, said: Words, text: str) -> tuple[Reading, ...]:
        """What is denied of ``about``, small words before it left out: "not too good"."""
        for phrase in ((), *self._degree.before(said)):
            body = said[len(phrase) :]
            found = (*self._values.judged(about, body, text), *self.found(about, body, text))
            if found:
                return found
        return ()


def reading_of(about: About, name: str, condition: str, text: str) -> Reading:
    """The finding that judges ``about`` so."""
    finding = Finding(about.component.name, about.position, name, condition=condition, words=text)
    standing = Standing.UNPLACED if about.missing else Standing.FITS
    return Reading(about, finding, standing)


def _split_at(said: Words, negation: Iterable[Words]) -> list[Words]:
    """ "no cuts no nails" -> cuts; nails. Empty where it does not begin with a negation."""
    parts: list[Words] = []
    known = set(negation)
    at = 0
    while at < len(said):
        n = next((len(p) for p in known if said[at : at + len(p)] == p), 0)
        if n:
            parts.append(())
        elif not parts:
            return []
        elif said[at] not in ("or", "and"):
            parts[-1] = (*parts[-1], said[at])
        elif said[at] in ("or", "and"):
            parts.append(())
        at += n or 1
    return [part for part in parts if part]


def _by_phrase(rules: Iterable[tuple[str, Iterable[Words]]]) -> Mapping[Words, tuple[str, ...]]:
    """Phrase -> the conditions that it can stand for, from rules named KIND_condition."""
    found: dict[Words, tuple[str, ...]] = {}
    for name, said in rules:
        condition = spoken_name(name.partition("_")[2])
        for phrase in said:
            found[phrase] = (*found.get(phrase, ()), condition)
    return found
