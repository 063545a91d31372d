"""What to ask about an utterance that is in doubt: only what differs (pure)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from fieldlog.model.command import Command
from fieldlog.model.finding import Finding
from fieldlog.model.question import Asks, Question, Rest, Settled
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding
from fieldlog.words import questions


def waits(asked: Understanding) -> bool:
    """Whether a short answer can settle it: something to choose, or to say yes or no to."""
    question = asked.question
    return (
        asked.decision is Decision.ASK
        and question is not None
        and question.kind.settled is not Settled.IN_FULL
        and (
            question.kind in (Asks.SIGN_OFF, Asks.WHY_SKIPPED)
            or asked.command_asked is not None
            or bool(asked.offered)
        )
    )


def telling_more(said: Understanding) -> Understanding:
    """Flagged as ``MORE_SAID``, and a question says so: what an answer takes is not all of it."""
    flagged = replace(said, flags=tuple(dict.fromkeys((*said.flags, Flag.MORE_SAID))))
    question = said.question
    if said.decision is not Decision.ASK or question is None or question.rest is not None:
        return flagged
    rest = Rest.AGAIN if waits(said) else Rest.ALL_AGAIN
    told = questions.with_rest(question.text, rest)
    return replace(flagged, question=Question(question.kind, told, rest))


def distinct(understandings: Sequence[Understanding]) -> tuple[Finding, ...]:
    """The findings of several understandings, each meaning once, in their order."""
    found: dict[tuple[object, ...], Finding] = {}
    for each in understandings:
        for one in (each, *each.parts):
            if one.finding is not None:
                found.setdefault(one.finding.meaning, one.finding)
    return tuple(found.values())


def what_to_ask(best: Understanding, others: Sequence[Understanding]) -> Question:
    """ "15 N·m or 50 N·m?" between meanings; "Did you say ...?" where one is merely unsure.

    Where some are corrections and some are not, no short word answers: it is said again in full.

    ``others`` are the other meanings to offer, nearest first; those that mean the same as ``best``
    are left out.
    """
    each = (best, *others)
    findings = distinct(each)
    if any(one.parts for one in each):
        all_of_it = questions.together(findings)
        if len(findings) == len(best.parts):
            return Question(Asks.ALL_OF_IT, all_of_it)
        return Question(Asks.IN_FULL, questions.in_full(all_of_it))
    if findings and all(one.kind is Kind.FINDING for one in each):
        corrects = {_corrects(one) for one in each}
        if len(corrects) > 1 and len(findings) == 1:
            return Question(Asks.NEW_OR_CORRECTION, questions.new_or_correction_of(findings[0]))
        if len(corrects) > 1:
            # Picked by its value alone, what was new would count as a correction, or the reverse.
            ways = [(_corrects(one), _told(one, findings)) for one in each]
            return Question(Asks.NEW_OR_CORRECTION, questions.new_or_correction(ways))
        if len(findings) > 1:
            told = [questions.difference(one, findings) for one in findings]
            return Question(Asks.WHICH, questions.which(told))
        return Question(Asks.HEARD, questions.did_you_say(findings[0], correction=_corrects(best)))
    texts = tuple(dict.fromkeys(one.text for one in each if one.text))
    if not texts:
        return Question(Asks.AGAIN, questions.AGAIN)
    if len(texts) > 1:
        return Question(Asks.HEARD_WORDS, questions.which_words(texts))
    return Question(Asks.HEARD, questions.did_you_say_words(texts))


def _corrects(one: Understanding) -> bool:
    return one.dialogue is Command.CORRECTION


def _told(one: Understanding, among: Sequence[Finding]) -> str:
    return questions.difference(one.finding, among) if one.finding is not None else one.text
