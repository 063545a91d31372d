"""One utterance and all that follows from it, as rows that are kept together (pure)."""

from __future__ import annotations

from collections.abc import Sequence

from fieldlog.model import Finding, Verdict
from fieldlog.store import entries
from fieldlog.store.base import NewRow
from fieldlog.store.ids import part_id
from fieldlog.store.records import NewEvent, NewUtterance


def utterance_rows(
    name: str,
    inspection_id: str,
    utterance: NewUtterance,
    *,
    finding: Finding | None,
    verdict: Verdict | None,
    remark: str | None,
    mark: str | None,
    marks: str | None,
    corrects: str | None,
    reason: str,
    event: NewEvent | None,
    verdicts: Sequence[tuple[str, Verdict]],
) -> list[NewRow]:
    """The rows of ``Repository.add_utterance``, in the order in which they build on each other.

    Every part is named after the utterance, whose id is ``name``, so the same call again gives the
    same rows.
    """
    finding_id = None if finding is None else part_id(name, "finding")
    rows = [entries.utterance(name, inspection_id, utterance)]
    if finding is not None and finding_id is not None:
        rows.append(entries.finding(finding_id, inspection_id, finding, name))
        if verdict is not None:
            part = part_id(name, "verdict")
            rows.append(entries.verdict(part, inspection_id, finding_id, verdict))
    if corrects is not None:
        part = part_id(name, "correction")
        rows.append(entries.correction(part, inspection_id, corrects, finding_id, reason, "spoken"))
    if remark is not None:
        rows.append(entries.remark(part_id(name, "remark"), inspection_id, remark, name))
    if mark is not None:
        part, of = part_id(name, "mark"), finding_id or marks
        rows.append(entries.mark(part, inspection_id, mark, utterance.said_at, name, of))
    if event is not None:
        part = part_id(name, "event")
        rows.append(entries.event(part, inspection_id, event, utterance.said_at))
    rows += [
        entries.verdict(part_id(name, f"verdict-{rank}"), inspection_id, other, judged)
        for rank, (other, judged) in enumerate(verdicts, start=1)
    ]
    return rows
