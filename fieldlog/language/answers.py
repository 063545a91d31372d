"""What is said after a question: the candidate it picks, or the value said anew (pure)."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from fieldlog import units
from fieldlog.catalogue.component import Axis, Catalogue
from fieldlog.catalogue.phrases import expand
from fieldlog.language import tell
from fieldlog.language.decide import decide, difference
from fieldlog.language.lexicon import Words
from fieldlog.language.subjects import About
from fieldlog.language.values import UNIT_ASSUMED, Reading, Standing, ValueReader
from fieldlog.meaning import numbers
from fieldlog.model import Command, Decision, Finding, Kind, Understanding

ANSWERED = "answered"
APART = " / "
"""Between the words of a question's utterance and those of its answer."""
IN_DOUBT = frozenset({"unsure", "twin"})
"""Flags of an utterance that may have been misheard."""
UNCLEAR = "heard unclearly"
"""Flag of an utterance that was asked about for another reason, and may have been misheard too."""
_SMALL = frozenset({"the", "one", "it", "is", "that", "was", "in", "on", "at", "side"})


@dataclass(frozen=True, slots=True)
class _Pick:
    """One way to take some of the candidates."""

    takes: Callable[[Finding], bool]
    confirms: bool = False
    """Whether it may take the only candidate there is."""
    repeats: bool = False
    """Whether it says the value itself once more."""
    tells_unit: bool = False
    """Whether it says the unit, which was assumed until then."""


@dataclass(frozen=True)
class Answers:
    """Reads answers with the phrases of the loaded grammars."""

    catalogue: Catalogue
    places: Mapping[Words, frozenset[str]]
    """Words of a place -> the canonical values they can mean."""
    values: ValueReader
    axis_values: Callable[[str], Sequence[str]]
    understand: Callable[[str], Understanding]
    split: Callable[[str], Words]

    def answer(self, asked: Understanding, text: str) -> Understanding:
        """``asked`` with the answer ``text``: accepted, asked again with fewer candidates, or refused.

        A whole finding or another dialogue word instead of an answer counts as what it is.
        """
        whole = self.understand(text)
        if whole.kind is Kind.DIALOGUE and whole.dialogue in (Command.AFFIRM, Command.NEGATIVE):
            return self._yes_or_no(asked, whole)
        if whole.decision is not Decision.REFUSE:
            return whole
        words = self.split(text)
        candidates = asked.candidates or ((asked.finding,) if asked.finding else ())
        for pick in self._picks(words, asked):
            left = tuple(one for one in candidates if pick.takes(one))
            if left and (len(left) < len(candidates) or (pick.confirms and len(left) == 1)):
                sure = pick.repeats and len(candidates) == 1
                return self._narrowed(asked, left, text, unit_told=pick.tells_unit, sure=sure)
        return self._said_anew(asked, candidates, words, text) or replace(
            whole,
            reason=f"no answer to '{asked.question}': {whole.reason}",
            question=asked.question,
            candidates=candidates,
        )

    def _yes_or_no(self, asked: Understanding, said: Understanding) -> Understanding:
        candidates = asked.candidates or ((asked.finding,) if asked.finding else ())
        if said.dialogue is Command.AFFIRM and asked.dialogue is Command.SIGN_OFF:
            return replace(asked, decision=Decision.ACCEPT, question="", flags=(ANSWERED,))
        if said.dialogue is Command.AFFIRM and len(candidates) == 1:
            return self._narrowed(asked, candidates, said.text, unit_told=True, sure=True)
        if said.dialogue is Command.AFFIRM:
            both = _both(asked.text, said.text)
            return replace(asked, reason="affirm does not say which", text=both)
        return Understanding(
            Decision.REFUSE, Kind.DIALOGUE, "not what was meant: say it again", said.text,
            dialogue=Command.NEGATIVE,
        )  # fmt: skip

    def _narrowed(
        self,
        asked: Understanding,
        left: tuple[Finding, ...],
        text: str,
        *,
        unit_told: bool,
        sure: bool,
    ) -> Understanding:
        """``asked`` with the candidates ``left``: accepted where nothing of it is open any more.

        ``unit_told``: its unit was said or agreed to; ``sure``: so was all that was asked.
        """
        both = _both(asked.text, text)
        settled = {UNIT_ASSUMED: unit_told, UNCLEAR: sure}
        kept = (flag for flag in asked.flags if not settled.get(flag, False))
        flags = tuple(dict.fromkeys((*kept, ANSWERED)))
        if len(left) > 1:
            return replace(
                asked, candidates=left, finding=None, text=both, question=_open(left), flags=flags
            )
        finding = replace(left[0], words=both)
        about = self._about(finding)
        if about is not None and about.missing:
            reading = Reading(about, finding, Standing.UNPLACED)
            placed = decide([reading], both, self.axis_values) or asked
            return replace(placed, slots=asked.slots, dialogue=asked.dialogue, flags=flags)
        question = reason = ""
        if UNIT_ASSUMED in flags and finding.quantity is not None:
            question = tell.capital(f"{tell.quantity(finding.quantity)}?")
            reason = "the unit was not said"
        elif UNCLEAR in flags:
            question = f"Did you say {tell.finding(finding)}?"
            reason = "not heard clearly enough to count unasked"
        if question:
            return replace(
                asked, finding=finding, candidates=(finding,), text=both, question=question,
                reason=reason, flags=flags,
            )  # fmt: skip
        return Understanding(
            Decision.ACCEPT,
            Kind.FINDING,
            "answered",
            both,
            finding=finding,
            slots=asked.slots,
            dialogue=asked.dialogue,
            flags=flags,
        )

    def _picks(self, words: Words, asked: Understanding) -> Iterator[_Pick]:
        """Ways in which the words may pick among candidates.

        A place confirms nothing where no other was offered; a unit does, unless the value itself
        may have been misheard; a number does, unless its unit was assumed.
        """
        yield _Pick(lambda one: self._has_place(one, words))
        symbols = {meaning.symbol for meaning in units.meanings(words)}
        yield _Pick(
            lambda one: one.quantity is not None and one.quantity.unit in symbols,
            confirms=IN_DOUBT.isdisjoint(asked.flags),
            tells_unit=True,
        )
        yield _Pick(lambda one: self._is_named(one, words))
        said = {reading.value for reading in numbers.readings(words) if reading.high is None}
        yield _Pick(
            lambda one: one.quantity is not None and one.quantity.value in said,
            confirms=UNIT_ASSUMED not in asked.flags,
            repeats=True,
        )

    def _has_place(self, one: Finding, words: Words) -> bool:
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

    def _is_named(self, one: Finding, words: Words) -> bool:
        component = self.catalogue.get(one.component)
        known = component.characteristic(one.characteristic) if component else None
        if known is None or not words:
            return False
        spoken = {tuple(p.split()) for text in known.words for p in expand(text)}
        own = known.name.replace("-", " ").split()
        return words in spoken or all(word in own for word in words)

    def _said_anew(
        self, asked: Understanding, candidates: Sequence[Finding], words: Words, text: str
    ) -> Understanding | None:
        """The value once more, of the same subject ("four thirty seconds")."""
        subjects = {(c.component, c.position, c.characteristic): c for c in candidates}
        readings = [
            reading
            for one in subjects.values()
            if (about := self._about(one)) is not None and words
            for reading in self.values.read(about, words, _both(asked.text, text))[0]
        ]
        found = decide(readings, text, self.axis_values)
        if found is None:
            return None
        return replace(
            found,
            text=_both(asked.text, text),
            dialogue=asked.dialogue,
            flags=(*found.flags, ANSWERED),
        )

    def _about(self, one: Finding) -> About | None:
        component = self.catalogue.get(one.component)
        if component is None:
            return None
        known = component.characteristic(one.characteristic)
        axes = known.axes if known else component.axes
        return About(component, known, axes, dict(self._places_of(one.position, axes)), 0)

    def _places_of(self, position: str | None, axes: Sequence[Axis]) -> Iterator[tuple[str, str]]:
        rest = position or ""
        for axis in axes:
            for value in sorted(self.axis_values(axis.name), key=len, reverse=True):
                if rest == value or rest.startswith(f"{value} "):
                    yield axis.name, value
                    rest = rest[len(value) :].strip()
                    break


def _open(left: Sequence[Finding]) -> str:
    """What is still to be chosen among ``left``: "Front or rear? 36 psi or 36 kPa?"."""
    if len({(one.component, one.characteristic) for one in left}) > 1:
        ways = [[difference(one, left) for one in left]]
    else:
        ways = [
            [one.position or one.component for one in left],
            [tell.finding(replace(one, position=None)) for one in left],
        ]
        if all(one.quantity is not None for one in left):
            ways[1] = [tell.quantity(one.quantity) for one in left if one.quantity is not None]
    told = [tuple(dict.fromkeys(way)) for way in ways]
    return " ".join(tell.capital(f"{tell.either(way)}?") for way in told if len(way) > 1)


def _both(first: str, second: str) -> str:
    """The words of question and answer as they were said, apart."""
    return f"{first}{APART}{second}"
