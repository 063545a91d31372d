"""What an inspection amounts to, in one or two sentences (pure). It never says "safe"."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from fieldlog.model.state import Severity, State
from fieldlog.model.verdict import InDoubt
from fieldlog.words.telling import say

DEFERRAL = (
    "This record says what was found, against which limit, from which source. The maker's manual, "
    "local rules and licensed practice decide about riding and repair."
)
_LEADS: Mapping[Severity | None, str] = {
    Severity.DANGEROUS: "{found}, at least one of them dangerous: do not ride it before this is put right.",
    Severity.MAJOR: "{found}: put this right before it goes back on the road.",
    Severity.MINOR: "{found}: to be put right at the next work.",
    None: "{found}: to be put right at the next work.",
}
_NOTHING_BEYOND = "Nothing beyond a limit among what was checked."
_NOTHING_JUDGED = "Nothing was judged."
_IN_DOUBT: Mapping[InDoubt, tuple[str, str]] = {
    InDoubt.BY_LESS_THAN_MEASURED: (
        "finding outside its limit by less than the measuring uncertainty",
        "findings outside their limits by less than the measuring uncertainty",
    ),
    InDoubt.MAY_BE_BEYOND: (
        "finding perhaps beyond its limit",
        "findings perhaps beyond their limits",
    ),
}
_FAULTY = ("fault that no cited limit covers", "faults that no cited limit covers")
_BEYOND = ("finding beyond limits", "findings beyond limits")
_MARGINAL = (
    "finding near a limit or against common practice",
    "findings near a limit or against common practice",
)
_LEFT = ("finding without a decision", "findings without a decision")
_ASKED = ("spoken value never confirmed", "spoken values never confirmed")
_OPEN = ("item not checked", "items not checked")


def headline(
    states: Mapping[State, int],
    in_doubt: Mapping[InDoubt, int],
    worst: Severity | None,
    asked: int,
    open_items: int,
) -> str:
    """The sentence at the head of a report.

    ``states`` and ``in_doubt``: how many findings there are of each; ``asked``: values never
    confirmed.
    """
    found = _listed(
        [
            (states.get(State.BEYOND, 0), _BEYOND),
            *((in_doubt.get(each, 0), _IN_DOUBT[each]) for each in InDoubt),
            (states.get(State.FAULTY, 0), _FAULTY),
            (states.get(State.MARGINAL, 0), _MARGINAL),
        ]
    )
    lead = say(_NOTHING_BEYOND if sum(states.values()) else _NOTHING_JUDGED)
    if found:
        lead = say(_LEADS[worst], found=found)
    left = states.get(State.UNDECIDED, 0) - sum(in_doubt.values())
    tail = _listed([(left, _LEFT), (asked, _ASKED), (open_items, _OPEN)])
    return f"{lead} {tail}." if tail else lead


def _listed(counted: Iterable[tuple[int, tuple[str, str]]]) -> str:
    """``1 finding .., 2 findings .. and 3 items ..`` of what there is."""
    told = [f"{count} {say(names[count != 1])}" for count, names in counted if count]
    return f" {say('and')} ".join([", ".join(told[:-1]), told[-1]] if len(told) > 1 else told)
