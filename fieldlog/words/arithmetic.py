"""How a derived value was computed, in one line with its figures (pure). Rounded for the eye only."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

from fieldlog.words.tell import with_unit


def fixed(value: Fraction | float, unit: str = "1", places: int = 3) -> str:
    """``value`` to ``places`` decimals at most, with its unit."""
    text = f"{float(value):.{places}f}"
    return with_unit(text.rstrip("0").rstrip(".") if "." in text else text, unit)


_AT_80F = f"corrected to {fixed(80, 'degF')}"


def at_rest(volts: Fraction, corrected: Fraction | None) -> str:
    """``12.5 V at rest, 12.52 V corrected to 80 °F``."""
    text = f"{fixed(volts, 'V')} at rest"
    return text if corrected is None else f"{text}, {fixed(corrected, 'V')} {_AT_80F}"


def dense(gravity: Fraction) -> str:
    """``specific gravity 1.265``."""
    return f"specific gravity {fixed(gravity)}"


def dense_at(gravity: Fraction, degrees_f: Fraction, corrected: Fraction) -> str:
    """``specific gravity 1.2 at 100 °F, 1.208 corrected to 80 °F``."""
    return f"{dense(gravity)} at {fixed(degrees_f, 'degF', 0)}, {fixed(corrected)} {_AT_80F}"


def charged(how: str, percent: Fraction) -> str:
    """``..: 74 %``."""
    return f"{how}: {fixed(percent, '%', 0)}"


def freezes(how: str, celsius: Fraction) -> str:
    """``.. freezes at -26.7 °C``."""
    return f"{how} freezes at {fixed(celsius, 'degC', 1)}"


def spread(largest: Fraction, smallest: Fraction) -> str:
    """``largest 1.28 minus smallest 1.22``."""
    return f"largest {fixed(largest)} minus smallest {fixed(smallest)}"


def stretched(span_mm: Fraction, pitches: str, pitch_mm: Fraction, percent: Fraction) -> str:
    """``(320 mm - 20 x 15.875 mm) / (20 x 15.875 mm) = 0.79 %``."""
    new = f"{pitches} x {fixed(pitch_mm, 'mm')}"
    return f"({fixed(span_mm, 'mm')} - {new}) / ({new}) = {fixed(percent, '%', 2)}"


def aged(week: int, year: int, first_day: date, years: Fraction) -> str:
    """``week 25 of 2019 began 2019-06-17: 7.4 years``."""
    return f"week {week} of {year} began {first_day}: {fixed(years, 'a', 1)}"


def cooled(
    gauge: Fraction, ambient: Fraction, cold: Fraction, hot: Fraction, value: Fraction
) -> str:
    """Gauge pressure in kPa from ``hot`` to ``cold`` (degC) at ``ambient`` pressure."""
    return (
        f"({fixed(gauge, places=1)} + {fixed(ambient, places=1)}) kPa x "
        f"({fixed(cold, places=0)} + 273.15) / ({fixed(hot, places=0)} + 273.15) - "
        f"{fixed(ambient, 'kPa', 1)} = {fixed(value, 'kPa', 1)}"
    )


def share(value: Fraction, wanted: Fraction, unit: str, percent: Fraction) -> str:
    """``28 psi / 36 psi = 77.8 %``."""
    return f"{fixed(value, unit)} / {fixed(wanted, unit)} = {fixed(percent, '%', 1)}"


def tilted(offset_mm: Fraction, distance_mm: Fraction, degrees: Fraction, percent: Fraction) -> str:
    """``atan(50 mm / 7620 mm) = 0.376°, 0.66 %``."""
    run = f"{fixed(offset_mm, 'mm', 1)} / {fixed(distance_mm, 'mm', 0)}"
    return f"atan({run}) = {fixed(degrees, 'deg')}, {fixed(percent, '%', 2)}"


def as_at(offset: Fraction, unit: str, distance_mm: Fraction) -> str:
    """``5 in at 7.62 m``: the same angle on a screen at another distance."""
    return f"{fixed(offset, unit, 2)} at {fixed(distance_mm / 1000, 'm', 2)}"


def stands_for(what: str, code: object, value: Fraction | int, unit: str) -> str:
    """``load index 58: 236 kg``; ``speed symbol H: 210 km/h``."""
    return f"{what} {code}: {with_unit(str(value), unit)}"


WORN_TO_BARS = "worn to the indicator bars, which stand 1/32 in high on motorcycle tyres"
