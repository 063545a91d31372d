"""Global consumer's and producer's risk, and the guard band for a wanted risk (pure).

JCGM 106:2012, clause 9.5: what is measured has a prior distribution (the process), a reading adds
a normal error with standard uncertainty ``u``; an item is accepted when its reading lies in the
acceptance interval. Integrals by composite Gauss-Legendre quadrature over the prior.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from statistics import NormalDist

_NORMAL = NormalDist()
_NODES = (
    (0.1488743389816312, 0.2955242247147529),
    (0.4333953941292472, 0.2692667193099963),
    (0.6794095682990244, 0.2190863625159820),
    (0.8650633666889845, 0.1494513491505806),
    (0.9739065285171717, 0.0666713443086881),
)
"""Ten-point Gauss-Legendre rule, positive half (Abramowitz and Stegun, table 25.4)."""


@dataclass(frozen=True, slots=True)
class Interval:
    """``low <= x <= high``; an end may be infinite."""

    low: float = -math.inf
    high: float = math.inf


@dataclass(frozen=True, slots=True)
class Prior:
    """What is known before measuring: a density and the interval that holds all of it."""

    density: Callable[[float], float]
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Risks:
    """Probabilities over the whole process, 0..1.

    ``consumer``: nonconforming and accepted; ``producer``: conforming and rejected;
    ``nonconforming``: outside the tolerance, whatever was read.
    """

    consumer: float
    producer: float
    nonconforming: float


def normal_prior(mean: float, sigma: float) -> Prior:
    """Normal process, cut at nine standard deviations (neglected: about 1e-19)."""
    shape = NormalDist(mean, sigma)
    return Prior(shape.pdf, mean - 9 * sigma, mean + 9 * sigma)


def gamma_prior(alpha: float, rate: float) -> Prior:
    """Gamma process with density ``rate**alpha x**(alpha-1) exp(-rate x) / Gamma(alpha)``."""
    scale = alpha * math.log(rate) - math.lgamma(alpha)

    def density(x: float) -> float:
        return math.exp(scale + (alpha - 1) * math.log(x) - rate * x) if x > 0 else 0.0

    mean, spread = alpha / rate, math.sqrt(alpha) / rate
    return Prior(density, 0.0, mean + 40 * spread)


def global_risks(prior: Prior, u: float, tolerance: Interval, acceptance: Interval) -> Risks:
    """Consumer's and producer's risk of accepting readings in ``acceptance``.

    All values in one unit; ``u > 0`` is the standard uncertainty of a reading.
    """

    def accepted(x: float) -> float:
        return _NORMAL.cdf((acceptance.high - x) / u) - _NORMAL.cdf((acceptance.low - x) / u)

    def over(low: float, high: float, f: Callable[[float], float]) -> float:
        low, high = max(low, prior.low), min(high, prior.high)
        return _integrate(f, low, high, u) if low < high else 0.0

    def bad(x: float) -> float:
        return prior.density(x) * accepted(x)

    def good(x: float) -> float:
        return prior.density(x) * (1 - accepted(x))

    outside = ((-math.inf, tolerance.low), (tolerance.high, math.inf))
    return Risks(
        consumer=sum(over(low, high, bad) for low, high in outside),
        producer=over(tolerance.low, tolerance.high, good),
        nonconforming=sum(over(low, high, prior.density) for low, high in outside),
    )


def guard_for_risk(prior: Prior, u: float, tolerance: Interval, wanted: float) -> float:
    """Guard band ``w`` (inward from every finite end) that brings the consumer's risk to ``wanted``.

    Raises ``ValueError`` when no guard band up to 20 u can do it.
    """

    def risk(w: float) -> float:
        inner = Interval(tolerance.low + w, tolerance.high - w)
        return global_risks(prior, u, tolerance, inner).consumer

    low, high = -20 * u, 20 * u
    if risk(high) > wanted or risk(low) < wanted:
        raise ValueError(f"no guard band within 20 u gives a consumer's risk of {wanted}")
    for _ in range(80):
        middle = (low + high) / 2
        if risk(middle) > wanted:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _integrate(f: Callable[[float], float], low: float, high: float, u: float) -> float:
    """Panels no wider than u/2 or a four-hundredth of the range, ten points each."""
    count = max(8, min(2000, math.ceil(max((high - low) / (u / 2), 60))))
    width = (high - low) / count
    total = 0.0
    for panel in range(count):
        centre = low + (panel + 0.5) * width
        for node, weight in _NODES:
            shift = node * width / 2
            total += weight * (f(centre - shift) + f(centre + shift))
    return total * width / 2
