"""What was heard, judged once, and counted by voice, by room and by kind of noise (pure)."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fieldlog.audio.clip import Clip, SoundFlag
from fieldlog.doubt.decide import judge_for
from fieldlog.doubt.files import shipped_rules
from fieldlog.doubt.rules import Policy
from fieldlog.grammar.language import Language
from fieldlog.lab.benchmarks.calibrate_cases import is_right, understood
from fieldlog.lab.benchmarks.calibrate_evidence import Line
from fieldlog.lab.speech_set.items import Item
from fieldlog.model.finding import Finding
from fieldlog.model.understanding import Decision, Kind, Understanding

POSITIVE = ("phrase", "incomplete")
DRY = "dry"
"""The room effect that is none."""
BY: Mapping[str, Callable[[Item], str]] = {
    "voice": lambda item: item.voice,
    "room": lambda item: item.effect,
    "noise": lambda item: item.noise,
}
"""What the parts are made by. In the clean cell an utterance is heard without its noise."""


@dataclass(frozen=True, slots=True)
class Judged:
    """One line with what parser and doubt make of it."""

    line: Line
    decision: Decision
    kind: Kind
    right: bool
    """The meaning is what was said; never for negatives."""
    whole: bool
    """The words are a whole phrase of the language."""
    states_value: bool
    value_right: bool

    @property
    def positive(self) -> bool:
        """Whether something of the language was said."""
        return self.line.kind in POSITIVE


@dataclass(frozen=True, slots=True)
class Part:
    """Counts of the phrases of one voice, room or noise in one cell."""

    recogniser: str
    by: str
    """``voice``, ``room`` or ``noise``."""
    group: str
    cell: str
    phrases: int
    right: int
    """Meaning right, whether accepted or asked about."""
    asked_when_right: int
    silently_wrong: int


def judged(lines: Iterable[Line], language: Language, policy: Policy) -> list[Judged]:
    """Every line as the pipeline would decide on it, with the decision file that ships now."""
    judge = judge_for(language, shipped_rules(), policy)
    found = []
    for line in lines:
        parsed = understood(line, language)
        decision, kind = Decision.REFUSE, Kind.NOTHING
        if parsed is not None:
            clip = Clip(np.zeros(0, np.float32), flags=frozenset(map(SoundFlag, line.flags)))
            weighed = judge(parsed, line.hearing, clip)
            decision, kind = weighed.decision, weighed.kind
        positive = line.kind in POSITIVE
        values = _values(language.understand(line.words)) if positive else frozenset()
        found.append(
            Judged(
                line=line,
                decision=decision,
                kind=kind,
                right=positive and parsed is not None and is_right(line, parsed, language),
                whole=parsed is not None and parsed.decision is Decision.ACCEPT,
                states_value=bool(values),
                value_right=parsed is not None and bool(values & _values(parsed)),
            )
        )
    return found


def parts(name: str, found: Sequence[Judged], items: Mapping[str, Item]) -> list[Part]:
    """The phrases of recogniser ``name`` by voice, room and noise, each in every cell."""
    cells = list(dict.fromkeys(each.line.cell for each in found))
    said = [each for each in found if each.positive]
    table = []
    for by, group_of in BY.items():
        groups: dict[str, list[Judged]] = {}
        for each in said:
            groups.setdefault(group_of(items[each.line.id]), []).append(each)
        for group in sorted(groups):
            for cell in cells:
                mine = [each for each in groups[group] if each.line.cell == cell]
                table.append(_part(name, by, group, cell, mine))
    return table


def asked_when_right(each: Judged) -> bool:
    """Asked by doubt although it was a whole phrase and right."""
    return each.decision is Decision.ASK and each.right and each.whole


def _part(name: str, by: str, group: str, cell: str, found: Sequence[Judged]) -> Part:
    return Part(
        recogniser=name,
        by=by,
        group=group,
        cell=cell,
        phrases=len(found),
        right=sum(each.right and each.decision is not Decision.REFUSE for each in found),
        asked_when_right=sum(asked_when_right(each) for each in found),
        silently_wrong=sum(each.decision is Decision.ACCEPT and not each.right for each in found),
    )


def _values(found: Understanding) -> frozenset[tuple[object, ...]]:
    """The values of all candidate findings, by number and unit."""
    findings: tuple[Finding, ...] = (found.finding,) if found.finding else found.candidates
    return frozenset(
        tuple((q.value, q.high, q.unit) for q in (f.readings or (f.quantity,)) if q is not None)
        for f in findings
        if f.quantity is not None or f.readings
    )
