"""Decision rules for a reading with uncertainty (pure).

JCGM 106:2012 (conformance probability, guard bands), ILAC-G8:09/2019 (table of rules, conditional
pass and fail), ISO 14253-1:2017. ``U`` is the expanded uncertainty with coverage factor k = 2, so
the standard uncertainty is ``u = U/2``. A reading is acceptable without condition when it lies
inside the limit by at least the guard band ``w = r*U``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from statistics import NormalDist
from types import MappingProxyType

from fieldlog.model.state import State

_NORMAL = NormalDist()

RULES: Mapping[str, Fraction] = MappingProxyType(
    {
        "simple": Fraction(0),
        "iso 14253": Fraction(83, 100),
        "ilac g8": Fraction(1),
        "3 sigma": Fraction(3, 2),
        "6 sigma": Fraction(3),
    }
)
"""Rule -> r, the guard band in multiples of U (ILAC-G8:09/2019, table of decision rules)."""

DEFAULT_RULE = "ilac g8"


@dataclass(frozen=True, slots=True)
class Tolerance:
    """What is allowed: ``low <= x <= high``, either end open when None.

    ``open_low`` and ``open_high`` say that the end itself is already outside ("more than").
    """

    low: Fraction | None = None
    high: Fraction | None = None
    open_low: bool = False
    open_high: bool = False

    def margin(self, x: Fraction) -> Fraction:
        """Distance from ``x`` to the nearest end, > 0 inside, < 0 outside (same unit as ``x``).

        Raises ``ValueError`` when both ends are open.
        """
        gaps = []
        if self.low is not None:
            gaps.append(x - self.low)
        if self.high is not None:
            gaps.append(self.high - x)
        if not gaps:
            raise ValueError("a tolerance needs at least one end")
        return min(gaps)

    def conforms(self, x: Fraction) -> bool:
        """Whether ``x`` itself is allowed."""
        if self.low is not None and (x < self.low or (self.open_low and x == self.low)):
            return False
        return not (
            self.high is not None and (x > self.high or (self.open_high and x == self.high))
        )


def guard_band(uncertainty: Fraction, rule: str = DEFAULT_RULE) -> Fraction:
    """``w = r*U`` of a named rule, in the unit of ``uncertainty``; KeyError for an unknown rule."""
    return RULES[rule] * uncertainty


def conformity(x: Fraction, allowed: Tolerance, w: Fraction) -> State:
    """Pass, conditional pass, conditional fail or fail (ILAC-G8:09/2019, non-binary statement).

    Inside by ``w`` or more is *within*; inside by less is *marginal* (conditional pass); outside by
    no more than ``w`` is *undecided* (conditional fail); further out is *beyond*. The end of the
    tolerance itself passes, unless it is open.
    """
    margin = allowed.margin(x)
    if allowed.conforms(x):
        return State.WITHIN if margin >= w else State.MARGINAL
    return State.UNDECIDED if w > 0 and -margin <= w else State.BEYOND


def conformance_probability(x: float, u: float, allowed: Tolerance) -> float:
    """Probability that the measurand conforms, given reading ``x`` (JCGM 106:2012, 7.2 to 7.4).

    Normal distribution about ``x`` with standard uncertainty ``u`` (same unit); ``u = 0`` gives 0
    or 1.
    """
    if u <= 0:
        return 1.0 if allowed.conforms(Fraction(x)) else 0.0
    above = 1.0 if allowed.high is None else _NORMAL.cdf((float(allowed.high) - x) / u)
    below = 0.0 if allowed.low is None else _NORMAL.cdf((float(allowed.low) - x) / u)
    if allowed.high is None:  # the tail keeps its digits where 1 - cdf would lose them
        return _NORMAL.cdf((x - float(allowed.low or 0)) / u)
    return above - below
