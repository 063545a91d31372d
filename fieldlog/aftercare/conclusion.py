"""What an inspection amounts to, by severity (pure)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from fieldlog.model.state import Severity, State
from fieldlog.model.verdict import Verdict
from fieldlog.words.headline import DEFERRAL, headline


@dataclass(frozen=True, slots=True)
class Conclusion:
    """The sentence at the head of a report and the counts behind it."""

    headline: str
    beyond: int
    faulty: int
    marginal: int
    undecided: int
    within: int
    worst: Severity | None
    open_items: int
    deferral: str = DEFERRAL


_RANK = (Severity.MINOR, Severity.MAJOR, Severity.DANGEROUS)


def conclude(verdicts: Iterable[Verdict], open_items: int, asked: int = 0) -> Conclusion:
    """Draw the conclusion from every standing verdict; ``asked`` counts values never confirmed."""
    given = list(verdicts)
    counts = Counter(verdict.state for verdict in given)
    in_doubt = Counter(verdict.in_doubt for verdict in given if verdict.in_doubt is not None)
    severities = [v.severity for v in given if v.state is not State.WITHIN and v.severity]
    worst = max(severities, key=_RANK.index, default=None)
    return Conclusion(
        headline(counts, in_doubt, worst, asked, open_items),
        counts[State.BEYOND],
        counts[State.FAULTY],
        counts[State.MARGINAL],
        counts[State.UNDECIDED],
        counts[State.WITHIN],
        worst,
        open_items,
    )
