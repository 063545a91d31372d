"""Which of the findings that were said takes the place of which that stands (pure)."""

from __future__ import annotations

from collections.abc import Sequence

from fieldlog.model.finding import Finding
from fieldlog.store.records import RecordedFinding


def matched(
    standing: Sequence[RecordedFinding], findings: Sequence[Finding]
) -> tuple[
    tuple[tuple[RecordedFinding, Finding], ...], tuple[Finding, ...], tuple[RecordedFinding, ...]
]:
    """What takes whose place, what is new, and what no longer stands; what means the same is left out."""
    left = list(findings)
    was = []
    for each in standing:
        same = next((one for one in left if one.meaning == each.finding.meaning), None)
        if same is None:
            was.append(each)
        else:
            left.remove(same)
    pairs = []
    for close in (_same_subject, _same_part, _any):
        for each in tuple(was):
            one = next((one for one in left if close(each.finding, one)), None)
            if one is not None:
                pairs.append((each, one))
                was.remove(each)
                left.remove(one)
    return tuple(pairs), tuple(left), tuple(was)


def _same_subject(one: Finding, other: Finding) -> bool:
    return one.subject == other.subject


def _same_part(one: Finding, other: Finding) -> bool:
    return one.component == other.component


def _any(one: Finding, other: Finding) -> bool:
    return True
