"""Wear trend: straight line, prediction interval and distance or date to a limit (pure).

Ordinary least squares of one wear characteristic against distance or days. Sums are exact
(``Fraction``), so nothing is lost on badly scaled data; only the square roots and the t quantile are
floats. Prediction interval of a new reading at x0 (NIST/SEMATECH e-Handbook 4.5.1.2):

    y(x0) +- t(1 - a/2, n-2) * s * sqrt(1 + 1/n + (x0 - mean)^2 / Sxx)

Where the limit is met is solved from the line and from both ends of that interval; the interval is
open when the slope does not differ from zero at the level asked for.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

LEVEL = 0.95
"""Share of new readings that a prediction interval is meant to hold."""

FEWEST = 3
"""Points below which no interval exists: two points leave no residual."""


class TooFewPoints(ValueError):
    """A trend was asked of fewer than three points, or of points that all lie at one place."""


@dataclass(frozen=True, slots=True)
class Point:
    """One reading: where (km, mi or days) and what (in the characteristic's unit)."""

    x: Fraction
    y: Fraction


@dataclass(frozen=True, slots=True)
class PredictionInterval:
    """A value with the ends of its interval, in the unit of y (or of x for a forecast)."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Line:
    """A fitted straight line and what is needed to say how far it can be trusted."""

    intercept: Fraction
    slope: Fraction
    residual_ss: Fraction
    """Sum of squared residuals (SSE)."""
    n: int
    x_mean: Fraction
    sxx: Fraction
    last_x: Fraction

    @property
    def df(self) -> int:
        """Degrees of freedom, n - 2."""
        return self.n - 2

    @property
    def residual_sd(self) -> float:
        """s = sqrt(SSE / (n - 2)), unit of y."""
        return math.sqrt(self.residual_ss / self.df)

    def at(self, x: Fraction) -> Fraction:
        """Height of the line at ``x``."""
        return self.intercept + self.slope * x

    def prediction(self, x: Fraction, level: float = LEVEL) -> PredictionInterval:
        """Where one new reading at ``x`` will lie."""
        spread = 1 + Fraction(1, self.n) + (x - self.x_mean) ** 2 / self.sxx
        half = t_quantile(level, self.df) * self.residual_sd * math.sqrt(spread)
        value = float(self.at(x))
        return PredictionInterval(value, value - half, value + half)


def fit(points: Sequence[Point]) -> Line:
    """Least-squares line through ``points``. Raises ``TooFewPoints`` (see there)."""
    n = len(points)
    if n < FEWEST:
        raise TooFewPoints(f"a trend needs at least {FEWEST} readings, there are {n}")
    x_mean = sum((p.x for p in points), Fraction(0)) / n
    y_mean = sum((p.y for p in points), Fraction(0)) / n
    sxx = sum(((p.x - x_mean) ** 2 for p in points), Fraction(0))
    if sxx == 0:
        raise TooFewPoints("all readings were taken at the same distance or date")
    sxy = sum(((p.x - x_mean) * (p.y - y_mean) for p in points), Fraction(0))
    syy = sum(((p.y - y_mean) ** 2 for p in points), Fraction(0))
    slope = sxy / sxx
    return Line(
        intercept=y_mean - slope * x_mean,
        slope=slope,
        residual_ss=syy - slope * sxy,
        n=n,
        x_mean=x_mean,
        sxx=sxx,
        last_x=max(p.x for p in points),
    )


@dataclass(frozen=True, slots=True)
class Forecast:
    """Where a limit is met: expected, earliest and latest x; None means no end can be given."""

    expected: float | None
    earliest: float | None
    latest: float | None
    passed: bool
    """The line is already at or past the limit at the last reading."""
    reason: str = ""


def to_limit(line: Line, limit: Fraction, falling: bool, level: float = LEVEL) -> Forecast:
    """Forecast of the x at which readings that fall (or rise) with wear reach ``limit``.

    ``falling`` is true for tread and pads, false for chain elongation. No forecast is made from a
    line that runs the other way.
    """
    wears_away = line.slope < 0 if falling else line.slope > 0
    gap = line.at(line.last_x) - limit
    passed = gap <= 0 if falling else gap >= 0
    if not wears_away:
        return Forecast(None, None, None, passed, "readings do not move towards the limit")
    expected = float((limit - line.intercept) / line.slope)
    ends = _crossings(line, limit, level)
    if ends is None:
        return Forecast(expected, None, None, passed, "slope not distinguishable from none")
    return Forecast(expected, ends[0], ends[1], passed)


def _crossings(line: Line, limit: Fraction, level: float) -> tuple[float, float] | None:
    """Both x at which an end of the prediction interval meets ``limit``; None when it never does.

    With u = x - mean, the ends obey (m + b u - L)^2 = k^2 (1 + 1/n + u^2/Sxx), k = t s: a quadratic.
    """
    k2 = (t_quantile(level, line.df) * line.residual_sd) ** 2
    slope = float(line.slope)
    offset = float(line.at(line.x_mean) - limit)
    a = slope**2 - k2 / float(line.sxx)
    if a <= 0:
        return None
    b = 2 * slope * offset
    c = offset**2 - k2 * (1 + 1 / line.n)
    root = math.sqrt(max(0.0, b * b - 4 * a * c))
    mean = float(line.x_mean)
    low, high = sorted(((-b - root) / (2 * a), (-b + root) / (2 * a)))
    return mean + low, mean + high


def split_at_replacements(
    points: Sequence[Point], falling: bool, noise: Fraction
) -> list[list[Point]]:
    """Cut a history where the part was replaced: wear that goes back by more than ``noise``.

    ``points`` in order of x; ``noise`` is the expanded uncertainty of a difference of two readings,
    same unit as y: smaller steps the wrong way are measurement scatter, not a new part.
    """
    series: list[list[Point]] = []
    for point in points:
        if series:
            step = point.y - series[-1][-1].y
            if (step if falling else -step) <= noise:
                series[-1].append(point)
                continue
        series.append([point])
    return series


def t_quantile(level: float, df: int) -> float:
    """Two-sided Student t quantile: t(1 - (1 - level) / 2, df); ``0 < level < 1``, ``df >= 1``.

    The share of the distribution within +-t is a finite sum for whole degrees of freedom, rising in
    theta = atan(t / sqrt(df)); it is solved for theta by halving down to neighbouring floats.
    Raises ``ValueError`` outside these ranges.
    """
    if not 0 < level < 1 or df < 1:
        raise ValueError(f"no t quantile for a level of {level} and {df} degrees of freedom")
    low, high = 0.0, math.pi / 2
    while low < (theta := (low + high) / 2) < high:
        low, high = (theta, high) if _share_within(theta, df) < level else (low, theta)
    return math.sqrt(df) * math.tan(low)


def _share_within(theta: float, df: int) -> float:
    """Probability of |T| <= sqrt(df) tan(theta): Abramowitz and Stegun 26.7.3 (odd) and 26.7.4."""
    sine, cosine = math.sin(theta), math.cos(theta)
    odd = df % 2
    term = cosine if odd else 1.0
    terms = [term] if df > 1 else []
    for k in range(2 + odd, df - 1, 2):
        term *= (k - 1) / k * cosine**2
        terms.append(term)
    total = sine * math.fsum(terms)
    return 2 / math.pi * (theta + total) if odd else total
