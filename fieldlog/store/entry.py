"""An utterance, or what was done by hand, as the rows of one unit (pure)."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from fieldlog.store import entries
from fieldlog.store.base import NewRow
from fieldlog.store.ids import checked_id, new_id, part_id
from fieldlog.store.records import NewAttachment, NewEntry, Saved


def entry_rows(inspection_id: str, entry: NewEntry, now: datetime) -> tuple[list[NewRow], Saved]:
    """The rows of ``entry`` in the order they are written, and their ids.

    What belongs to an utterance is named after it, so that another try finds it. Raises
    ``UsageError`` for an id that cannot be one.
    """
    said = entry.utterance
    name = None if said is None else new_id(now) if said.id is None else checked_id(said.id)
    part = _namer(name, now)
    rows = []
    if said is not None and name is not None:
        rows.append(entries.utterance(name, inspection_id, said))
    finding_id = verdict_id = remark_id = mark_id = review_id = None
    if entry.finding is not None:
        finding_id = part("finding")
        rows.append(entries.finding(finding_id, inspection_id, entry.finding, name or entry.of))
        if entry.verdict is not None:
            verdict_id = part("verdict")
            rows.append(entries.verdict(verdict_id, inspection_id, finding_id, entry.verdict))
    further = []
    for rank, other in enumerate(entry.further, start=2):
        further.append(part(f"finding-{rank}"))
        rows.append(entries.finding(further[-1], inspection_id, other.finding, name or entry.of))
        if other.verdict is not None:
            named = part(f"finding-{rank}-verdict")
            rows.append(entries.verdict(named, inspection_id, further[-1], other.verdict))
    if entry.corrects is not None:
        rows.append(
            entries.correction(
                part("correction"), inspection_id, entry.corrects, finding_id, entry.reason,
                entry.made_by,
            )
        )  # fmt: skip
    rows += [
        entries.correction(
            part(f"taken-back-{rank}"), inspection_id, other, None, entry.reason, entry.made_by
        )
        for rank, other in enumerate(entry.takes_back)
    ]
    at = said.said_at if said is not None else now
    if entry.remark is not None:
        remark_id = part("remark")
        rows.append(
            entries.remark(
                remark_id, inspection_id, entry.remark, name or entry.of, entry.remark_of
            )
        )
    if entry.mark is not None:
        mark_id, about = part("mark"), finding_id or entry.marks
        rows.append(entries.mark(mark_id, inspection_id, entry.mark, at, name, about))
    rows += [
        entries.event(part(f"event-{rank}" if rank else "event"), inspection_id, event, at)
        for rank, event in enumerate(entry.events)
    ]
    rows += [
        entries.verdict(part(f"verdict-{rank}"), inspection_id, other, judged)
        for rank, (other, judged) in enumerate(entry.verdicts, start=1)
    ]
    rows += [
        entries.attachment(part(f"attachment-{rank}"), inspection_id, attachment)
        for rank, attachment in enumerate(entry.attachments)
    ]
    made = (finding_id, *further)
    for rank, (which, photo) in enumerate(entry.photos, start=len(entry.attachments)):
        carried = NewAttachment(photo, made[which], entry.reason)
        rows.append(entries.attachment(part(f"attachment-{rank}"), inspection_id, carried))
    if entry.review is not None:
        after = finding_id or entry.review.finding_id
        review_id = part("review")
        rows.append(entries.review(review_id, inspection_id, entry.review, after))
    numberless = tuple((each, None) for each in further)
    saved = Saved(
        name, finding_id, None, verdict_id, remark_id, mark_id, review_id, further=numberless
    )
    return rows, saved


def _namer(utterance: str | None, now: datetime) -> Callable[[str], str]:
    if utterance is None:
        return lambda part: new_id(now)
    return lambda part: part_id(utterance, part)
