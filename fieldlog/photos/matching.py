"""Marks against shutter times: the clock difference that pairs most of them (pure).

All pair differences at once would be n x m; instead both are counted into time bins and correlated
with an FFT, which gives the number of pairs at every difference in O(N log N). The best few are
then refined on the times themselves: one-to-one pairs, drift, and a count of pairs that chance
alone would give. Two differences are compared by the log-likelihood ratio of their pair counts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Times = NDArray[np.float64]

WINDOW_S = 15 * 3600.0
"""Differences searched: a wrong zone (up to 14 h) and a clock wrong by up to an hour."""
BURST_S = 2.0
"""Shots this close together count once: they answer one mark."""
TOLERANCES_S = (0.8, 2.0, 5.0, 10.0)
"""Half widths tried: from sub-second shutter times to "said, put the torch down, then shot"."""
MOST_DRIFT = 300e-6
"""Fastest drift looked for, 26 s a day: ten times an uncompensated quartz (common practice)."""
CLEAR = 7.0
"""Log-likelihood ratio (natural log, about 1000 : 1) below which a runner-up means: ask."""
DRIFT_GAIN = 8.0
"""A drift must explain the pairs by this much better (natural log) than none: it is one of about a
hundred looked at, and a free parameter more."""
_FEWEST_PAIRS = 3
_CLEAR_PAIRS = 4
_MOST_BINS = 1 << 22
_CANDIDATES = 40
_CONTROLS = 16
_REFINED = 8


@dataclass(frozen=True, slots=True)
class Match:
    """One clock difference and what supports it; times in seconds.

    ``offset_s`` is mark time minus shutter time at ``reference_s`` on the camera's clock; the
    difference grows by ``drift`` seconds per second.
    """

    offset_s: float
    drift: float
    reference_s: float
    pairs: int
    by_chance: float
    """Pairs expected when the difference is wrong, measured at other differences."""
    spread_s: float
    """Robust standard deviation of the pairs' residuals."""
    uncertainty_s: float
    """Expanded uncertainty (k = 2) of ``offset_s``."""
    score: float
    """Log-likelihood ratio of ``pairs`` against chance."""
    tolerance_s: float = 0.0
    """Half width within which a mark and a shot were taken for a pair."""


@dataclass(frozen=True, slots=True)
class MatchResult:
    """The best match, the next different one, and whether the best stands clear of it."""

    best: Match | None
    runner_up: Match | None
    clear: bool


def match_times(
    marks: Sequence[float],
    shots: Sequence[float],
    *,
    resolution_s: float = 1.0,
    centre_s: float = 0.0,
    window_s: float = WINDOW_S,
) -> MatchResult:
    """Find the difference mark - shot that explains most of both, within a window of it.

    ``marks`` and ``shots`` are seconds on their own clocks in any order. Shutter times are taken
    as cut to ``resolution_s`` (Exif seconds are), so half of it is added. Either may have extra and
    missing members. Cost: O((n + m) log (n + m)) plus an FFT over the time span in seconds.
    """
    m = np.unique(np.asarray(marks, dtype=np.float64))
    s = _without_bursts(np.sort(np.asarray(shots, dtype=np.float64) + resolution_s / 2))
    if len(m) and len(s):
        s = s[(s >= m[0] - centre_s - window_s) & (s <= m[-1] - centre_s + window_s)]
    if len(m) < _FEWEST_PAIRS or len(s) < _FEWEST_PAIRS:
        return MatchResult(None, None, False)
    rough: list[Match] = []
    chances: dict[float, Times] = {}
    for offset in _candidate_offsets(m, s, centre_s, window_s):
        chances[offset] = _chances(m, s + offset)
        rough += _all_tolerances(m, s, offset, chances[offset])
    rough.sort(key=lambda match: -match.score)
    found: list[Match] = []
    for guess in _distinct(rough, s)[:_REFINED]:
        for tolerance, chance in zip(TOLERANCES_S, chances[guess.offset_s], strict=True):
            found.append(_refined(m, s, guess.offset_s, tolerance, float(chance)))
    found = [f for f in found if f.pairs >= _FEWEST_PAIRS]
    if not found:
        return MatchResult(None, None, False)
    found.sort(key=lambda match: (-match.score, match.spread_s))
    best, *others = _distinct(found, s)
    runner_up = others[0] if others else None
    margin = best.score - (runner_up.score if runner_up else 0.0)
    looks = float(np.ptp(m) + np.ptp(s)) / (2 * best.tolerance_s) + 1
    clear = margin >= CLEAR and best.score >= CLEAR + math.log(looks) and best.pairs >= _CLEAR_PAIRS
    return MatchResult(best, runner_up, clear)


def _distinct(matches: Sequence[Match], shots: Times) -> list[Match]:
    """Those that mean another difference than every better one before them."""
    kept: list[Match] = []
    for match in matches:
        if all(_distance(match, k, shots) > _apart(match, k) for k in kept):
            kept.append(match)
    return kept


def _apart(a: Match, b: Match) -> float:
    return max(3.0, a.tolerance_s, b.tolerance_s, 4 * min(a.spread_s, b.spread_s))


def _without_bursts(times: Times) -> Times:
    if len(times) < 2:
        return times
    first = np.concatenate(([True], np.diff(times) > BURST_S))
    return times[first]


def _distance(a: Match, b: Match, shots: Times) -> float:
    """Smallest difference in seconds between two matches over the time of the shots."""
    first, last = (
        (a.offset_s - b.offset_s) + a.drift * (at - a.reference_s) - b.drift * (at - b.reference_s)
        for at in (float(shots[0]), float(shots[-1]))
    )
    return 0.0 if first * last < 0 else min(abs(first), abs(last))


def _candidate_offsets(m: Times, s: Times, centre_s: float, window_s: float) -> list[float]:
    """Differences at which unusually many pairs coincide, best first, over all tolerances."""
    low = max(centre_s - window_s, m[0] - s[-1]) - 2.0
    high = min(centre_s + window_s, m[-1] - s[0]) + 2.0
    span = (m[-1] - m[0]) + (s[-1] - s[0]) + 4.0
    step = max(1.0, span / _MOST_BINS)
    size = 1 << math.ceil(math.log2(span / step + 2))
    m_bins = np.bincount(((m - m[0]) / step).astype(np.int64), minlength=size)[:size]
    s_bins = np.bincount(((s - s[0]) / step).astype(np.int64), minlength=size)[:size]
    counts = np.fft.irfft(np.fft.rfft(m_bins) * np.conj(np.fft.rfft(s_bins)), size)
    base = m[0] - s[0]
    first = math.floor((low - base) / step)
    lags = np.arange(first, math.ceil((high - base) / step) + 1)
    pairs = np.maximum(np.rint(counts[lags % size]), 0.0)
    picked: list[tuple[float, float]] = []
    for tolerance in TOLERANCES_S:
        half = max(1, round(tolerance / step))
        near = _moving_sum(pairs, half)
        wide = _moving_sum(pairs, half + 60) - near
        expected = np.maximum(wide * (2 * half + 1) / 120.0, 0.05)
        excess = _ratio(near, expected)
        order = np.argsort(-excess, kind="stable")[: _CANDIDATES * (2 * half + 1) * 2]
        taken: list[int] = []
        for index in order:
            if len(taken) >= _CANDIDATES:
                break
            if all(abs(index - other) > half for other in taken):
                taken.append(int(index))
        picked += [(float(excess[i]), float(base + lags[i] * step)) for i in taken]
    picked.sort(reverse=True)
    # Large sessions stand out far above chance, and looking at each candidate costs more there.
    most = _CANDIDATES if len(m) + len(s) < 4000 else _CANDIDATES // 3
    offsets: list[float] = []
    for _score, offset in picked:
        if all(abs(offset - other) > 1.0 for other in offsets):
            offsets.append(offset)
        if len(offsets) >= most:
            break
    return offsets


def _moving_sum(values: Times, half: int) -> Times:
    """Sum over the 2 x half + 1 neighbours of each value; outside counts as nothing."""
    padded = np.concatenate((np.zeros(half + 1), values, np.zeros(half)))
    total = np.cumsum(padded)
    result: Times = total[2 * half + 1 :] - total[: -2 * half - 1]
    return result


def _ratio(found: Times, expected: Times) -> Times:
    """Poisson log-likelihood ratio of ``found`` against ``expected``; 0 when not more."""
    more = np.maximum(found, expected)
    result: Times = more * np.log(more / expected) - (more - expected)
    return result


def _mutual(m: Times, s: Times) -> tuple[NDArray[np.int64], NDArray[np.int64], Times]:
    """Indices (into m, into s) of mutual nearest neighbours, and their distance."""
    to_mark = _nearest(m, s)
    index = np.arange(len(s))
    keep = index[_nearest(s, m)[to_mark] == index]
    mi = to_mark[keep]
    return mi, keep, np.abs(m[mi] - s[keep])


def _pairs(m: Times, s: Times, tolerance: float) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Indices (into m, into s) of one-to-one pairs: mutual nearest neighbours within tolerance."""
    mi, si, gaps = _mutual(m, s)
    close = gaps <= tolerance
    return mi[close], si[close]


def _all_tolerances(m: Times, s: Times, offset: float, chances: Times) -> list[Match]:
    """The matches of a candidate as it is, one for each tolerance."""
    gaps = _mutual(m, s + offset)[2]
    counts = np.array([float(np.sum(gaps <= tolerance)) for tolerance in TOLERANCES_S])
    scores = _ratio(counts, chances)
    middle = float((s[0] + s[-1]) / 2)
    return [
        Match(offset, 0.0, middle, int(n), float(c), 0.0, 0.0, float(score), tolerance_s=tolerance)
        for n, c, score, tolerance in zip(counts, chances, scores, TOLERANCES_S, strict=True)
    ]


def _nearest(where: Times, of: Times) -> NDArray[np.int64]:
    """Index in sorted ``where`` of the value nearest to each of ``of`` (of any shape)."""
    right = np.minimum(np.maximum(np.searchsorted(where, of), 1), len(where) - 1)
    left = np.maximum(right - 1, 0)
    nearer = np.abs(where[left] - of) <= np.abs(where[right] - of)
    result: NDArray[np.int64] = np.where(nearer, left, right)
    return result


def _matched(
    m: Times, s: Times, offset: float, drift: float, tolerance: float, chance: float
) -> Match:
    """The match that an offset and a drift at the middle of the shots give as they are."""
    middle = float((s[0] + s[-1]) / 2)
    predicted = s + offset + drift * (s - middle)
    mi, si = _pairs(m, predicted, tolerance)
    pairs = len(mi)
    residuals = m[mi] - predicted[si]
    spread = float(1.4826 * np.median(np.abs(residuals - np.median(residuals)))) if pairs else 0.0
    spread = max(spread, float(np.std(residuals)) if 0 < pairs < 8 else 0.0, 0.01)
    score = float(_ratio(np.array([float(pairs)]), np.array([chance]))[0])
    uncertainty = 2 * math.sqrt((1.25 * spread) ** 2 / max(pairs, 1) + 0.05**2)
    return Match(
        offset, drift, middle, pairs, chance, spread, uncertainty, score, tolerance_s=tolerance
    )


def _refined(m: Times, s: Times, offset: float, tolerance: float, chance: float) -> Match:
    """Settle offset and drift on the one-to-one pairs around a candidate difference."""
    middle = float((s[0] + s[-1]) / 2)
    still = offset
    for _ in range(3):
        mi, si = _pairs(m, s + still, tolerance)
        if len(mi) >= _FEWEST_PAIRS:
            still = float(np.median(m[mi] - s[si]))
    plain = _matched(m, s, still, 0.0, tolerance, chance)
    offset, drift = _coarse_drift(m, s, offset, tolerance, middle)
    for _ in range(4):
        predicted = s + offset + drift * (s - middle)
        mi, si = _pairs(m, predicted, tolerance)
        if len(mi) < _FEWEST_PAIRS:
            break
        offset, drift = _line(s[si] - middle, m[mi] - s[si], drift)
    if drift == 0.0:
        return plain
    drifting = _matched(m, s, offset, drift, tolerance, chance)
    return drifting if drifting.score > plain.score + DRIFT_GAIN else plain


def _coarse_drift(
    m: Times, s: Times, offset: float, tolerance: float, middle: float
) -> tuple[float, float]:
    """(offset, drift) near a candidate that line up most pair differences.

    Only searched when the fastest drift would move the ends out of the tolerance; no drift is
    preferred unless another is clearly better.
    """
    reach = float(s[-1] - s[0]) / 2 * MOST_DRIFT
    if reach <= tolerance / 2:
        return offset, 0.0
    half = reach + tolerance
    first = np.searchsorted(m, s + offset - half)
    number = np.minimum(np.searchsorted(m, s + offset + half) - first, 40)
    shot = np.repeat(np.arange(len(s)), number)
    place = np.arange(len(shot)) - np.repeat(np.cumsum(number) - number, number)
    gap = m[np.repeat(first, number) + place] - s[shot] - offset
    at = s[shot] - middle
    step = tolerance / 2
    bins = math.ceil(2 * half / step) + 4
    steps = min(math.ceil(reach / step), 60)
    best, found_most, at_best = 0.0, -1.0, 0.0
    for k in sorted(range(-steps, steps + 1), key=abs):
        drift = MOST_DRIFT * k / steps
        index = ((gap - drift * at + half) / step).astype(np.int64) + 1
        counts = np.bincount(np.clip(index, 0, bins - 1), minlength=bins)[1:-1]
        near = counts[:-1] + counts[1:]
        found = float(near.max())
        if found > found_most * 1.1 + 2:
            best, found_most = drift, found
            at_best = (int(np.argmax(near)) + 1) * step - half
    return offset + at_best, best


def _line(x: Times, y: Times, drift: float) -> tuple[float, float]:
    """Robust offset and drift of y over x; drift stays 0 unless it is five standard errors off."""
    centre = float(np.median(y - drift * x))
    if len(x) < 8 or float(np.ptp(x)) < 600.0:
        return (centre, drift) if drift else (float(np.median(y)), 0.0)
    keep = np.ones(len(x), dtype=bool)
    slope, level = drift, centre
    for _ in range(3):
        xs, ys = x[keep], y[keep]
        if len(xs) < 8:
            break
        slope, level = np.polyfit(xs, ys, 1)
        residuals = y - level - slope * x
        sigma = 1.4826 * float(np.median(np.abs(residuals[keep]))) + 1e-3
        keep = np.abs(residuals) <= 3 * sigma
    xs = x[keep]
    sigma = float(np.std((y - level - slope * x)[keep])) + 1e-3
    error = sigma / (math.sqrt(len(xs)) * float(np.std(xs)) + 1e-9)
    if abs(slope) < 5 * error or abs(slope) > 1.2 * MOST_DRIFT:
        return float(np.median(y)), 0.0
    return float(level), float(slope)


def _chances(m: Times, predicted: Times) -> Times:
    """Mean number of pairs, per tolerance, at differences wrong by tens of seconds to minutes."""
    golden = (math.sqrt(5) - 1) / 2
    k = np.arange(1, _CONTROLS + 1)[:, None]
    shifts = (55.0 + 180.0 * ((k * golden) % 1.0)) * np.where(k % 2, 1, -1)
    # Mutual nearest neighbours as in ``_mutual``, at all the differences at once: one row for each.
    moved = predicted + shifts
    to_mark = _nearest(m, moved)
    to_shot = _nearest(predicted, m - shifts)
    mutual = np.take_along_axis(to_shot, to_mark, axis=1) == np.arange(len(predicted))
    gaps = np.abs(m[to_mark] - moved)[mutual]
    counts = np.array([np.sum(gaps <= tolerance) for tolerance in TOLERANCES_S])
    # Sixteen looks cannot measure what is rare: never below what evenly scattered times would give.
    even = len(m) * len(predicted) / max(float(np.ptp(m)), float(np.ptp(predicted)), 60.0)
    scattered = np.minimum(2 * np.array(TOLERANCES_S) * even, 0.5 * min(len(m), len(predicted)))
    result: Times = np.maximum(np.maximum(counts / _CONTROLS, scattered), 0.02)
    return result
