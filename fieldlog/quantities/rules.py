"""Which rules of ``quantities.jsgf`` say a quantity in given units (pure data)."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from types import MappingProxyType

from fieldlog.quantities import units
from fieldlog.quantities.unit_table import ROWS

RULES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        row.symbol: tuple(f"of_{rule}" for rule in (row.rule, row.shared) if rule)
        for row in ROWS
        if row.rule
    }
    | {"1": ("ratio",)}
)
"""Unit symbol -> the rules that say a quantity in it, by the book first."""

BARE: Mapping[str, str] = MappingProxyType(
    {
        "length": "bare_length",
        "pressure": "bare_pressure",
        "voltage": "bare_voltage",
        "torque": "bare_torque",
        "temperature": "bare_temperature",
    }
)
"""Dimension -> the rule of its unit-less form; every other dimension has ``bare_number``."""

SAID: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "gravity": ("gravity",),
        "compact volts": ("of_volt",),
        "decimal": (),
        "long length": ("of_mm_long",),
        "mils": ("of_mil",),
        "fraction": ("fraction_inch",),
        "date code": ("date_code",),
        "count": ("plain_count",),
    }
)
"""Ways of saying a characteristic that the catalogue can name -> the rules they add."""


def rules_for(symbols: Collection[str]) -> tuple[str, ...]:
    """The rules that say a quantity in any of the units, each once, in the order of ``symbols``.

    Raises ``UsageError`` for an unknown unit, ``KeyError`` for a unit that has no spoken rule (mV,
    mA, kgf.cm and the clock times, which are only converted).
    """
    found: dict[str, None] = {}
    for symbol in symbols:
        units.unit(symbol)
        found.update(dict.fromkeys(RULES[symbol]))
    return tuple(found)


def bare_rule(symbol: str) -> str:
    """The rule of the unit-less form for a characteristic measured in ``symbol``."""
    return BARE.get(units.dimension(symbol), "bare_number")
