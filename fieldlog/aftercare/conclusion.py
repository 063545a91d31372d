"""What an inspection amounts to, by severity, in our own words (pure). It never says "safe"."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from fieldlog.model import Severity, State, Verdict

DEFERRAL = (
    "This record says what was found, against which limit, from which source. The maker's manual, "
    "local rules and licensed practice decide about riding and repair."
)


@dataclass(frozen=True, slots=True)
class Conclusion:
    """The sentence at the head of a report and the counts behind it."""

    headline: str
    beyond: int
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
    severities = [v.severity for v in given if v.state is State.BEYOND and v.severity]
    worst = max(severities, key=_RANK.index, default=None)
    beyond = counts[State.BEYOND]
    if worst is Severity.DANGEROUS:
        lead = f"{_count(beyond, 'finding')} beyond limits, at least one dangerous: do not ride it before this is put right."
    elif worst is Severity.MAJOR:
        lead = f"{_count(beyond, 'finding')} beyond limits: put this right before it goes back on the road."
    elif beyond:
        lead = f"{_count(beyond, 'small finding')} beyond limits, to be put right at the next work."
    elif counts[State.MARGINAL]:
        lead = f"Nothing beyond a limit; {_count(counts[State.MARGINAL], 'finding')} near one or against common practice."
    elif given:
        lead = "Nothing beyond a limit among what was checked."
    else:
        lead = "Nothing was judged."
    tail = []
    if counts[State.UNDECIDED]:
        tail.append(f"{_count(counts[State.UNDECIDED], 'finding')} without a decision")
    if asked:
        tail.append(f"{_count(asked, 'spoken value')} never confirmed")
    if open_items:
        tail.append(f"{_count(open_items, 'item')} not checked")
    headline = f"{lead} {_join(tail)}." if tail else lead
    return Conclusion(
        headline,
        beyond,
        counts[State.MARGINAL],
        counts[State.UNDECIDED],
        counts[State.WITHIN],
        worst,
        open_items,
    )


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _join(parts: list[str]) -> str:
    text = " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)
    return text[:1].upper() + text[1:]
