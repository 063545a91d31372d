"""Codes as spoken -> canonical text: grades, chain sizes, date codes, tyre sizes, dates (pure).

A code is text, never a quantity: "2501" is not 2501 of anything. Every reading is kept; an empty
result says that the words are no such code. Calendar rules of tyre date codes live with the derived
values, not here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from types import MappingProxyType

from fieldlog.model.understanding import Flag
from fieldlog.quantities import numbers
from fieldlog.quantities.code_reading import (
    CodeKind,
    CodeReading,
    distinct,
    literals,
    one_letter,
    whole_numbers,
)
from fieldlog.quantities.dates import dates
from fieldlog.quantities.tyre_sizes import SPEED_SYMBOLS, load_speeds, tyre_sizes

BRAKE_FLUIDS = MappingProxyType(
    {
        Fraction(3): "DOT 3",
        Fraction(4): "DOT 4",
        Fraction(5): "DOT 5",
        Fraction(51, 10): "DOT 5.1",
    }
)
"""Grades of FMVSS 116 (49 CFR 571.116)."""

# SAE J300 and J306 viscosity grades (from memory; a grade outside is refused, not corrected).
_WINTER = frozenset({0, 5, 10, 15, 20, 25, 70, 75, 80, 85})
_SUMMER = frozenset({8, 12, 16, 20, 30, 40, 50, 60, 65, 70, 75, 80, 85, 90, 110, 140, 190, 250})
_FORK = frozenset({0, 2, 3, 4, 5, 7, 8, 10, 15, 20, 30})
CHAINS = frozenset({415, 420, 428, 520, 525, 530, 532, 630})
"""Sizes of the roller chain table in the limit sources (ISO 10190 scope, motorcycle chains)."""


def brake_fluid_grades(words: Sequence[str]) -> tuple[CodeReading, ...]:
    """ "dot five point one", "five point one", "dot five one" -> ``DOT 5.1``.

    DOT 5 and DOT 5.1 must never be mixed up: where one was heard the other is its twin
    (``brake_fluid_twin``).
    """
    said = tuple(words)
    body = said[1:] if said[:1] == ("dot",) else said
    if body == ("mineral", "oil"):
        return (CodeReading("mineral oil", said),)
    if body == ("five", "one"):
        return (CodeReading("DOT 5.1", said, (Flag.SHORTHAND,)),)
    return distinct(
        CodeReading(BRAKE_FLUIDS[n.value], said, n.flags)
        for n in numbers.readings(body)
        if n.high is None and n.qualifier is None and n.style in numbers.PROPER
        if n.value in BRAKE_FLUIDS
    )


def brake_fluid_twin(grade: str) -> str | None:
    """The grade that ``grade`` is one lost word away from, if any."""
    return {"DOT 5": "DOT 5.1", "DOT 5.1": "DOT 5"}.get(grade)


def oil_grades(words: Sequence[str]) -> tuple[CodeReading, ...]:
    """ "twenty w fifty" -> ``20W-50``; "s a e thirty", "straight fifty" -> ``SAE 30``, ``SAE 50``;

    "ten weight", "ten w" -> ``10W``.
    """
    said = tuple(words)
    body = _without(said, ("sae",), ("s", "a", "e"))
    found: list[CodeReading] = []
    for at in range(1, len(body)):
        size = next((n for n in (2, 1) if body[at : at + n] in (("w",), ("double", "u"))), 0)
        if not size and body[at:] == ("weight",):
            size = 1
        if not size:
            continue
        left, right = whole_numbers(body[:at]), body[at + size :]
        if right:
            highs = whole_numbers(_without(right, ("weight",)))
            found += [
                CodeReading(f"{low}W-{high}", said)
                for low in left & _WINTER
                for high in highs & _SUMMER
                if low < high
            ]
        else:
            found += [CodeReading(f"{low}W", said) for low in left & _FORK]
    straight = _without(body, ("straight",), ("mono",), ("monograde",))
    if straight != said or body != said:
        found += [CodeReading(f"SAE {n}", said) for n in whole_numbers(straight) & _SUMMER]
    return distinct(found)


def chain_sizes(words: Sequence[str]) -> tuple[CodeReading, ...]:
    """ "five twenty", "five two zero", "five hundred and twenty" -> ``520``."""
    said = tuple(words)
    return distinct(CodeReading(str(n), said) for n in sorted(whole_numbers(said) & CHAINS))


def date_codes(words: Sequence[str]) -> tuple[CodeReading, ...]:
    """ "twenty five oh one", "two five zero one" -> ``2501``; three digits keep the old form.

    "Week twelve of twenty nineteen" is ``1219``; a year before 2000 has no such code.
    """
    said = tuple(words)
    if said[:1] == ("week",):
        return distinct(CodeReading(code, said) for code in sorted(_week_of(said[1:])))
    found = []
    for literal in sorted(literals(said)):
        if len(literal) == 4:
            found.append(CodeReading(literal, said))
        elif len(literal) == 3:
            found.append(CodeReading(literal, said, (Flag.THREE_DIGITS,)))
    return distinct(found)


def _week_of(said: tuple[str, ...]) -> set[str]:
    """The codes of a week and its year, with "of" or "in" between them or nothing."""
    found = set()
    for cut in range(1, len(said)):
        rest = said[cut + 1 :] if said[cut] in ("of", "in") else said[cut:]
        for week in whole_numbers(said[:cut]):
            for year in literals(rest):
                if 1 <= week <= 53 and len(year) == 4 and year.startswith("20"):
                    found.add(f"{week:02d}{year[2:]}")
    return found


def speed_symbols(words: Sequence[str]) -> tuple[CodeReading, ...]:
    """ "h", "hotel", "double u" -> ``H``, ``H``, ``W``: the letters of UN R75."""
    said = tuple(words)
    letter = one_letter(said)
    if letter not in SPEED_SYMBOLS:
        return ()
    return (CodeReading(letter, said),)


def load_indexes(words: Sequence[str]) -> tuple[CodeReading, ...]:
    """ "fifty eight", "five eight" -> ``58`` (0..279)."""
    said = tuple(words)
    return distinct(CodeReading(str(n), said) for n in sorted(whole_numbers(said)) if n < 280)


KINDS: Mapping[CodeKind, Callable[[Sequence[str]], tuple[CodeReading, ...]]] = MappingProxyType(
    {
        CodeKind.BRAKE_FLUID: brake_fluid_grades,
        CodeKind.OIL: oil_grades,
        CodeKind.CHAIN: chain_sizes,
        CodeKind.DATE_CODE: date_codes,
        CodeKind.TYRE_SIZE: tyre_sizes,
        CodeKind.LOAD_INDEX: load_indexes,
        CodeKind.SPEED: speed_symbols,
        CodeKind.LOAD_AND_SPEED: load_speeds,
        CodeKind.DATE: dates,
    }
)
"""Kind of code -> its reader; the grammar rule has underscores."""


def codes(kind: CodeKind, words: Sequence[str]) -> tuple[CodeReading, ...]:
    """Every reading of ``words`` as a code of ``kind``."""
    return KINDS[kind](words)


def _without(words: tuple[str, ...], *heads: tuple[str, ...]) -> tuple[str, ...]:
    for head in heads:
        if words[: len(head)] == head:
            return words[len(head) :]
        if words[-len(head) :] == head:
            return words[: -len(head)]
    return words
