"""Units: exact conversion, and what the words they are spoken in can mean (pure).

All of it is made from the rows of ``unit_table``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType

from fieldlog.errors import UsageError
from fieldlog.quantities.unit_table import ROWS, SCALED, Unit, phrases

UNITS: Mapping[str, Unit] = MappingProxyType({row.symbol: row for row in ROWS})
"""Every unit by its symbol."""
WRITTEN: Mapping[str, str] = MappingProxyType(
    {spelling: row.symbol for row in ROWS for spelling in row.written.split()}
)
"""Other spellings of a symbol, in small letters, as the value of a setting -> the symbol."""


@dataclass(frozen=True, slots=True)
class SpokenUnit:
    """What a spoken unit can mean: ``number * scale`` in ``symbol``.

    ``loose`` marks shop shorthand that names another thing by the book ("pounds" for psi): it is
    kept as a reading, and flagged.
    """

    symbol: str
    scale: Fraction = Fraction(1)
    loose: bool = False


def unit(symbol: str) -> Unit:
    """The unit of that symbol; raises ``UsageError`` when there is none."""
    found = UNITS.get(symbol)
    if found is None:
        known = " ".join(UNITS)
        raise UsageError(f"unknown unit {symbol!r}", todo=f"use one of {known}")
    return found


def dimension(symbol: str) -> str:
    """The dimension's name ("length", "torque", ...); raises ``UsageError`` for unknown units."""
    return unit(symbol).dimension


def convert(value: Fraction, from_: str, to: str, *, difference: bool = False) -> Fraction:
    """``value`` of unit ``from_`` in unit ``to``, exactly.

    ``difference`` converts a temperature difference (no offset): 20 degF of difference are 100/9
    degC. Raises ``UsageError`` for an unknown unit or two units of different dimensions.
    """
    source, target = unit(from_), unit(to)
    if source.dimension != target.dimension:
        raise UsageError(
            f"{from_} is a unit of {source.dimension}, {to} of {target.dimension}",
            todo="give a unit of the same kind",
        )
    if difference:
        return value * source.factor / target.factor
    return (value * source.factor + source.offset - target.offset) / target.factor


# --- words -----------------------------------------------------------------------------------


def _spoken_table() -> dict[tuple[str, ...], tuple[SpokenUnit, ...]]:
    table: dict[tuple[str, ...], tuple[SpokenUnit, ...]] = {}

    def add(text: str, meaning: SpokenUnit) -> None:
        for phrase in phrases(text):
            here = table.get(phrase, ())
            if all((m.symbol, m.scale) != (meaning.symbol, meaning.scale) for m in here):
                table[phrase] = (*here, meaning)

    for row in ROWS:
        names = f"{row.one.replace(' ', '_')} {row.many.replace(' ', '_')}"
        add(f"{names} {row.heard} {row.also}", SpokenUnit(row.symbol))
        add(row.loose, SpokenUnit(row.symbol, loose=True))
    for scaled in SCALED:
        for symbol in scaled.symbols.split():
            add(scaled.also, SpokenUnit(symbol, scaled.scale, scaled.loose))
    return table


SPOKEN: Mapping[tuple[str, ...], tuple[SpokenUnit, ...]] = MappingProxyType(_spoken_table())
"""Every spoken unit phrase (a tuple of words) with everything it can mean."""


def meanings(words: tuple[str, ...]) -> tuple[SpokenUnit, ...]:
    """Everything the unit words can mean; empty when they are no unit."""
    return SPOKEN.get(words, ())
