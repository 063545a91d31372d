"""Which cautions go with a verdict; every one that is not *within* ends in the deferral (pure)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from fieldlog.catalogue.component import Catalogue
from fieldlog.limits.judge import SEVERENESS
from fieldlog.model.state import Severity, State
from fieldlog.model.verdict import Verdict

DEFERS = (
    "The vehicle maker's manual, the local rules and a licensed workshop have the last word; "
    "fieldlog reports what was found and against which limit."
)
"""Ends every list of cautions."""
RANK = {Severity.DANGEROUS: 0, Severity.MAJOR: 1, Severity.MINOR: 2, None: 3}
"""Worst first."""


def cautioned(verdict: Verdict, component: str, catalogue: Catalogue) -> Verdict:
    """``verdict`` on a finding of ``component`` with the cautions that go with it."""
    return replace(verdict, cautions=cautions(verdict.state, component, catalogue))


def cautions(state: State, component: str, catalogue: Catalogue) -> tuple[str, ...]:
    """Every caution of the component and the deferral, for a state that is not *within*."""
    return () if state is State.WITHIN else cautions_for([component], catalogue)


def cautions_for(components: Iterable[str], catalogue: Catalogue) -> tuple[str, ...]:
    """Cautions of work on ``components``, each once, ending in the deferral; none for no component."""
    found = [catalogue.get(name) for name in dict.fromkeys(components)]
    said = dict.fromkeys(text for each in found if each for text in each.warned)
    return (*said, DEFERS) if found else ()


def cautions_of_work(
    work: Iterable[tuple[str, Severity | None]], catalogue: Catalogue
) -> tuple[str, ...]:
    """``cautions_for`` components, each with how bad it is: those of what is worst first."""
    ordered = sorted(work, key=lambda each: RANK[each[1]])
    return cautions_for((name for name, _ in ordered), catalogue)


def foremost(work: Iterable[tuple[str, Severity | None]], catalogue: Catalogue) -> tuple[str, ...]:
    """Of the cautions of ``work`` those of a screen: what hurts at what is worst, and the deferral.

    Those shown before every inspection (lifting, fuel, what is hot...) stay wherever the work has them.
    """
    pairs = list(work)
    worst = min((RANK[severity] for _, severity in pairs), default=0)
    there = (catalogue.get(name) for name, severity in pairs if RANK[severity] == worst)
    classes = (one for each in there if each is not None for one in each.classes)
    shown = {text for one in (*classes, *catalogue.at_start) for text in one.says} | {DEFERS}
    return tuple(text for text in cautions_of_work(pairs, catalogue) if text in shown)


def is_dangerous(verdict: Verdict | None) -> bool:
    """Whether what was found is dangerous, or may be: it is never played down."""
    if verdict is None or verdict.state is State.WITHIN:
        return False
    return verdict.severity is Severity.DANGEROUS


def worst_first(verdict: Verdict | None) -> tuple[int, int]:
    """What findings are sorted by where the worst comes first: its severity, then its state."""
    if verdict is None:
        return RANK[None], 0
    severity = None if verdict.state is State.WITHIN else verdict.severity
    return RANK[severity], -SEVERENESS.index(verdict.state)


def at_start(catalogue: Catalogue) -> tuple[str, ...]:
    """What is said before an inspection begins."""
    return (*(text for each in catalogue.at_start for text in each.says), DEFERS)
