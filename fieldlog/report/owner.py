"""The first page, for whoever owns the vehicle: what to do before what, and what nobody looked at (pure).

Every finding that is not within and has a severity stands in one of three lists, by the worst severity
of the work that it leads to; values, guard bands and probabilities are on the pages behind.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from fieldlog.aftercare.checklist import Progress, told
from fieldlog.aftercare.due import When
from fieldlog.model.state import Severity
from fieldlog.report.view_model import (
    DueRow,
    FindingRow,
    JobRow,
    OwnerLine,
    OwnerList,
    OwnerPage,
    PhotoOf,
    Shown,
    Urgency,
)
from fieldlog.words.telling import key, say

_LIST: Mapping[str, Urgency] = {
    Severity.DANGEROUS.value: Urgency.DO_NOT_RIDE,
    Severity.MAJOR.value: Urgency.NEXT_RIDE,
}
_SETTLED = (Shown.WITHIN, Shown.NOT_JUDGED)
PHOTOS = 4
"""How many photos the page has room for; the others are with their findings."""


def owner_page(
    rows: Sequence[FindingRow], jobs: Sequence[JobRow], state: Progress, due: Sequence[DueRow]
) -> OwnerPage:
    """The page of an inspection with these findings, jobs, walk and due items."""
    plain = {row.number: row.plain for row in rows}
    lines = [(job.severity, _line(job, plain)) for job in jobs]
    in_a_job = {number for job in jobs for number in job.because}
    lines += [
        (row.severity, OwnerLine("", "", (row.plain,), (row.number,)))
        for row in rows
        if row.severity and row.number not in in_a_job
    ]
    matter = sorted(
        (row for row in rows if row.photos and row.state not in _SETTLED), key=_worst_first
    )
    return OwnerPage(
        lists=tuple(
            OwnerList(urgency, found)
            for urgency in Urgency
            if (found := tuple(line for how, line in lines if _list(how) is urgency))
        ),
        left=tuple(
            (say(stage.name), texts) for stage, texts in told(state.left, headed=True).items()
        ),
        left_out=tuple(
            f"{key(item.component, item.position, item.key)} ({reason})"
            for item, reason in state.skipped
        ),
        undecided=tuple(
            row.subject for row in rows if row.state is Shown.UNDECIDED and not row.severity
        ),
        photos=tuple(PhotoOf(row.photos[0], row.number, row.plain) for row in matter[:PHOTOS]),
        dates=tuple(row for row in due if row.nearness != When.UNKNOWN.value),
    )


def _line(job: JobRow, plain: Mapping[int, str]) -> OwnerLine:
    found = dict.fromkeys(plain[number] for number in job.because if number in plain)
    return OwnerLine(job.do, job.where, tuple(found), job.because)


def _list(severity: str) -> Urgency:
    return _LIST.get(severity, Urgency.PLAN)


def _worst_first(row: FindingRow) -> tuple[int, int, int]:
    states = tuple(Shown)
    return tuple(Urgency).index(_list(row.severity)), states.index(row.state), row.number
