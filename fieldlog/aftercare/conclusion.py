"""What an inspection amounts to, by severity, in our own words (pure). It never says "safe"."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from fieldlog.model import Severity, State, Verdict
from fieldlog.words import tell
from fieldlog.words.english import BY_LESS_THAN_MEASURED, MAY_BE_BEYOND

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
    doubts = Counter(tell.doubt(verdict) for verdict in given)
    severities = [v.severity for v in given if v.state is not State.WITHIN and v.severity]
    worst = max(severities, key=_RANK.index, default=None)
    beyond, marginal = counts[State.BEYOND], counts[State.MARGINAL]
    found = _join_plain(
        [f"{_count(beyond, 'finding')} beyond limits"] * bool(beyond)
        + [
            _count(doubts[text], "finding") + " " + _of_several(text, doubts[text])
            for text in (BY_LESS_THAN_MEASURED, MAY_BE_BEYOND)
            if doubts[text]
        ]
        + [f"{_count(marginal, 'finding')} near a limit or against common practice"]
        * bool(marginal)
    )
    if worst is Severity.DANGEROUS:
        lead = f"{found}, at least one of them dangerous: do not ride it before this is put right."
    elif worst is Severity.MAJOR:
        lead = f"{found}: put this right before it goes back on the road."
    elif found:
        lead = f"{found}: to be put right at the next work."
    elif given:
        lead = "Nothing beyond a limit among what was checked."
    else:
        lead = "Nothing was judged."
    tail = []
    if left := counts[State.UNDECIDED] - doubts[BY_LESS_THAN_MEASURED] - doubts[MAY_BE_BEYOND]:
        tail.append(f"{_count(left, 'finding')} without a decision")
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


def _of_several(text: str, number: int) -> str:
    return text if number == 1 else text.replace(" its limit", " their limits")


def _join(parts: list[str]) -> str:
    text = _join_plain(parts)
    return text[:1].upper() + text[1:]


def _join_plain(parts: list[str]) -> str:
    return " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)
