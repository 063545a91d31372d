"""All readings of an utterance -> one decision: accept, ask or refuse, with its reason (pure).

Nothing is guessed. One complete, plausible meaning is accepted; two are asked about with both as
candidates; what lacks a place or a unit, or lies outside the plausible range, is asked about with
what it would be.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import product
from typing import assert_never

from fieldlog.language.reading import Reading, Standing
from fieldlog.language.subjects import About, AxisValues
from fieldlog.model.finding import Finding
from fieldlog.model.question import Asks, Question
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding
from fieldlog.quantities.values import DOUBTFUL
from fieldlog.words import questions, tell

_MOST_CANDIDATES = 8
TWIN_SLOT = "twin"


def decide(readings: Iterable[Reading], text: str, values: AxisValues) -> Understanding | None:
    """The understanding of the best readings; None when there is no reading at all."""
    kept = _distinct(readings)
    if not kept:
        return None
    best = min(reading.standing for reading in kept)
    chosen = [reading for reading in kept if reading.standing is best]
    match best:
        case Standing.FITS:
            return _fitting(chosen, text)
        case Standing.UNPLACED:
            return _unplaced(chosen, text, values)
        case Standing.NO_UNIT:
            return _unitless(chosen, text, values)
        case Standing.IMPLAUSIBLE:
            return _implausible(chosen, text)
    assert_never(best)


def _distinct(readings: Iterable[Reading]) -> list[Reading]:
    """Each meaning once; of two ways to the same meaning the one with fewer flags."""
    found: dict[tuple[object, ...], Reading] = {}
    for reading in readings:
        key = (reading.standing, *reading.finding.meaning)
        known = found.get(key)
        if known is None or len(reading.flags) < len(known.flags):
            found[key] = reading
    return list(found.values())


def meaning_key(found: Understanding) -> str:
    """A key equal for understandings that mean the same; "" for a refusal."""
    if found.decision is Decision.REFUSE:
        return ""
    if found.kind is Kind.FINDING:
        findings = (found.finding,) if found.finding else found.candidates
        kind = f"{found.decision.value} {found.dialogue or ''}"
        return f"{kind} {[one.meaning for one in findings]}"
    return f"{found.kind.value} {found.dialogue} {sorted(found.slots.items())}"


def _fitting(chosen: list[Reading], text: str) -> Understanding:
    chosen = _without_needless_doubt(chosen)
    if any(Flag.NO_YEAR in reading.flags for reading in chosen):
        return _without_year(chosen, text)
    doubt = [flag for flag in _flags(chosen) if flag in DOUBTFUL]
    if len(chosen) == 1 and doubt:
        return _doubtful(chosen[0], doubt[0], text)
    if len(chosen) == 1 and Flag.THREE_DIGITS in chosen[0].flags:
        return _short_code(chosen[0], text)
    if len(chosen) == 1:
        reading = chosen[0]
        return Understanding(
            Decision.ACCEPT,
            Kind.FINDING,
            "understood",
            text,
            finding=reading.finding,
            slots=_slots(reading),
            flags=reading.flags,
        )
    findings = tuple(reading.finding for reading in chosen[:_MOST_CANDIDATES])
    told = [questions.difference(finding, findings) for finding in findings]
    which = Question(Asks.WHICH, questions.which(told))
    asked = _asked(chosen, text, f"the words can mean {tell.either(told)}", which)
    return replace(asked, slots={})


def _asked(of: Sequence[Reading], text: str, reason: str, question: Question) -> Understanding:
    """``question`` about what ``of`` may mean; about the one finding where there is one reading."""
    return Understanding(
        Decision.ASK,
        Kind.FINDING,
        reason,
        text,
        finding=of[0].finding if len(of) == 1 else None,
        candidates=tuple(reading.finding for reading in of[:_MOST_CANDIDATES]),
        question=question,
        slots=_slots(of[0]),
        flags=_flags(of),
    )


def _without_needless_doubt(chosen: list[Reading]) -> list[Reading]:
    """ "cell one twelve hundred" names a cell; that "one twelve hundred" could be a slip is idle."""
    sure = [reading.about.used for reading in chosen if not DOUBTFUL & set(reading.flags)]
    named = max(sure, default=0)
    return [r for r in chosen if r.about.used >= named or not DOUBTFUL & set(r.flags)]


def _doubtful(reading: Reading, doubt: str, text: str) -> Understanding:
    """One plausible meaning is left, but the words were a slip: it is asked about all the same."""
    value = reading.finding.quantity
    told = tell.quantity(value) if value is not None else tell.finding(reading.finding)
    again = Question(Asks.SLIP, questions.value_again(told))
    return _asked([reading], text, f"the words can be a slip of the tongue ({doubt})", again)


def _unplaced(chosen: list[Reading], text: str, values: AxisValues) -> Understanding:
    first = chosen[0]
    candidates = [f for reading in chosen for f in _places(reading, values)][:_MOST_CANDIDATES]
    missing = first.about.missing
    ways = [list(values(axis.name)) for axis in missing]
    lacking = " and ".join(axis.name for axis in missing)
    reason = f"which {lacking} of the {first.about.component.name} was not said"
    asked = _asked(chosen, text, reason, Question(Asks.PLACE, questions.place(missing, ways)))
    return replace(asked, candidates=tuple(candidates))


def _places(reading: Reading, values: AxisValues) -> list[Finding]:
    about = reading.about
    found = []
    for places in product(*(values(axis.name) for axis in about.missing)):
        whole: About = about
        for axis, value in zip(about.missing, places, strict=True):
            whole = whole.placed(axis.name, value)
        found.append(replace(reading.finding, position=whole.position))
    return found


def _unitless(chosen: list[Reading], text: str, values: AxisValues) -> Understanding:
    """No unit was said: what it would be in each; a place that lacks too is asked for later."""
    complete = [reading for reading in chosen if not reading.about.missing] or chosen
    findings = tuple(reading.finding for reading in complete[:_MOST_CANDIDATES])
    units = list(dict.fromkeys(f.quantity.unit for f in findings if f.quantity and f.quantity.unit))
    first = complete[0]
    subject = tell.place(first.about.component.name, first.finding.position)
    if len(units) == 1:
        only = findings[0].quantity
        assert only is not None
        reason = f"no unit was said; taken as {units[0]}, the only one plausible for the {subject}"
        question = Question(Asks.ASSUMED_UNIT, questions.this_quantity(only))
    elif units:
        reason = f"no unit was said; the {subject} can have {tell.either(units)}"
        question = Question(Asks.UNIT, questions.unit(units))
    else:
        reason = f"no unit was said for the readings of the {subject}"
        question = Question(Asks.UNIT, questions.unit(()))
    if first.about.missing:
        ways = [list(values(axis.name)) for axis in first.about.missing]
        asked = questions.place(first.about.missing, ways)
        question = Question(Asks.PLACE_AND_UNIT, f"{asked} {question.text}")
        findings = tuple(f for reading in complete for f in _places(reading, values))
    found = _asked(complete, text, reason, question)
    return replace(found, candidates=findings[:_MOST_CANDIDATES])


def _implausible(chosen: list[Reading], text: str) -> Understanding:
    first = chosen[0]
    if first.finding.code is not None:
        return _no_such_week(first, text)
    if first.finding.condition is not None:
        return _no_such_amount(chosen, text)
    one = first.about.component.characteristic(first.finding.characteristic)
    values = [
        value
        for value in (first.finding.quantity, *first.finding.readings)
        if value is not None
        and one is not None
        and not one.plausible_reading(value.value, value.unit)
    ] or [value for value in (first.finding.quantity, *first.finding.readings) if value is not None]
    assert one is not None
    assert values
    reason = tell.too_far(first.about.component, one, values[0])
    again = questions.value_again(tell.quantity(values[0]))
    return _asked(chosen, text, reason, Question(Asks.HARDLY_POSSIBLE, again))


def _without_year(chosen: list[Reading], text: str) -> Understanding:
    """ "The third of March" is no day that a paper runs to: nobody here knows of which year."""
    about = chosen[0].finding
    asked = questions.which_year(about.component, about.position)
    question = Question(Asks.IN_FULL, questions.in_full(asked))
    dated = tuple(one.finding for one in chosen if Flag.NO_YEAR not in one.flags)
    found = _asked(chosen, text, "a day without its year is no date", question)
    return replace(found, finding=None, candidates=dated)


def _short_code(reading: Reading, text: str) -> Understanding:
    """A tyre of before 2000, which hardly anybody rides on, or a digit that was not said."""
    code = reading.finding.code or ""
    reason = f"{code} has three digits: a tyre made before 2000, or one digit was not said"
    return _asked([reading], text, reason, Question(Asks.SLIP, questions.code_again(code)))


def _no_such_week(reading: Reading, text: str) -> Understanding:
    code = reading.finding.code or ""
    reason = f"{code} is no week of any year: week 01 to 52, in some years 53, then the year"
    again = Question(Asks.HARDLY_POSSIBLE, questions.code_again(code))
    return replace(_asked([reading], text, reason, again), slots={}, flags=())


def _no_such_amount(chosen: list[Reading], text: str) -> Understanding:
    """No short word settles it: how much it was is said again with what it is of."""
    first = chosen[0].finding
    told = ", ".join(value for _, value in first.given)
    subject = tell.place(first.component, first.position)
    reason = f"{told} is more than can be {first.condition} of the {subject}"
    again = Question(Asks.IN_FULL, questions.amount_in_full(first))
    return replace(_asked(chosen, text, reason, again), finding=None)


def _slots(reading: Reading) -> dict[str, str]:
    twin = {TWIN_SLOT: reading.twin} if reading.twin else {}
    return {**dict(reading.finding.given), **twin}


def _flags(readings: Iterable[Reading]) -> tuple[Flag, ...]:
    return tuple(dict.fromkeys(flag for reading in readings for flag in reading.flags))
