"""The English that ``tell`` and ``say`` put together: a second language is a second set of these (pure data).

What units are called stands with the units (``quantities.unit_table``), what numbers are made of in
``quantities.number_words``.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from fieldlog.model import InDoubt, Qualifier, Severity, State

WHICH: Mapping[str, str] = MappingProxyType(
    {
        "end": "Which end",
        "side": "Which side",
        "cell": "Which cell",
        "mount": "Which mount",
        "joint": "Which joint",
    }
)
"""Axis of a place -> how it is asked for."""
WHICH_ONE = "Which one"
"""How any other axis is asked for."""

QUALIFIERS: Mapping[Qualifier, str] = MappingProxyType(
    {
        Qualifier.ABOUT: "about",
        Qualifier.LESS: "less than",
        Qualifier.MORE: "more than",
    }
)
STATES: Mapping[State, str] = MappingProxyType(
    {
        State.WITHIN: "within",
        State.MARGINAL: "marginal",
        State.FAULTY: "faulty",
        State.BEYOND: "beyond",
        State.UNDECIDED: "undecided",
    }
)
SEVERITIES: Mapping[Severity, str] = MappingProxyType(
    {
        Severity.MINOR: "minor",
        Severity.MAJOR: "major",
        Severity.DANGEROUS: "dangerous",
    }
)
NOT_JUDGED = "not judged"
NOT_COMPLETE = "not complete"

TO = "to"
AND = "and"
OR = "or"
POINT = "point"
MINUS = "minus"
OVER = "over"
"""Between the two numbers of a fraction that has no name."""
OF_AN_INCH = "of an inch"

IN_DOUBT: Mapping[InDoubt, str] = MappingProxyType(
    {
        InDoubt.BY_LESS_THAN_MEASURED: "outside its limit by less than the measuring uncertainty",
        InDoubt.MAY_BE_BEYOND: "perhaps beyond its limit",
    }
)


def about(figure: str) -> str:
    """A rounded figure."""
    return f"about {figure}"


def of_a(noun: str) -> str:
    """``of an inch``, ``of a turn``: behind a fraction."""
    return f"of {'an' if noun[:1] in 'aeiou' else 'a'} {noun}"


def no_plausible(value: str, characteristic: str, component: str, plausible: str) -> str:
    """Why a value is not believed."""
    return f"{value} is no plausible {characteristic} of the {component} ({plausible})"
