"""Exact values as people read them (pure): 1/8, 2.5, 0.0625."""

from __future__ import annotations

from fractions import Fraction

_PLACES = 6
_LARGEST_DENOMINATOR = 9999


def figure(value: Fraction) -> str:
    """An exact decimal of up to six places, else the fraction with a rounded value beside it.

    A fraction that nobody could read (more than four figures below the line) is rounded.
    """
    for places in range(_PLACES + 1):
        scaled = value * 10**places
        if scaled.denominator == 1:
            return f"{float(value):.{places}f}"
    if value.denominator > _LARGEST_DENOMINATOR:
        return f"about {float(value):.6g}"
    return f"{value} (about {float(value):.4g})"  # exact first: 17/254 in is 1.7 mm


def measure(value: Fraction, unit: str) -> str:
    """A value with its unit; inches as the fraction they were read as: ``1/8 in``."""
    if unit == "in" and value.denominator in (2, 4, 8, 16, 32, 64):
        return f"{value} in"
    return figure(value) if unit == "1" else f"{figure(value)} {unit}"


def rounded(value: Fraction, unit: str, *, sign: bool = False) -> str:
    """A derived figure to four significant places with its unit: ``+0.0625 in``."""
    text = f"{float(value):+.4g}" if sign else f"{float(value):.4g}"
    return text if unit == "1" else f"{text} {unit}"


def percent(probability: float) -> str:
    """A probability without false certainty: ``84.13 %``, ``> 99.99 %``."""
    if 0.9999 < probability < 1:
        return "> 99.99 %"
    if 0 < probability < 0.0001:
        return "< 0.01 %"
    return f"{probability * 100:.4g} %"
