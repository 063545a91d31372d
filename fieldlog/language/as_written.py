"""What a typed text means when its figures can be written plainly in more than one way (pure)."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction

from fieldlog.language.decide import meaning_key
from fieldlog.model.finding import Finding
from fieldlog.model.question import Asks, Question
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding
from fieldlog.quantities.written import Way, Written, literals
from fieldlog.words import questions

_SCALES = (Fraction(1), Fraction(1, 1000), Fraction(1000))
"""Thou and hydrometer readings, and the k of "12 k"."""
_FIGURES = re.compile(r"\d+(?:[./]\d+)?")


def as_written(written: Written, ways: Sequence[Understanding], text: str) -> Understanding:
    """One understanding of those of every way to write ``text``.

    A number is accepted only as it is written; of several that make sense, or where what was typed
    is no usual way to write a number, it is asked which was meant.
    """
    kept = [
        (way, found)
        for way, found in zip(written.ways, ways, strict=False)
        if found.decision is not Decision.REFUSE
    ]
    if len(written.ways) == 1 and written.ways[0].sure:
        return _asked_unless_literal(written.ways[0], ways[0])
    if any(way.sure and not _cannot_be(found) for way, found in kept):
        # "1,100 rpm" is no 1.1 that an engine could idle at
        kept = [(way, found) for way, found in kept if way.sure or not _cannot_be(found)]
    findings = [(way, found) for way, found in kept if found.kind is Kind.FINDING]
    alike = len({meaning_key(found) for _, found in kept}) == 1
    usual = [(way, found) for way, found in kept if way.sure]
    if usual and alike:
        return _asked_unless_literal(*usual[0])
    if not findings:
        sure = [one for way, one in zip(written.ways, ways, strict=False) if way.sure]
        return sure[0] if sure and not kept else _unreadable(written, text)
    return _asked([found for _, found in findings], f"'{written.odd}'")


def _cannot_be(found: Understanding) -> bool:
    return found.asks is Asks.HARDLY_POSSIBLE


def _asked_unless_literal(way: Way, found: Understanding) -> Understanding:
    """Two numbers side by side are not one: "20 5 mm" is not 25 mm."""
    if found.decision is not Decision.ACCEPT or found.finding is None or not way.gap:
        return found
    if _is_literal(found.finding, literals(way.text)):
        return found
    return _asked([found], "two numbers with a gap between them")


def _is_literal(one: Finding, numbers: frozenset[Fraction]) -> bool:
    values = [one.quantity, *one.readings] if one.quantity is not None else [*one.readings]
    ends = [
        abs(end) for v in values if v is not None for end in (v.value, v.high) if end is not None
    ]
    told = [Fraction(n) for t in (one.code or "", *dict(one.given).values()) for n in _found(t)]
    known = {number * scale for number in numbers for scale in _SCALES}
    return all(number in known for number in (*ends, *told))


def _found(text: str) -> Iterable[str]:
    return _FIGURES.findall(text)


def _asked(found: Sequence[Understanding], what: str) -> Understanding:
    candidates: dict[tuple[object, ...], Finding] = {}
    for one in found:
        for finding in one.offered:
            candidates.setdefault(finding.meaning, finding)
    offered = tuple(candidates.values())
    several = len(offered) > 1
    told = questions.still_open(offered) if several else questions.this_finding(offered[0])
    question = Question(Asks.WHICH if several else Asks.FIGURES, told)
    if any(one.question is not None and one.question.kind is Asks.IN_FULL for one in found):
        question = Question(Asks.IN_FULL, questions.in_full(told))
    reason = " can be read in more than one way" if several else ": no usual way to write a number"
    return replace(
        found[0],
        decision=Decision.ASK,
        reason=f"{what}{reason}",
        finding=None,
        candidates=offered,
        question=question,
        flags=tuple(dict.fromkeys((*(flag for one in found for flag in one.flags), Flag.ODD))),
    )


def _unreadable(written: Written, text: str) -> Understanding:
    return Understanding(
        Decision.REFUSE,
        Kind.NOTHING,
        f"'{written.odd}' cannot be read as a number: write it with at most one point and no gap "
        "in it, a sign right before it",
        text,
    )
