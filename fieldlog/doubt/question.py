"""What to ask about an utterance that is in doubt: only what differs, in the finding's words (pure)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from fieldlog.language.decide import IN_FULL, difference, meaning_of
from fieldlog.model import Command, Decision, Finding, Kind, Understanding
from fieldlog.words import tell

NEW_OR_CORRECTION = "A new finding or a correction"
MORE_SAID = "more was said"
"""Flag of an utterance whose sound goes on behind the words that were heard."""
REST_AGAIN = "More was said, and only this can be taken: say the rest again."
ALL_AGAIN = "More was said, and nothing is taken: say it again, one thing at a time."


def waits(asked: Understanding) -> bool:
    """Whether a short answer can settle it: something to choose, or to say yes or no to."""
    return (
        asked.decision is Decision.ASK
        and bool(asked.candidates or asked.finding or asked.dialogue is Command.SIGN_OFF)
        and NEW_OR_CORRECTION not in asked.question  # yes would not say which
        and IN_FULL not in asked.question
    )


def telling_more(said: Understanding) -> Understanding:
    """Flagged as ``MORE_SAID``, and a question says so: what an answer takes is not all of it."""
    flagged = replace(said, flags=tuple(dict.fromkeys((*said.flags, MORE_SAID))))
    if said.decision is not Decision.ASK or any(
        t in said.question for t in (REST_AGAIN, ALL_AGAIN)
    ):
        return flagged
    told = REST_AGAIN if waits(said) else ALL_AGAIN
    return replace(flagged, question=f"{said.question} {told}".strip())


def distinct(understandings: Sequence[Understanding]) -> tuple[Finding, ...]:
    """The findings of several understandings, each meaning once, in their order."""
    found: dict[tuple[object, ...], Finding] = {}
    for each in understandings:
        if each.finding is not None:
            found.setdefault(meaning_of(each.finding), each.finding)
    return tuple(found.values())


def what_to_ask(best: Understanding, others: Sequence[Understanding]) -> str:
    """ "15 N·m or 50 N·m?" between meanings; "Did you say ...?" where one is merely unsure.

    Where some are corrections and some are not, it begins with ``NEW_OR_CORRECTION``: no short word
    answers that, it is said again in full.

    ``others`` are the other meanings to offer, nearest first; those that mean the same as ``best``
    are left out.
    """
    if best.kind is Kind.FINDING and all(each.kind is Kind.FINDING for each in others):
        findings = distinct((best, *others))
        corrects = {each.dialogue is Command.CORRECTION for each in (best, *others)}
        if len(corrects) > 1 and len(findings) == 1:
            return f"{NEW_OR_CORRECTION}: {tell.finding(findings[0])}?"
        if len(corrects) > 1:
            # Picked by its value alone, what was new would count as a correction, or the reverse.
            ways = dict.fromkeys(_lead(each) + _told(each, findings) for each in (best, *others))
            return f"{NEW_OR_CORRECTION}: {tell.either(tuple(ways))}?"
        if len(findings) > 1:
            told = dict.fromkeys(difference(one, findings) for one in findings)
            if len(told) > 1:
                return tell.capital(f"{tell.either(tuple(told))}?")
        if findings:
            return f"Did you say {_lead(best)}{_in_its_words(findings[0])}?"
    texts = tuple(dict.fromkeys(each.text for each in (best, *others) if each.text))
    if not texts:
        return "Say again?"
    if len(texts) > 1:
        start, end = _shared(texts)
        middles = [_words(text, start, end) for text in texts]
        if all(middles):
            return tell.capital(f"{tell.either(middles)}?")
    return f"Did you say {tell.either([repr(text) for text in texts])}?"


def _lead(one: Understanding) -> str:
    return "correction, " if one.dialogue is Command.CORRECTION else ""


def _told(one: Understanding, among: Sequence[Finding]) -> str:
    return difference(one.finding, among) if one.finding is not None else one.text


def _in_its_words(finding: Finding) -> str:
    """The value as it was said: "four thirty seconds" is not to be read back as 1/8 in."""
    value = finding.quantity
    if value is None or not value.words:
        return tell.finding(finding)
    return f"{tell.finding(replace(finding, quantity=None))}: {value.words}"


def _shared(texts: Sequence[str]) -> tuple[int, int]:
    """How many words all texts share at their beginning, and at their end."""
    split = [text.split() for text in texts]
    shortest = min(len(words) for words in split)
    start = 0
    while start < shortest and len({words[start] for words in split}) == 1:
        start += 1
    end = 0
    while end < shortest - start and len({words[-1 - end] for words in split}) == 1:
        end += 1
    return start, end


def _words(text: str, start: int, end: int) -> str:
    words = text.split()
    return " ".join(words[start : len(words) - end])
