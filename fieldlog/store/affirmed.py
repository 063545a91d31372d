"""What was to be affirmed, and what of it nobody did (pure)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from fieldlog.store.records import EventName, InspectionRecord, RecordedFinding


def unaffirmed(record: InspectionRecord) -> tuple[RecordedFinding, ...]:
    """Standing findings that were to be affirmed, and were not.

    What a finding owed that was corrected, it owes again once it stands again as a new row.
    """
    asked = {e.data.get("finding") for e in record.events if e.name == EventName.READ_BACK}
    answered = {e.data.get("finding") for e in record.events if e.name == EventName.AFFIRMED}
    known = {each.id: each for each in record.findings}
    found = []
    for each in record.findings:
        if each.stands:
            names = {one.id for one in been_the_same(each, known)}
            if names & asked and not names & answered:
                found.append(each)
    return tuple(found)


def been_the_same(
    finding: RecordedFinding, known: Mapping[str, RecordedFinding]
) -> Iterator[RecordedFinding]:
    """``finding``, and what it stands in the place of, at whatever remove, that meant the same."""
    waiting, seen = [finding.id], set[str]()
    while waiting:
        name = waiting.pop()
        here = known.get(name)
        if here is None or name in seen:
            continue
        seen.add(name)
        if here.finding.meaning == finding.finding.meaning:
            yield here
        waiting += [each for each in (here.supersedes, *here.rivals) if each is not None]
