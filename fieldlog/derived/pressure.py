"""Cold tyre pressure from a hot one (pure): Gay-Lussac's law with absolute values.

At constant volume p/T is constant for *absolute* pressure and temperature; using the gauge reading
itself is a common mistake and gives too small a change.
"""

from __future__ import annotations

from fractions import Fraction

STANDARD_ATMOSPHERE_KPA = Fraction(101325, 1000)
"""Ambient pressure in kPa when none is given (exact by definition)."""

_ZERO_C = Fraction(27315, 100)


def at_temperature(
    gauge_kpa: Fraction,
    measured_c: Fraction,
    wanted_c: Fraction,
    ambient_kpa: Fraction = STANDARD_ATMOSPHERE_KPA,
) -> Fraction:
    """Gauge pressure in kPa that ``gauge_kpa`` at ``measured_c`` (degC) becomes at ``wanted_c``.

    p2 = (p1 + pa) * T2 / T1 - pa. Raises ``ValueError`` for a temperature at or below absolute zero
    or a gauge pressure below a perfect vacuum.
    """
    measured_k, wanted_k = measured_c + _ZERO_C, wanted_c + _ZERO_C
    if measured_k <= 0 or wanted_k <= 0:
        raise ValueError("temperature at or below absolute zero")
    absolute = gauge_kpa + ambient_kpa
    if absolute < 0:
        raise ValueError("pressure below a perfect vacuum")
    return absolute * wanted_k / measured_k - ambient_kpa
