"""What one utterance holds: findings in order, or one question about all of it (pure)."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from fieldlog.grammar.expression import Rule
from fieldlog.language.decide import meaning_key
from fieldlog.language.lexicon import Words, phrases, placing
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.question import Asks, Question
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding
from fieldlog.quantities.values import DOUBTFUL
from fieldlog.words import questions

AxesOf = Mapping[str, Sequence[str]]
"""Axis -> its values."""
Core = Callable[[Words], Understanding | None]
"""Words -> what they mean as one finding; None: nothing."""
One = Core
"""The same of a breath's words: no repair of another finding in them."""


@dataclass(frozen=True, slots=True)
class Breath:
    """What one utterance holds."""

    text: str
    parts: tuple[Understanding, ...]
    """One for each finding, all of them accepted; or one alone, whatever it is."""
    left_over: Words = ()
    """Words of a breath that is asked about or refused which no finding covers."""
    agreed: tuple[Understanding, ...] = ()
    """What its parts are once they were asked about as ``Asks.ALL_OF_IT`` and *affirm* was said."""

    @property
    def several(self) -> bool:
        """Whether it holds more than one finding."""
        return len(self.parts) > 1

    @property
    def whole(self) -> Understanding:
        """The breath as one: its only part, or that several findings were understood."""
        if not self.several:
            return self.parts[0]
        flags = dict.fromkeys(flag for part in self.parts for flag in part.flags)
        reason = f"understood: {len(self.parts)} findings in one breath"
        return Understanding(
            Decision.ACCEPT,
            Kind.FINDING,
            reason,
            self.text,
            flags=tuple(flags),
            parts=self.parts,
        )

    def asked(self, reason: str) -> Breath:
        """The same, with nothing of it accepted: all of it is asked about."""
        return asked_of(self.text, self.parts, reason)


@dataclass(frozen=True, slots=True)
class Phrases:
    """The phrases of breath.jsgf and of the places, by what they do."""

    joined: tuple[Words, ...]
    meant: tuple[Words, ...]
    taken_back: tuple[Words, ...]
    target: tuple[Words, ...]
    """Those of ``meant`` that may tell what is wanted, not what was read."""
    limits: tuple[Words, ...]
    """What takes back, doubts or limits what was said before it."""
    places: Mapping[str, Mapping[Words, str]]
    """Axis -> words before a name -> the value they mean."""

    @classmethod
    def of(cls, breath: Mapping[str, Rule], rules: Mapping[str, Rule], axes: AxesOf) -> Phrases:
        """From breath.jsgf and the closed grammar; ``axes``: every axis -> its values."""

        def longest_first(*names: str) -> tuple[Words, ...]:
            found = [phrase for name in names for phrase in phrases(breath, f"breath.{name}")]
            return tuple(sorted(found, key=len, reverse=True))

        places: dict[str, dict[Words, str]] = {}
        for axis, values in axes.items():
            rule = f"positions.{axis.replace(' ', '_')}_before"
            if rule not in rules:
                continue
            places[axis] = placing(rules, rule, values)
        taken_back = longest_first("taken_back")
        meant = longest_first("meant")
        limits = longest_first("turned", "taken_back", "apart", "at_times")
        limits = tuple(phrase for phrase in limits if phrase not in meant)
        target = longest_first("target")
        return cls(longest_first("joined"), meant, taken_back, target, limits, places)


def breath_key(breath: Breath) -> str:
    """A key equal for breaths that mean the same; "" for one that is refused."""
    return " and ".join(meaning_key(part) for part in breath.parts)


def first_value(finding: Finding | None) -> Quantity | None:
    """The value of a finding, of several readings the first; None where it has none."""
    if finding is None:
        return None
    return finding.quantity or (finding.readings[0] if finding.readings else None)


def starting(words: Words, known: Sequence[Words]) -> Words:
    """The longest of the phrases with which ``words`` begin; () for none."""
    return next((phrase for phrase in known if words[: len(phrase)] == phrase), ())


def doubted(part: Understanding, reason: str, kind: Asks = Asks.ALL_OF_IT) -> Understanding:
    """The same, to be asked about."""
    if not part.offered:
        return part
    told = questions.together(part.offered)
    return replace(
        part,
        decision=Decision.ASK,
        reason=reason,
        question=Question(kind, questions.in_full(told) if kind is Asks.IN_FULL else told),
        finding=None,
        candidates=part.offered,
    )


def asked_of(
    text: str,
    parts: Sequence[Understanding],
    reason: str,
    left_over: Words = (),
    agreed: tuple[Understanding, ...] = (),
) -> Breath:
    """Nothing of a breath counts; what it may have said is offered, all of it or (``agreed`` empty)
    with no short word that settles it."""
    offered: dict[tuple[object, ...], Finding] = {}
    for part in parts:
        for one in part.offered:
            offered.setdefault(one.meaning, one)
    candidates = tuple(offered.values())
    told = questions.together(candidates) if agreed else questions.each(parts)
    whole = Understanding(
        Decision.ASK,
        Kind.FINDING,
        f"{reason}; nothing of it is taken yet",
        text,
        candidates=candidates,
        question=Question(Asks.ALL_OF_IT, told)
        if agreed
        else Question(Asks.IN_FULL, questions.in_full(told)),
        flags=tuple(dict.fromkeys(flag for part in parts for flag in part.flags)),
    )
    return Breath(text, (whole,), left_over, agreed)


def agreed_of(parts: Sequence[Understanding]) -> tuple[Understanding, ...]:
    """The parts of a breath as *affirm* would take them: each as the one thing that is offered.

    Empty where yes would not say which, where a value may be a slip, and where a unit was assumed
    that another value of the same kind was not said in.
    """
    units: dict[tuple[str, str | None], set[str]] = {}
    taken = []
    for part in parts:
        known = part.asks in (None, Asks.ASSUMED_UNIT, Asks.ALL_OF_IT)
        if not known or len(part.offered) != 1 or not DOUBTFUL.isdisjoint(part.flags):
            return ()
        one = part.offered[0]
        value = first_value(one)
        if value is not None:
            units.setdefault((one.component, one.characteristic), set()).add(value.unit)
        flags = (*(flag for flag in part.flags if flag is not Flag.UNIT_ASSUMED), Flag.ANSWERED)
        taken.append(
            replace(
                part,
                decision=Decision.ACCEPT,
                reason="answered",
                finding=one,
                candidates=(),
                question=None,
                flags=flags,
            )
        )
    mixed = any(len(said) > 1 for said in units.values())
    assumed = any(Flag.UNIT_ASSUMED in part.flags for part in parts)
    return () if mixed and assumed else tuple(taken)
