"""The one table of units: what a unit is, how it is printed, said, heard, typed (pure data).

Printing, saying, reading, the forms that people type and the rules that a listener is offered are
made from these rows or held against them by tests. Factors are exact products of definitions: inch =
25.4 mm, pound = 0.45359237 kg (international yard and pound agreement of 1959), standard gravity =
9.80665 m/s2 (3rd CGPM 1901), US gallon = 231 in3. Symbols are NIST SP 811 (2008) written in ASCII.
``qt`` and ``fl.oz`` are the US liquid units.

Several phrases stand in one text, with a space between phrases and ``_`` between the words of one.
Spelling is British; the American one is made from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

_INCH = Fraction(254, 10_000)
_POUND = Fraction(45_359_237, 100_000_000)
_GRAVITY = Fraction(980_665, 100_000)
_POUND_FORCE = _POUND * _GRAVITY
_GALLON = 231 * _INCH**3
_MILE = 5280 * 12 * _INCH
_DAY = 86_400
_CELSIUS_0 = Fraction(27_315, 100)
_FAHRENHEIT = Fraction(5, 9)


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: ``SI value = value * factor + offset``, in the SI base unit of its dimension.

    The bases: m, m2.kg/s2 (N.m), Pa, V, A, K, m/s, m3, kg, N, rad-free ``deg``, 1, s, 1/s.
    """

    symbol: str
    dimension: str
    factor: Fraction
    one: str = ""
    """The name said of one of it; "" for the plain ratio."""
    many: str = ""
    printed: str | None = None
    """As printed (NIST SP 811); None: the symbol itself."""
    rule: str = ""
    """Its rule in ``grammars/units.jsgf``; ``of_`` before it says a quantity. "": only converted."""
    heard: str = ""
    """The phrases of that rule, word for word."""
    also: str = ""
    """More phrases that name it by the book and are read, but no listener is offered."""
    loose: str = ""
    """Shop shorthand that names another thing by the book ("pounds" for psi)."""
    shared: str = ""
    """The rule of ``grammars/units.jsgf`` of words that may be it or another ("kilos"); "" when none is."""
    typed: str = ""
    """Regular expression of what people type for it behind a figure, in small letters."""
    typed_as: str = ""
    """The words that it then stands for, where they are not ``many``."""
    alone: str = ""
    """What is taken for the unit where no figure is before it."""
    written: str = ""
    """Other spellings of the symbol in ``--set``, in small letters."""
    offset: Fraction = Fraction(0)
    parted: bool = False
    """Whether its values are told in halves and quarters: 1 3/4 in, not 1.75 in."""
    tight: bool = False
    """Whether no space is printed between figure and unit: 5°, 85/min."""


@dataclass(frozen=True, slots=True)
class ScaledWords:
    """Words that name ``scale`` of each of ``symbols``: "thou", "twelve k" on the clock."""

    symbols: str
    scale: Fraction
    also: str
    loose: bool


ROWS: tuple[Unit, ...] = (
    # --- length
    Unit(
        "mm", "length", Fraction(1, 1000), "millimetre", "millimetres", rule="mm",
        heard="millimetre millimetres m_m", also="mm mms milli_metre milli_metres",
        loose="mil mils mill mills", typed="mm", alone="mm",
    ),
    Unit(
        "cm", "length", Fraction(1, 100), "centimetre", "centimetres", rule="cm",
        heard="centimetre centimetres", also="cm c_m", typed="cm", alone="cm",
    ),
    Unit(
        "m", "length", Fraction(1), "metre", "metres", rule="m", heard="metre metres", typed="m",
    ),
    Unit(
        "in", "length", _INCH, "inch", "inches", rule="inch", heard="inch inches", typed='in|"',
        written='inches "', parted=True,
    ),
    Unit(
        "ft", "length", 12 * _INCH, "foot", "feet", rule="ft", heard="foot feet", typed="ft",
        written="feet",
    ),
    Unit(
        "km", "length", Fraction(1000), "kilometre", "kilometres", rule="km",
        heard="kilometre kilometres k_m", also="km kms k_ms kilo_metre kilo_metres",
        loose="k kay kays klick klicks", typed="km", alone="km",
    ),
    Unit(
        "mi", "length", _MILE, "mile", "miles", rule="mi", heard="mile miles", typed="mi",
        written="miles",
    ),
    # --- pressure
    Unit(
        "psi", "pressure", _POUND_FORCE / _INCH**2, "p s i", "p s i", rule="psi",
        heard="p_s_i psi pounds_per_square_inch", also="pound_per_square_inch",
        loose="pound pounds lb lbs", shared="pounds", typed=r"p\.s\.i\.?|psi|lbs?/in2",
        alone="psi p.s.i. p.s.i",
    ),
    Unit(
        "kPa", "pressure", Fraction(1000), "kilopascal", "kilopascals", rule="kpa",
        heard="kilopascal kilopascals k_p_a", also="kilo_pascal kilo_pascals kpa",
        loose="k kay kays", typed="kpa", alone="kpa", written="kpa",
    ),
    Unit(
        "bar", "pressure", Fraction(100_000), "bar", "bar", rule="bar", heard="bar", also="bars", typed="bar",
    ),
    Unit(
        "kgf/cm2", "pressure", _GRAVITY * 10_000, "kilogram per square centimetre",
        "kilograms per square centimetre", printed="kgf/cm²", rule="kgf_cm2",
        heard="kilos_per_square_centimetre kilograms_per_square_centimetre",
        also="kilo_per_square_centimetre kilogram_force_per_square_centimetre "
        "kilograms_force_per_square_centimetre",
        loose="kilo kilos", typed=r"kgf?\s?/\s?cm\^?2",
    ),
    # --- electricity
    Unit(
        "V", "voltage", Fraction(1), "volt", "volts", rule="volt", heard="volt volts", also="v", typed="v",
    ),
    Unit(
        "mV", "voltage", Fraction(1, 1000), "millivolt", "millivolts",
        also="milli_volt milli_volts", typed="mv",
    ),
    Unit(
        "A", "current", Fraction(1), "amp", "amps", rule="amp", heard="amp amps", also="ampere amperes",
        typed="a",
    ),
    Unit(
        "mA", "current", Fraction(1, 1000), "milliamp", "milliamps",
        also="milli_amp milli_amps milliampere milliamperes", typed="ma",
    ),
    # --- torque and force
    Unit(
        "N.m", "torque", Fraction(1), "newton metre", "newton metres", printed="N·m", rule="newton_metre",
        heard="newton_metre newton_metres", also="newtons_metre newtons_metres nm n_m",
        loose="newton newtons", typed=r"n\s?[.\-*]?\s?m", alone="nm n.m n-m", written="nm n.m",
    ),
    Unit(
        "lbf.ft", "torque", _POUND_FORCE * 12 * _INCH, "foot pound", "foot pounds",
        printed="lbf·ft", rule="lbf_ft", heard="foot_pound foot_pounds pound_feet",
        also="pound_foot pounds_foot pounds_feet foot_pound_force foot_pounds_force "
        "pound_force_foot pound_force_feet feet_pounds foot_lb foot_lbs ft_lb ft_lbs lb_ft "
        "pounds_of_torque",
        loose="pound pounds lb lbs", typed=r"lbf?s?[.\-/ ]ft|ft[.\- ]?lbf?s?",
        alone="lb.ft lbf.ft ft-lb ft-lbs", written="ft.lb lbft",
    ),
    Unit(
        "lbf.in", "torque", _POUND_FORCE * _INCH, "inch pound", "inch pounds", printed="lbf·in",
        rule="lbf_in", heard="inch_pound inch_pounds pound_inches",
        also="pound_inch pounds_inch pounds_inches inch_pound_force inch_pounds_force "
        "pound_force_inch pound_force_inches inch_lb inch_lbs in_lb in_lbs",
        loose="pound pounds lb lbs", typed=r"lbf?[.\- ]in|in[.\- ]lbf?s?",
        alone="lb.in lbf.in in-lb in-lbs",
    ),
    Unit(
        "kgf.m", "torque", _GRAVITY, "kilogram metre", "kilogram metres", printed="kgf·m",
        rule="kgf_m", heard="kilogram_metre kilogram_metres kilo_metres_of_torque",
        also="kilogram_force_metre kilogram_force_metres kilograms_force_metre "
        "kilograms_force_metres metre_kilogram metre_kilograms metre_kilo metre_kilos "
        "kilogram_metres_of_torque kilos_of_torque kilograms_of_torque kilo_of_torque",
        loose="kilo kilos kilogram kilograms kilo_metre kilo_metres", typed=r"kgf?[.\- ]?m",
        alone="kgf.m",
    ),
    Unit(
        "kgf.cm", "torque", _GRAVITY / 100, "kilogram centimetre", "kilogram centimetres",
        printed="kgf·cm", also="kilogram_force_centimetre kilogram_force_centimetres",
        typed=r"kgf?[.\-]?cm",
    ),
    Unit(
        "N", "force", Fraction(1), "newton", "newtons", rule="newton", heard="newton newtons", typed="n",
    ),
    Unit(
        "lbf", "force", _POUND_FORCE, "pound force", "pounds force", rule="lbf",
        heard="pounds_of_force pounds_force", loose="pound pounds lb lbs", typed="lbf",
    ),
    Unit(
        "kgf", "force", _GRAVITY, "kilogram force", "kilograms force", rule="kgf",
        heard="kilos_of_force kilograms_force", also="kilograms_of_force",
        loose="kilo kilos kilogram kilograms", typed="kgf",
    ),
    # --- mass
    Unit(
        "kg", "mass", Fraction(1), "kilogram", "kilograms", rule="kg", heard="kilogram kilograms",
        also="kilo kilos kg kgs", loose="k kay kays", shared="kilos", typed="kg",
    ),
    Unit(
        "g", "mass", Fraction(1, 1000), "gram", "grams", rule="gram", heard="gram grams",
        also="gramme grammes", typed="g",
    ),
    Unit(
        "lb", "mass", _POUND, "pound", "pounds", rule="lb", heard="pound pounds", also="lb lbs",
        typed="lbs?", written="lbs",
    ),
    # --- speed
    Unit(
        "km/h", "speed", Fraction(1000, 3600), "kilometre per hour", "kilometres per hour",
        rule="kmh", heard="kilometres_per_hour", also="k_m_h kmh kph k_p_h",
        loose="k kay kays kilometres", typed="km/h|kmh|kph",
    ),
    Unit(
        "mi/h", "speed", _MILE / 3600, "mile per hour", "miles per hour", rule="mph",
        heard="miles_per_hour", also="mph m_p_h", loose="miles", typed="mi/h|mph", alone="mph",
    ),
    # --- volume
    Unit(
        "L", "volume", Fraction(1, 1000), "litre", "litres", rule="litre", heard="litre litres",
        typed="l",
    ),
    Unit(
        "mL", "volume", Fraction(1, 1_000_000), "millilitre", "millilitres", rule="ml",
        heard="millilitre millilitres m_l c_c",
        also="ml mls m_ls milli_litre milli_litres c_cs cc ccs cubic_centimetre cubic_centimetres",
        loose="mil mils mill mills", typed="ml|cc", alone="ml cc",
    ),
    Unit(
        "qt", "volume", _GALLON / 4, "quart", "quarts", rule="qt", heard="quart quarts",
        also="us_quart us_quarts", typed="qt",
    ),
    Unit(
        "fl.oz", "volume", _GALLON / 128, "fluid ounce", "fluid ounces", printed="fl oz",
        rule="fl_oz", heard="fluid_ounce fluid_ounces", loose="ounce ounces",
        typed=r"fl\.?\s?oz", alone="fl.oz",
    ),
    # --- angle, ratio, count, frequency
    Unit(
        "deg", "angle", Fraction(1), "degree", "degrees", printed="°", rule="deg", heard="degree degrees",
        typed="°|deg", tight=True,
    ),
    Unit(
        "turn", "angle", Fraction(360), "turn", "turns", rule="turn", heard="turn turns",
        loose="revolution revolutions rev revs", parted=True,
    ),
    Unit("1", "ratio", Fraction(1), printed=""),
    Unit(
        "%", "ratio", Fraction(1, 100), "percent", "percent", rule="percent",
        heard="percent per_cent", typed="%",
    ),
    Unit(
        "link", "count", Fraction(1), "link", "links", rule="link", heard="link links pitch pitches",
    ),
    Unit(
        "1/min", "frequency", Fraction(1, 60), "per minute", "per minute", printed="/min",
        rule="per_min", heard="flashes_per_minute r_p_m",
        also="revolution_per_minute revolutions_per_minute rpm flash_per_minute times_a_minute "
        "times_per_minute",
        loose="rev revs", typed="1?/min|rpm", typed_as="r p m", tight=True,
    ),
    # --- time
    Unit("s", "time", Fraction(1), "second", "seconds", typed="s"),
    Unit("min", "time", Fraction(60), "minute", "minutes", typed="min"),
    Unit("h", "time", Fraction(3600), "hour", "hours", typed="h"),
    Unit(
        "d", "time", Fraction(_DAY), "day", "days", printed="days", rule="day", heard="day days", typed="d",
    ),
    Unit(
        "wk", "time", Fraction(7 * _DAY), "week", "weeks", printed="weeks", rule="week", heard="week weeks",
        typed="wk",
    ),
    # Calendar months and years of the Gregorian cycle: 400 a = 146,097 d exactly.
    Unit(
        "mo", "time", Fraction(146_097 * _DAY, 4800), "month", "months", printed="months",
        rule="month", heard="month months", typed="mo",
    ),
    Unit(
        "a", "time", Fraction(146_097 * _DAY, 400), "year", "years", printed="years", rule="year",
        heard="year years", written="years",
    ),
    # --- temperature
    Unit(
        "degC", "temperature", Fraction(1), "degree celsius", "degrees celsius", printed="°C", rule="degc",
        heard="degree_celsius degrees_celsius degree_centigrade degrees_centigrade degree_c "
        "degrees_c",
        also="celsius centigrade", loose="degree degrees", shared="bare_degrees",
        typed=r"°\s?c|deg\s?c|degc", written="c °c degc", offset=_CELSIUS_0,
    ),
    Unit(
        "degF", "temperature", _FAHRENHEIT, "degree fahrenheit", "degrees fahrenheit",
        printed="°F", rule="degf", heard="degree_fahrenheit degrees_fahrenheit",
        also="degree_f degrees_f fahrenheit", loose="degree degrees", shared="bare_degrees",
        typed=r"°\s?f|deg\s?f|degf", written="f °f degf", offset=_CELSIUS_0 - 32 * _FAHRENHEIT,
    ),
)  # fmt: skip
"""Every unit; where a word can mean several, they are offered in this order."""

SCALED: tuple[ScaledWords, ...] = (
    ScaledWords(
        "in",
        Fraction(1, 1000),
        "thou thous thousandth thousandths thousandth_of_an_inch thousandths_of_an_inch "
        "thou_of_an_inch",
        loose=False,
    ),
    ScaledWords("in", Fraction(1, 1000), "mil mils mill mills", loose=True),
    # "twelve k" on the clock is 12,000; only the plausible range can tell.
    ScaledWords("km mi", Fraction(1000), "k kay", loose=True),
)
"""Words whose number is scaled."""


def phrases(text: str) -> tuple[tuple[str, ...], ...]:
    """The phrases of a field, British and American, each once and as its words."""
    american = text.replace("metre", "meter").replace("litre", "liter")
    return tuple(tuple(phrase.split("_")) for phrase in dict.fromkeys(f"{text} {american}".split()))
