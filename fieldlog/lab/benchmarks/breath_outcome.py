"""What one take of the benchmark of one breath came to, (pure).

A finding that was said and is neither in the record nor in a question is gone, and so is silently wrong,
whatever else was told of its sound.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from fieldlog.hearing import Heard
from fieldlog.lab.benchmarks.breath_takes import Take, findings_of
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.command import Command
from fieldlog.model.finding import Finding
from fieldlog.model.understanding import Decision

RIGHT = "all right"
OFFERED = "asked, all of it offered"
ASKED = "asked otherwise"
REFUSED = "refused"
LOST = "part accepted alone"
WRONG = "something else accepted"
RESULTS = (RIGHT, OFFERED, ASKED, REFUSED, LOST, WRONG)
SILENT = (LOST, WRONG)
"""What nobody would notice."""


def result_of(take: Take, heard: Sequence[Heard], language: InspectionLanguage) -> str:
    """Which of ``RESULTS`` the utterances of one take are, in order.

    Only what was said counts as asked about if all of it was: what is accepted besides is of the same
    take. Of what takes a finding back, or limits it, nothing may be accepted, and the finding itself
    is what must be offered.
    """
    said = Counter(_meaning(language, words) for words in take.said)
    half = _meaning(language, take.half) if take.half else None
    standing, corrected = _standing(heard)
    accepted = Counter(one.meaning for one in standing if one is not None)
    if None in standing or set(accepted) - set(said) - {half} or accepted != Counter(set(accepted)):
        return WRONG
    if half in accepted:
        return LOST
    if said and accepted == said:
        return RIGHT
    asked = [each for each in heard if each.understanding.decision is Decision.ASK]
    offered = {one.meaning for each in asked for one in each.understanding.offered}
    wanted = set(said) - set(accepted) or ({half} if half else set())
    if accepted and not wanted <= offered:
        return LOST
    if wanted and wanted <= offered:
        return OFFERED
    return ASKED if asked or corrected else REFUSED


def _standing(heard: Sequence[Heard]) -> tuple[list[Finding | None], bool]:
    """What stands at the end, None for what is no finding; and whether a correction took some away.

    A correction that names what it corrects stands for it; one that is a bare value waits for the record,
    which knows what it is of: here it only takes away what was said last.
    """
    standing: list[Finding | None] = []
    before = 0
    corrected = False
    for each in heard:
        said = each.understanding
        if each.takes_back and before:
            del standing[-before:]
        if said.decision is Decision.REFUSE:
            continue
        if said.dialogue is Command.CORRECTION and standing:
            corrected = True
            about = {one.subject for one in said.offered}
            last = standing[-1]
            if not about or (last is not None and last.subject in about):
                standing.pop()
            if said.finding is None:
                continue
        if each.accepted:
            said_now = [part.finding for part in each.parts] or [said.finding]
            standing += said_now
            before = len(said_now)
    return standing, corrected


def _meaning(language: InspectionLanguage, words: str) -> tuple[object, ...]:
    found = findings_of(language, words)
    assert found is not None, words
    return found.meaning
