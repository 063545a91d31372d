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
class Interval:
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
    regression_ss: Fraction
    """Sum of squares of the regression about the mean (SSR)."""
    n: int
    x_mean: Fraction
    sxx: Fraction
    first_x: Fraction
    last_x: Fraction

    @property
    def df(self) -> int:
        """Degrees of freedom, n - 2."""
        return self.n - 2

    @property
    def residual_sd(self) -> float:
        """s = sqrt(SSE / (n - 2)), unit of y."""
        return math.sqrt(self.residual_ss / self.df)

    @property
    def slope_sd(self) -> float:
        """Standard deviation of the slope."""
        return self.residual_sd / math.sqrt(self.sxx)

    @property
    def intercept_sd(self) -> float:
        """Standard deviation of the intercept."""
        return self.residual_sd * math.sqrt(Fraction(1, self.n) + self.x_mean**2 / self.sxx)

    @property
    def r_squared(self) -> float:
        """Share of the variation that the line explains."""
        total = self.regression_ss + self.residual_ss
        return float(self.regression_ss / total) if total else 1.0

    def at(self, x: Fraction) -> Fraction:
        """Height of the line at ``x``."""
        return self.intercept + self.slope * x

    def extrapolates(self, x: Fraction) -> bool:
        """Whether ``x`` lies outside the readings: the line is only a guess there."""
        return not self.first_x <= x <= self.last_x

    def mean_interval(self, x: Fraction, level: float = LEVEL) -> Interval:
        """Where the line itself lies at ``x`` (confidence interval of the mean)."""
        return self._interval(x, level, Fraction(0))

    def prediction(self, x: Fraction, level: float = LEVEL) -> Interval:
        """Where one new reading at ``x`` will lie."""
        return self._interval(x, level, Fraction(1))

    def _interval(self, x: Fraction, level: float, own: Fraction) -> Interval:
        spread = own + Fraction(1, self.n) + (x - self.x_mean) ** 2 / self.sxx
        half = t_quantile(level, self.df) * self.residual_sd * math.sqrt(spread)
        value = float(self.at(x))
        return Interval(value, value - half, value + half)


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
    regression_ss = slope * sxy
    xs = [p.x for p in points]
    return Line(
        intercept=y_mean - slope * x_mean,
        slope=slope,
        residual_ss=syy - regression_ss,
        regression_ss=regression_ss,
        n=n,
        x_mean=x_mean,
        sxx=sxx,
        first_x=min(xs),
        last_x=max(xs),
    )


def slope_through_origin(points: Sequence[Point]) -> tuple[Fraction, float, Fraction]:
    """Slope, its standard deviation and SSE of the line forced through (0, 0).

    For wear counted from a new part. Raises ``TooFewPoints`` for fewer than two usable points.
    """
    sxx = sum((p.x**2 for p in points), Fraction(0))
    if len(points) < 2 or sxx == 0:
        raise TooFewPoints("a line through the origin needs two readings away from it")
    slope = sum((p.x * p.y for p in points), Fraction(0)) / sxx
    residual_ss = sum(((p.y - slope * p.x) ** 2 for p in points), Fraction(0))
    return slope, math.sqrt(residual_ss / (len(points) - 1) / sxx), residual_ss


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
    """Two-sided Student t quantile: t(1 - (1 - level) / 2, df)."""
    from scipy.special import stdtrit  # loads a third of a second long; most commands need it never

    return float(stdtrit(df, 1 - (1 - level) / 2))
