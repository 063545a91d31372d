"""Roller-chain dimensions and elongation (pure).

Sources: ISO 10190:2008 and ISO 606 by way of published tables; the first digit of a code counts
eighths of an inch of pitch. Wear rules: ANSI B29.1 (3 % elongation, 200/N % for sprockets of more
than 66 teeth) as chain makers quote it.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

MM_PER_INCH = Fraction(254, 10)


@dataclass(frozen=True, slots=True)
class ChainSize:
    """Nominal dimensions of one chain code, millimetres."""

    code: str
    pitch_mm: Fraction
    roller_mm: Fraction
    width_mm: Fraction
    """Between the inner plates; families rather than exact sizes, +-0.15 mm between makers."""


def _size(code: str, roller: str, width: str) -> ChainSize:
    pitch = Fraction(int(code[0]), 8) * MM_PER_INCH
    return ChainSize(code, pitch, Fraction(roller), Fraction(width))


SIZES: dict[str, ChainSize] = {
    size.code: size
    for size in (
        _size("415", "7.77", "4.76"), _size("420", "7.77", "6.35"), _size("428", "8.51", "7.94"),
        _size("520", "10.16", "6.35"), _size("525", "10.16", "7.95"), _size("530", "10.16", "9.53"),
        _size("532", "11.10", "9.53"), _size("630", "11.91", "9.53"),
    )
}  # fmt: skip
"""Chain code -> dimensions."""


def elongation_percent(span_mm: Fraction, pitches: int, pitch_mm: Fraction) -> Fraction:
    """Elongation in % of a span measured pin centre to pin centre over ``pitches`` pitches.

    100 * (L - n p) / (n p). Raises ``ValueError`` unless there is at least one pitch.
    """
    if pitches < 1 or pitch_mm <= 0:
        raise ValueError("a span needs at least one pitch of positive length")
    nominal = pitches * pitch_mm
    return 100 * (span_mm - nominal) / nominal


def elongation_limit_percent(largest_sprocket_teeth: Fraction | int | None) -> Fraction:
    """3 %, or 200/N % where the largest sprocket has more than 66 teeth (ANSI B29.1)."""
    if largest_sprocket_teeth is not None and largest_sprocket_teeth > 66:
        return 200 / Fraction(largest_sprocket_teeth)
    return Fraction(3)


def lift_off_limit_mm(size: ChainSize) -> Fraction:
    """Half a roller's diameter, mm: common practice for chain pulled off the rear sprocket."""
    return size.roller_mm / 2
