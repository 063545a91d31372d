"""Understandings turned into the questions that they leave open, or into refusals (pure)."""

from __future__ import annotations

from dataclasses import replace

from fieldlog.catalogue.component import SOUND, WORK, Catalogue
from fieldlog.language.left_open import NOTED
from fieldlog.model.finding import Finding
from fieldlog.model.question import Asks, Question
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.words import questions

NOT_SURE = "it is nearly so, or thought to be so: whether it is was not said"
NOT_THERE = "that one fault is not there; whether all is as it should be was not said"


def refused(text: str, reason: str) -> Understanding:
    """Not understood, for that reason."""
    return Understanding(Decision.REFUSE, Kind.NOTHING, reason, text)


def asked_in_full(found: Understanding, reason: str) -> Understanding:
    """A question that no short answer settles (``fieldlog.shop.conversation``)."""
    meant = (found.finding,) if found.finding is not None else found.candidates
    question = found.question_text or questions.this_finding(meant[0])
    return replace(
        found,
        decision=Decision.ASK,
        reason=reason,
        question=Question(Asks.IN_FULL, questions.in_full(question)),
        finding=None,
        candidates=meant if found.decision is Decision.ACCEPT else found.candidates,
    )


def asked_if_sound(found: Understanding) -> Understanding:
    """ "no play in the steering head" tells of one fault; whether all is well is asked.

    Where a place lacks too ("no nail in the tyre") only the whole sentence settles it: a short
    answer to the one question would pass for one to the other.
    """
    meant = (found.finding,) if found.finding is not None else found.candidates
    if any(one.condition != SOUND for one in meant):
        return found
    if found.decision is not Decision.ACCEPT or found.finding is None:
        return asked_in_full(found, NOT_THERE)
    return replace(
        found,
        decision=Decision.ASK,
        reason=NOT_THERE,
        question=Question(Asks.SOUND, questions.this_finding(found.finding)),
        finding=None,
        candidates=(found.finding,),
    )


def as_sound(found: Understanding) -> Understanding:
    """The same with nothing wrong: what is said when the fault is denied."""
    return replace(
        found,
        finding=None if found.finding is None else replace(found.finding, condition=SOUND),
        candidates=tuple(replace(one, condition=SOUND) for one in found.candidates),
    )


def is_fault(found: Understanding, catalogue: Catalogue) -> bool:
    """Whether what ``found`` says or asks about is a fault of one part, and nothing else."""
    if found.kind is not Kind.FINDING or not found.offered:
        return False
    return all(
        one.condition is not None
        and one.characteristic != WORK
        and catalogue[one.component].severity(one.condition, one.characteristic) is not None
        for one in found.offered
    )


def noted(found: Understanding, said: str) -> Understanding:
    """The same with ``said`` kept beside each finding."""

    def with_note(one: Finding) -> Finding:
        return replace(one, given=(*one.given, (NOTED, said)))

    return replace(
        found,
        finding=None if found.finding is None else with_note(found.finding),
        candidates=tuple(with_note(one) for one in found.candidates),
    )
