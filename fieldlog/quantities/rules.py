"""Which rules of ``quantities.jsgf`` say a quantity in given units (pure data)."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from types import MappingProxyType

from fieldlog.quantities import units

RULES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "mm": ("of_mm",),
        "cm": ("of_cm",),
        "m": ("of_m",),
        "in": ("of_inch",),
        "ft": ("of_ft",),
        "km": ("of_km",),
        "mi": ("of_mi",),
        "psi": ("of_psi", "of_pounds"),
        "kPa": ("of_kpa",),
        "bar": ("of_bar",),
        "kgf/cm2": ("of_kgf_cm2",),
        "V": ("of_volt",),
        "A": ("of_amp",),
        "N.m": ("of_newton_metre",),
        "lbf.ft": ("of_lbf_ft",),
        "lbf.in": ("of_lbf_in",),
        "kgf.m": ("of_kgf_m",),
        "N": ("of_newton",),
        "lbf": ("of_lbf",),
        "kgf": ("of_kgf",),
        "kg": ("of_kg", "of_kilos"),
        "g": ("of_gram",),
        "lb": ("of_lb",),
        "km/h": ("of_kmh",),
        "mi/h": ("of_mph",),
        "L": ("of_litre",),
        "mL": ("of_ml",),
        "qt": ("of_qt",),
        "fl.oz": ("of_fl_oz",),
        "deg": ("of_deg",),
        "turn": ("of_turn",),
        "%": ("of_percent",),
        "link": ("of_link",),
        "1/min": ("of_per_min",),
        "degC": ("of_degc", "of_bare_degrees"),
        "degF": ("of_degf", "of_bare_degrees"),
        "a": ("of_year",),
        "mo": ("of_month",),
        "wk": ("of_week",),
        "d": ("of_day",),
        "1": ("ratio",),
    }
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
