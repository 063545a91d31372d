"""The English that ``tell`` and ``say`` put together: a second language is a second set of these (pure data).

What units are called stands with the units (``quantities.unit_table``), what numbers are made of in
``quantities.number_words``.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from fieldlog.model.finding import Qualifier
from fieldlog.model.limit import SeverityFrom
from fieldlog.model.state import Severity, State
from fieldlog.model.understanding import Flag
from fieldlog.model.verdict import InDoubt
from fieldlog.words.telling import say

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
PLAINLY: Mapping[State, str] = MappingProxyType(
    {
        State.WITHIN: "inside its limit",
        State.MARGINAL: "near its limit",
        State.FAULTY: "faulty",
        State.BEYOND: "outside its limit",
        State.UNDECIDED: "not decided",
    }
)
"""How a value stands, to somebody who does not ask for the value."""
PERHAPS_OUTSIDE = "outside its limit, or perhaps"
SEVERITIES: Mapping[Severity, str] = MappingProxyType(
    {
        Severity.MINOR: "minor",
        Severity.MAJOR: "major",
        Severity.DANGEROUS: "dangerous",
    }
)
SEVERITY_FROM: Mapping[SeverityFrom, str] = MappingProxyType(
    {
        SeverityFrom.PRINTED: "printed",
        SeverityFrom.INFERRED: "inferred",
        SeverityFrom.OWN: "our own",
    }
)
NO_RULE_HELD = "no list of any rule: equipment standards and common practice decide"
NOT_JUDGED = "not judged"
NOT_COMPLETE = "not complete"

WHOLE: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {"engine casing": ("engine", "motor"), "clutch lever": ("clutch",)}
)
"""Component -> what names the whole that it is of, as people say it of what is wrong with that."""

TO = "to"
AND = "and"
OR = "or"
POINT = "point"
DECIMAL = "decimal"
"""Instead of it where a value is said back: "point" is misheard ("three point five")."""
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


def covered(rule: str, rows: int, items: int, unread: int, sections: int) -> str:
    """In a narrow place: ``US-VA: 29 of 49 items; not read: 2 items, 5 sections``."""
    parts = [counted(unread, "item")] if unread else []
    parts += [counted(sections, "section")] if sections else []
    held = say("{rule}: {rows} of {items} items", rule=rule.upper(), rows=rows, items=items)
    return say("{held}; not read: {parts}", held=held, parts=", ".join(parts)) if parts else held


FLAGS: Mapping[str, str] = MappingProxyType(
    {
        Flag.HOMOPHONE: "a word that sounds like another",
        Flag.LOOSE_UNIT: "a unit said loosely",
        Flag.SHORTHAND: "said in short",
        Flag.THREE_DIGITS: "three digits in a row",
        Flag.AGREEMENT: "one said where several are meant, or the other way round",
        Flag.EITHER: "one or the other",
        Flag.NO_AND: "no *and* was said",
        Flag.EQUAL_ENDS: "a range from a value to itself",
        Flag.REVERSED: "a range from its upper end",
        Flag.LEADING_ZERO: "a zero in front",
        Flag.EITHER_AND: "read in two ways round *and*",
        Flag.REPAIRED: "put right in the same breath",
        Flag.TEEN_TWIN: "sounds like another number (fifteen, fifty)",
        Flag.GRADE_TWIN: "DOT 5 and DOT 5.1 sound alike",
        Flag.ODD: "asked because of its figures",
        Flag.TWIN: "something that sounds alike was nearly as likely",
        Flag.NEARSIDE: "left or right follows from nearside or offside",
        Flag.OWN_VOICE: "heard while fieldlog itself spoke",
    }
)
"""Marks of an utterance that do not explain themselves."""


def flag(mark: str) -> str:
    """A mark of an utterance as whoever goes through it reads it."""
    return FLAGS.get(mark, mark)


def counted(count: int, noun: str, several: str = "") -> str:
    """``1 finding``, ``2 findings``; ``several`` where more than one is no plain *s*."""
    return f"{count} {say(noun if count == 1 else several or noun + 's')}"


def originals(count: int) -> str:
    """``1 clip or photo``, ``8 clips and photos``."""
    return counted(count, "clip or photo", "clips and photos")


def only(words: str, qualifier: str) -> str:
    """``bent, cracked, only "so as to affect the safe operation"``."""
    return say('{words}, only "{qualifier}"', words=words, qualifier=qualifier)


def asks(qualifier: str, row: str) -> str:
    """What the rule says beside the fault, which the finding does not."""
    return (
        f'the rule rejects it only "{qualifier}", which was not said: '
        f"look, and set met={row} or not_met={row}"
    )


def coverage(rows: int, cannot: int, unread: int, sections: int) -> str:
    """How much of a rule is held; ``sections`` go on behind what was read, nobody knows how far."""
    parts = [f"{rows} of {rows + cannot + unread} items"]
    parts += [f"{cannot} cannot be expressed"] if cannot else []
    parts += [f"{unread} not read"] if unread else []
    more = f"{sections} {'section goes' if sections == 1 else 'sections go'} on unread"
    return ", ".join(parts) + (f"; {more}" if sections else "")


def about(figure: str) -> str:
    """A rounded figure."""
    return f"about {figure}"


def of_a(noun: str) -> str:
    """``of an inch``, ``of a turn``: behind a fraction."""
    return f"of {'an' if noun[:1] in 'aeiou' else 'a'} {noun}"


def no_plausible(value: str, characteristic: str, component: str, plausible: str) -> str:
    """Why a value is not believed."""
    return f"{value} is no plausible {characteristic} of the {component} ({plausible})"
