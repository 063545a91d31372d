"""Newer verdicts for findings that were judged together with one that changed (pure)."""

from __future__ import annotations

from collections.abc import Sequence

from fieldlog.aftercare.plan import context_of
from fieldlog.assess import again, assess
from fieldlog.catalogue.component import Catalogue
from fieldlog.model import Finding, Limit, Verdict
from fieldlog.store.records import InspectionRecord


def judged_again(
    record: InspectionRecord, changed: Finding, limits: Sequence[Limit], catalogue: Catalogue
) -> tuple[tuple[str, Verdict], ...]:
    """``(finding id, verdict)`` of every standing finding of ``record`` that leans on ``changed``.

    ``changed`` was corrected or withdrawn: the cells of a battery are held against a limit on their
    spread together.
    """
    standing = [(each.id, each.finding) for each in record.findings if each.stands]
    context, day = context_of(record.vehicle, record.inspection), record.inspection.started_at
    found = []
    for name, finding in again(changed, standing):
        beside = [other for key, other in standing if key != name]
        assessment = assess(finding, limits, context, catalogue, day.date(), beside)
        found.append((name, assessment.verdict))
    return tuple(found)
