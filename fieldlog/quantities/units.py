"""Units as exact factors, and the words they are spoken in (pure).

Factors are exact products of definitions: inch = 25.4 mm, pound = 0.45359237 kg (international yard
and pound agreement of 1959), standard gravity = 9.80665 m/s2 (3rd CGPM 1901), US gallon = 231 in3.
Symbols are NIST SP 811 (2008) written in ASCII. ``qt`` and ``fl.oz`` are the US liquid units.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType

from fieldlog.errors import UsageError

_INCH = Fraction(254, 10_000)
_POUND = Fraction(45_359_237, 100_000_000)
_GRAVITY = Fraction(980_665, 100_000)
_POUND_FORCE = _POUND * _GRAVITY
_GALLON = 231 * _INCH**3
_MILE = 5280 * 12 * _INCH
_DAY = 86_400


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: ``SI value = value * factor + offset``, in the SI base unit of its dimension.

    The bases: m, m2.kg/s2 (N.m), Pa, V, A, K, m/s, m3, kg, N, rad-free ``deg``, 1, s, 1/s.
    """

    symbol: str
    dimension: str
    factor: Fraction
    offset: Fraction = Fraction(0)


def _table() -> dict[str, Unit]:
    rows: list[tuple[str, str, Fraction | int]] = [
        ("mm", "length", Fraction(1, 1000)),
        ("cm", "length", Fraction(1, 100)),
        ("m", "length", 1),
        ("in", "length", _INCH),
        ("ft", "length", 12 * _INCH),
        ("km", "length", 1000),
        ("mi", "length", _MILE),
        ("psi", "pressure", _POUND_FORCE / _INCH**2),
        ("kPa", "pressure", 1000),
        ("bar", "pressure", 100_000),
        ("kgf/cm2", "pressure", _GRAVITY * 10_000),
        ("V", "voltage", 1),
        ("mV", "voltage", Fraction(1, 1000)),
        ("A", "current", 1),
        ("mA", "current", Fraction(1, 1000)),
        ("N.m", "torque", 1),
        ("lbf.ft", "torque", _POUND_FORCE * 12 * _INCH),
        ("lbf.in", "torque", _POUND_FORCE * _INCH),
        ("kgf.m", "torque", _GRAVITY),
        ("kgf.cm", "torque", _GRAVITY / 100),
        ("N", "force", 1),
        ("lbf", "force", _POUND_FORCE),
        ("kgf", "force", _GRAVITY),
        ("kg", "mass", 1),
        ("g", "mass", Fraction(1, 1000)),
        ("lb", "mass", _POUND),
        ("km/h", "speed", Fraction(1000, 3600)),
        ("mi/h", "speed", _MILE / 3600),
        ("L", "volume", Fraction(1, 1000)),
        ("mL", "volume", Fraction(1, 1_000_000)),
        ("qt", "volume", _GALLON / 4),
        ("fl.oz", "volume", _GALLON / 128),
        ("deg", "angle", 1),
        ("turn", "angle", 360),
        ("1", "ratio", 1),
        ("%", "ratio", Fraction(1, 100)),
        ("link", "count", 1),
        ("1/min", "frequency", Fraction(1, 60)),
        ("s", "time", 1),
        ("min", "time", 60),
        ("h", "time", 3600),
        ("d", "time", _DAY),
        ("wk", "time", 7 * _DAY),
        # Calendar months and years of the Gregorian cycle: 400 a = 146,097 d exactly.
        ("mo", "time", Fraction(146_097 * _DAY, 4800)),
        ("a", "time", Fraction(146_097 * _DAY, 400)),
    ]
    table = {symbol: Unit(symbol, dim, Fraction(factor)) for symbol, dim, factor in rows}
    kelvin_at_0 = Fraction(27_315, 100)
    table["degC"] = Unit("degC", "temperature", Fraction(1), kelvin_at_0)
    table["degF"] = Unit("degF", "temperature", Fraction(5, 9), kelvin_at_0 - 32 * Fraction(5, 9))
    return table


UNITS: Mapping[str, Unit] = MappingProxyType(_table())
"""Every unit by its symbol."""


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

_SPELLED: tuple[tuple[str, str, str], ...] = (
    # symbol | phrases that name the unit by the book, British spelling | shop shorthand (loose)
    (
        "mm",
        "millimetre millimetres mm mms m_m milli_metre milli_metres",
        "mil mils mill mills",
    ),
    ("cm", "centimetre centimetres cm c_m", ""),
    ("m", "metre metres", ""),
    ("in", "inch inches", ""),
    ("ft", "foot feet", ""),
    (
        "km",
        "kilometre kilometres km kms k_m k_ms kilo_metre kilo_metres",
        "k kay kays klick klicks",
    ),
    ("mi", "mile miles", ""),
    (
        "psi",
        "psi p_s_i pound_per_square_inch pounds_per_square_inch",
        "pound pounds lb lbs",
    ),
    (
        "kPa",
        "kilopascal kilopascals kilo_pascal kilo_pascals kpa k_p_a",
        "k kay kays",
    ),
    ("bar", "bar bars", ""),
    (
        "kgf/cm2",
        "kilogram_per_square_centimetre kilograms_per_square_centimetre "
        "kilo_per_square_centimetre kilos_per_square_centimetre "
        "kilogram_force_per_square_centimetre kilograms_force_per_square_centimetre",
        "kilo kilos",
    ),
    ("V", "volt volts v", ""),
    ("mV", "millivolt millivolts milli_volt milli_volts", ""),
    ("A", "amp amps ampere amperes", ""),
    ("mA", "milliamp milliamps milli_amp milli_amps milliampere milliamperes", ""),
    (
        "N.m",
        "newton_metre newton_metres newtons_metre newtons_metres nm n_m",
        "newton newtons",
    ),
    (
        "lbf.ft",
        "foot_pound foot_pounds pound_foot pound_feet pounds_foot pounds_feet foot_pound_force "
        "foot_pounds_force pound_force_foot pound_force_feet feet_pounds foot_lb foot_lbs ft_lb "
        "ft_lbs lb_ft pounds_of_torque",
        "pound pounds lb lbs",
    ),
    (
        "lbf.in",
        "inch_pound inch_pounds pound_inch pound_inches pounds_inch pounds_inches "
        "inch_pound_force inch_pounds_force pound_force_inch pound_force_inches inch_lb inch_lbs "
        "in_lb in_lbs",
        "pound pounds lb lbs",
    ),
    (
        "kgf.m",
        "kilogram_metre kilogram_metres kilogram_force_metre "
        "kilogram_force_metres kilograms_force_metre "
        "kilograms_force_metres metre_kilogram metre_kilograms "
        "metre_kilo metre_kilos kilogram_metres_of_torque "
        "kilo_metres_of_torque kilos_of_torque "
        "kilograms_of_torque kilo_of_torque",
        "kilo kilos kilogram kilograms kilo_metre kilo_metres",
    ),
    (
        "kgf.cm",
        "kilogram_centimetre kilogram_centimetres "
        "kilogram_force_centimetre kilogram_force_centimetres",
        "",
    ),
    ("N", "newton newtons", ""),
    ("lbf", "pound_force pounds_force pounds_of_force", "pound pounds lb lbs"),
    (
        "kgf",
        "kilogram_force kilograms_force kilos_of_force kilograms_of_force",
        "kilo kilos kilogram kilograms",
    ),
    ("kg", "kilogram kilograms kilo kilos kg kgs", "k kay kays"),
    ("g", "gram grams gramme grammes", ""),
    ("lb", "pound pounds lb lbs", ""),
    (
        "km/h",
        "kilometre_per_hour kilometres_per_hour k_m_h kmh kph k_p_h",
        "k kay kays kilometres",
    ),
    ("mi/h", "mile_per_hour miles_per_hour mph m_p_h", "miles"),
    ("L", "litre litres", ""),
    (
        "mL",
        "millilitre millilitres ml mls m_l m_ls milli_litre milli_litres "
        "c_c c_cs cc ccs cubic_centimetre cubic_centimetres",
        "mil mils mill mills",
    ),
    ("qt", "quart quarts us_quart us_quarts", ""),
    ("fl.oz", "fluid_ounce fluid_ounces", "ounce ounces"),
    ("deg", "degree degrees", ""),
    ("turn", "turn turns", "revolution revolutions rev revs"),
    ("%", "percent per_cent", ""),
    ("link", "link links pitch pitches", ""),
    (
        "1/min",
        "revolution_per_minute revolutions_per_minute rpm r_p_m flash_per_minute "
        "flashes_per_minute per_minute times_a_minute times_per_minute",
        "rev revs",
    ),
    (
        "degC",
        "degree_celsius degrees_celsius degree_centigrade degrees_centigrade degree_c degrees_c celsius "
        "centigrade",
        "degree degrees",
    ),
    (
        "degF",
        "degree_fahrenheit degrees_fahrenheit degree_f degrees_f fahrenheit",
        "degree degrees",
    ),
    ("s", "second seconds", ""),
    ("min", "minute minutes", ""),
    ("h", "hour hours", ""),
    ("d", "day days", ""),
    ("wk", "week weeks", ""),
    ("mo", "month months", ""),
    ("a", "year years", ""),
)
_THOUSANDTHS = (
    "thou thous thousandth thousandths thousandth_of_an_inch thousandths_of_an_inch thou_of_an_inch"
)
_MILS = "mil mils mill mills"
_THOUSANDTH = Fraction(1, 1000)


def _phrase(text: str) -> tuple[str, ...]:
    return tuple(text.split("_"))


def _spoken_table() -> dict[tuple[str, ...], tuple[SpokenUnit, ...]]:
    table: dict[tuple[str, ...], tuple[SpokenUnit, ...]] = {}

    def add(phrases: str, meaning: SpokenUnit) -> None:
        american = phrases.replace("metre", "meter").replace("litre", "liter")
        for phrase in map(_phrase, dict.fromkeys(f"{phrases} {american}".split())):
            here = table.get(phrase, ())
            if all((m.symbol, m.scale) != (meaning.symbol, meaning.scale) for m in here):
                table[phrase] = (*here, meaning)

    for symbol, exact, loose in _SPELLED:
        add(exact, SpokenUnit(symbol))
        add(loose, SpokenUnit(symbol, loose=True))
    add(_THOUSANDTHS, SpokenUnit("in", _THOUSANDTH))
    add(_MILS, SpokenUnit("in", _THOUSANDTH, loose=True))
    # "twelve k" on the clock is 12,000; only the plausible range can tell.
    for symbol in ("km", "mi"):
        add("k kay", SpokenUnit(symbol, Fraction(1000), loose=True))
    return table


SPOKEN: Mapping[tuple[str, ...], tuple[SpokenUnit, ...]] = MappingProxyType(_spoken_table())
"""Every spoken unit phrase (a tuple of words) with everything it can mean."""


def spoken(symbol: str) -> tuple[tuple[str, ...], ...]:
    """Every phrase that can mean ``symbol``, by the book first, shop shorthand last.

    Thou, mils and thousandths, which scale the number, are not among the phrases of ``in``.
    Raises ``UsageError`` for an unknown unit.
    """
    unit(symbol)
    found = [
        (meaning.loose, phrase)
        for phrase, meanings in SPOKEN.items()
        for meaning in meanings
        if meaning.symbol == symbol and meaning.scale == 1
    ]
    return tuple(phrase for _, phrase in sorted(found, key=lambda pair: pair[0]))


def meanings(words: tuple[str, ...]) -> tuple[SpokenUnit, ...]:
    """Everything the unit words can mean; empty when they are no unit."""
    return SPOKEN.get(words, ())
