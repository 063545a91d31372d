"""What one camera's clock may be: the session's utterances against its shutter times (pure).

Shots follow what they show: first it is said, then photographed, mostly within seconds. That gives
the session a density, how likely a shutter is at each instant, and every difference between the
clocks a likelihood, the product of that density at all shots moved by it. All differences are
looked at at once (a correlation by FFT), weighed with how clocks are usually off, and those kept
that together hold nearly all of the probability: the *guesses*.

How long somebody takes from word to shutter nobody measured, so that a few habits are tried and
count alike. It cannot be told from the clock's error where only words and shots are known: the
guesses hold both, and say so by their width.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Times = NDArray[np.float64]

WINDOW_S = 15 * 3600.0
"""Differences looked at: a wrong zone (up to 14 h) and a clock wrong by up to an hour."""
GROUP_S = 5.0
"""Shots that follow another within this time are of the same thing and count with it."""
HABITS_S: tuple[tuple[float, ...], ...] = (
    *((soon,) for soon in (1.0, 2.0, 4.0, 8.0)),
    *((soon, late) for soon in (1.0, 2.0) for late in (5.0, 8.0, 11.0)),
)
"""Median times from word to shutter that are tried: one, or two in turn (common practice)."""
MOST_DRIFT = 300e-6
"""Fastest drift looked for, 26 s a day: ten times an uncompensated quartz (common practice)."""
DRIFT_GAIN = 8.0
"""A drift must explain the shots by this much better (natural log) than none."""
CLEAR = 0.0
"""By how much (natural log) the session must explain the shots better than chance does. Photos put
into an inspection are of it in 98 of 100 cases (common practice), and of those that are not, 2 in
100 get so far."""
TEMPER = 0.85
"""What the shots say counts this much, since they are not quite independent of each other."""
HELD = 0.999
"""Share of the probability that the guesses hold together."""
UNALIGNED_S = 10.0
"""Uncertainty taken for a camera that was never aligned (common practice: set by hand or network)."""
FEWEST_GROUPS = 3

_STEP_S = 0.25
_MOST_STEPS = 1 << 18
_BACKGROUND = 0.05
"""Share of shots that follow nothing that was said."""
_EARLY_S = 0.7
"""A shutter may come this long before the last word has ended: the end of speech is cut late."""
_AS_IT_IS_S = 5.0
_LONG_S = 60.0
_BEFORE_S = 5.0
_SOON, _LATE, _LATE_S, _LONG, _DURING, _BEFORE = 0.66, 0.25, 8.0, 0.05, 0.03, 0.01
"""Shares of the shots of one utterance: at the habit's time, later (exponential, mean ``_LATE_S``),
at any time within ``_LONG_S``, while it is said, and within ``_BEFORE_S`` before (shot first, then
said): common practice."""
_SPEAKING = 0.15
"""Of those, this share is left while something else is said: who speaks has shot before."""
_WIDTHS = (0.3, 0.8)
"""Standard deviations of the logarithm of a habit's times, both counting alike."""
_MARKED = 0.05
"""A finding with its own mark is photographed this often before it is marked."""
_FINDING = 0.4
"""A finding is photographed this often for each mark that is."""
_JOINED_S = 1.5
_LEAST = 1e-5


@dataclass(frozen=True, slots=True)
class Guess:
    """One difference (session minus camera clock, seconds) and its share of the probability."""

    offset_s: float
    probability: float
    reading: int = 0
    """Which reading of the recorded times it is for: there are two in a repeated hour."""


@dataclass(frozen=True, slots=True)
class ClockGuess:
    """Guesses that follow each other closely: to people they are one, with its uncertainty."""

    offset_s: float
    """Their mean, weighed by their probability."""
    half_s: float
    """Half width that holds all of them."""
    probability: float
    reading: int
    members: tuple[int, ...]
    """Their places among the guesses."""


@dataclass(frozen=True, slots=True)
class Guesses:
    """The surviving guesses in order of their difference, and what they rest on.

    At camera time t (seconds) a guess means offset + ``drift`` x (t - ``reference_s``).
    """

    found: tuple[Guess, ...]
    groups: int = 0
    """Groups of shots that were looked at."""
    evidence: float = 0.0
    """How much better (natural log) the session explains the shots than chance does."""
    as_it_is: float = 0.0
    """How well (natural log, against chance) the clock as it is explains the shots."""
    best: float = 0.0
    """How well the best difference does."""
    drift: float = 0.0
    reference_s: float = 0.0

    @property
    def supported(self) -> bool:
        """True when the shots belong to the session clearly and not by chance."""
        return self.groups >= FEWEST_GROUPS and self.evidence >= CLEAR


def guess_offsets(
    said: Sequence[tuple[float, float]],
    marks: Sequence[float],
    shots: Sequence[float],
    *,
    resolution_s: float = 1.0,
) -> Guesses:
    """The differences that explain ``shots`` (camera clock) by what was said (session clock).

    ``said`` are findings' starts and ends, ``marks`` the words "photo"; all in seconds, in any
    order. Shutter times are taken as cut to ``resolution_s``. Cost: O((n + m) log (n + m)) and an
    FFT over the time span in steps of a quarter of a second for each habit.
    """
    spoken = sorted((*said, *((m, m) for m in marks)))
    times = np.sort(np.asarray(shots, dtype=np.float64) + resolution_s / 2)
    if not spoken or not len(times):
        return Guesses(())
    first, last = spoken[0][0], max(end for _start, end in spoken)
    times = times[(times >= first - WINDOW_S) & (times <= last + WINDOW_S + _LONG_S)]
    heads = times[np.concatenate(([True], np.diff(times) > GROUP_S))] if len(times) else times
    if not len(heads):
        return Guesses(())
    session = _Density(said, marks, first, last, float(np.ptp(heads)))
    reference = float((heads[0] + heads[-1]) / 2)
    offsets, scores = session.all_offsets(heads)
    habit, top = np.unravel_index(int(np.argmax(scores)), scores.shape)
    drift = session.drift(heads, reference, float(offsets[top]), int(habit))
    if drift:
        heads = heads + drift * (heads - reference)
        offsets, scores = session.all_offsets(heads)
    explained = _together(scores)
    near = np.abs(offsets) <= UNALIGNED_S
    as_it_is = float(explained[near].max()) if near.any() else len(heads) * math.log(_BACKGROUND)
    logs = explained + np.log(_usual(offsets) * session.step)
    evidence = float(logs.max() + np.log(np.exp(logs - logs.max()).sum()))
    found = _held(offsets, TEMPER * explained + np.log(_usual(offsets)))
    return Guesses(found, len(heads), evidence, as_it_is, float(explained.max()), drift, reference)


def weighed(readings: Sequence[Guesses]) -> Guesses:
    """The guesses of several readings of the same times as one: each counts by what it explains."""
    best = max(readings, key=lambda one: one.evidence)
    shares = [math.exp(one.evidence - best.evidence) for one in readings]
    found = [
        replace(guess, probability=guess.probability * share / sum(shares), reading=number)
        for number, (one, share) in enumerate(zip(readings, shares, strict=True))
        for guess in one.found
    ]
    return replace(best, found=tuple(guess for guess in found if guess.probability > _LEAST))


def stretches(guesses: Sequence[Guess]) -> tuple[ClockGuess, ...]:
    """The guesses as people see them, the most probable first."""
    groups: list[list[int]] = []
    for number, guess in enumerate(guesses):
        last = guesses[groups[-1][-1]] if groups else None
        if (
            last is not None
            and last.reading == guess.reading
            and guess.offset_s - last.offset_s <= _JOINED_S
        ):
            groups[-1].append(number)
        else:
            groups.append([number])
    found = []
    for members in groups:
        mass = sum(guesses[n].probability for n in members)
        mean = sum(guesses[n].probability * guesses[n].offset_s for n in members) / mass
        low, high = guesses[members[0]], guesses[members[-1]]
        half = max(high.offset_s - mean, mean - low.offset_s) + _STEP_S / 2
        found.append(ClockGuess(mean, half, mass, low.reading, tuple(members)))
    return tuple(sorted(found, key=lambda one: -one.probability))


def _together(scores: Times) -> Times:
    """Habits count alike: the log of the mean likelihood over them (rows)."""
    top = scores.max(axis=0)
    result: Times = top + np.log(np.mean(np.exp(scores - top), axis=0))
    return result


def _usual(offsets: Times) -> Times:
    """How often clocks are off by that much, per second (common practice, not measured).

    Six in ten are right to seconds (set by a network), one in ten is right but for the zone, and
    the rest are off by anything, small errors more often than large ones.
    """
    right = 0.6 / (2 * _AS_IT_IS_S) * np.exp(-np.abs(offsets) / _AS_IT_IS_S)
    hours = np.rint(offsets / 1800) * 1800
    zone = 0.1 / 58 / 40 * np.exp(-np.abs(offsets - hours) / 20) * (hours != 0)
    far = np.maximum(np.abs(offsets), 10.0)
    result: Times = right + zone + 0.3 / (2 * far * (1 + math.log(WINDOW_S / 10.0)))
    return result


def _held(offsets: Times, logs: Times) -> tuple[Guess, ...]:
    """The fewest differences that together hold ``HELD`` of the probability."""
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    order = np.argsort(-weights, kind="stable")
    kept = np.sort(order[: int(np.searchsorted(np.cumsum(weights[order]), HELD)) + 1])
    whole = float(weights[kept].sum())
    return tuple(Guess(float(offsets[n]), float(weights[n]) / whole) for n in kept)


class _Density:
    """The log density of shutters over the session, against evenly scattered ones, by habit.

    Most shots follow an utterance at the habit's time, the rest later, while it is said or before.
    """

    def __init__(
        self,
        said: Sequence[tuple[float, float]],
        marks: Sequence[float],
        first: float,
        last: float,
        shots_span: float,
    ) -> None:
        span = last - first + 10.0 + 2 * _LONG_S
        self.step = max(_STEP_S, (span + shots_span) / _MOST_STEPS)
        self.begin = first - 10.0
        self._length = math.ceil(span / self.step)
        scattered = 1.0 / max(span, shots_span, 60.0)
        weights = np.array([_FINDING] * len(said) + [1.0] * len(marks))
        if len(said) and len(marks):  # what is shot for a marked finding comes after its mark
            order = np.argsort([start for start, _end in said])
            at = np.searchsorted(np.array([start for start, _end in said])[order], marks, "right")
            weights[order[at[at > 0] - 1]] = _MARKED
        weights /= weights.sum()
        starts = np.array([start for start, _end in said] + list(marks))
        ends = np.array([end for _start, end in said] + list(marks))
        steady = self._steady(starts - _BEFORE_S, starts, _BEFORE * weights)
        steady += self._steady(starts, np.maximum(ends, starts + 0.5), _DURING * weights)
        steady += self._steady(ends, ends + _LONG_S, _LONG * weights)
        words = self._counted(ends - _EARLY_S, _SOON * weights)
        late = self._convolved(
            self._counted(ends, _LATE * weights), np.exp(-self._since() / _LATE_S) / _LATE_S
        )
        speaking = self._steady(starts, np.maximum(ends, starts + self.step), np.ones(len(starts)))
        silent = np.where(speaking > 1e-6, _SPEAKING, 1.0)
        rows = np.array([steady + silent * (late + self._after(words, h)) for h in HABITS_S])
        rows = np.maximum(rows, 0.0)
        rows /= rows.sum(axis=1, keepdims=True) * self.step
        dense = (1 - _BACKGROUND) * rows + _BACKGROUND * scattered
        self._outside = math.log(_BACKGROUND)
        self.logs: Times = np.log(dense / scattered)

    def _place(self, at: Times) -> NDArray[np.int64]:
        index = np.rint((at - self.begin) / self.step).astype(np.int64)
        return np.clip(index, 0, self._length - 1)

    def _counted(self, at: Times, weights: Times) -> Times:
        return np.bincount(self._place(at), weights, self._length).astype(np.float64)

    def _steady(self, low: Times, high: Times, weights: Times) -> Times:
        """The density that spreads each weight evenly from ``low`` to ``high``."""
        height = weights / (high - low)
        result: Times = np.cumsum(self._counted(low, height) - self._counted(high, height))
        return result

    def _after(self, impulses: Times, habit: tuple[float, ...]) -> Times:
        """Log-normal densities after each impulse, which is ``_EARLY_S`` before its word ends."""
        if not impulses.any():
            return np.zeros(self._length)
        since = self._since()
        usual = np.zeros(len(since))
        for median in habit:
            for width in _WIDTHS:
                apart = np.log(since / (median + _EARLY_S)) / width
                usual += np.exp(-(apart**2) / 2) / (since * width * math.sqrt(2 * math.pi))
        return self._convolved(impulses, usual / (len(habit) * len(_WIDTHS)))

    def _since(self) -> Times:
        steps = np.arange(round(2 * _LONG_S / self.step), dtype=np.float64)
        return (steps + 0.5) * self.step

    def _convolved(self, impulses: Times, shape: Times) -> Times:
        size = 1 << math.ceil(math.log2(self._length + len(shape)))
        both = np.fft.rfft(impulses, size) * np.fft.rfft(shape, size)
        return np.fft.irfft(both, size)[: self._length].astype(np.float64)

    def all_offsets(self, shots: Times) -> tuple[Times, Times]:
        """Every difference at which a shot meets the session, and its log-likelihood by habit."""
        origin = float(shots[0])
        index = np.rint((shots - origin) / self.step).astype(np.int64)
        reach = int(index[-1])
        size = 1 << math.ceil(math.log2(self._length + reach + 1))
        counts = np.bincount(index, minlength=size).astype(np.float64)
        shifted = np.fft.rfft(self.logs - self._outside, size)
        found = np.fft.irfft(shifted * np.conj(np.fft.rfft(counts)), size)
        lags = np.arange(-reach, self._length)
        scores = found[:, lags % size] + len(shots) * self._outside
        offsets = self.begin - origin + lags * self.step
        inside = np.abs(offsets) <= WINDOW_S
        return offsets[inside], scores[:, inside]

    def drift(self, shots: Times, reference: float, offset: float, habit: int) -> float:
        """The drift that explains the shots clearly better than none, near a difference; or 0."""
        reach = float(np.ptp(shots)) / 2 * MOST_DRIFT
        if len(shots) < 8 or reach < 1.0:
            return 0.0
        near = offset - self.begin + np.arange(-reach - 4.0, reach + 4.0, self.step)
        steps = min(math.ceil(reach / 0.5), 60)
        drifts = np.linspace(-MOST_DRIFT, MOST_DRIFT, 2 * steps + 1)
        best = np.empty(len(drifts))
        for number, drift in enumerate(drifts):
            moved = shots + drift * (shots - reference)
            place = np.rint((moved[None, :] + near[:, None]) / self.step).astype(np.int64)
            inside = (place >= 0) & (place < self._length)
            logs = self.logs[habit, np.where(inside, place, 0)]
            best[number] = np.where(inside, logs, self._outside).sum(axis=1).max()
        top = int(np.argmax(best))
        return float(drifts[top]) if best[top] > best[steps] + DRIFT_GAIN else 0.0
