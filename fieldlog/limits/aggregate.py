"""How several readings of one characteristic become the value that a limit speaks about (pure).

========================  =========================================================================
``single``                one reading; of several, the worst
``thinnest``              the thinnest point (for a lower limit; the same as the worst)
``any`` / ``each``        no reading may fail: the worst decides
``k of n``                at least k of n readings must pass: the k-th best decides (``3 of 4``)
``indicator total``       max - min of dial readings; a single reading is the total itself
``spread``                max - min; needs two readings or more
``pair difference``       difference of exactly two readings
``average``               arithmetic mean
``adjacent grooves``      the two thinnest of a tread: the better one decides (one alone: see below)
``magnitude``             distance from zero, whatever the sign; of several, the largest
========================  =========================================================================
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import assert_never

from fieldlog.derived.wheel import total_indicator_reading
from fieldlog.model.limit import Aggregation, KOfN


@dataclass(frozen=True, slots=True)
class Reduced:
    """The values that have to be judged (worst of them decides), or why nothing can be."""

    values: tuple[Fraction, ...] = ()
    how: str = ""
    lacking: str = ""
    """What is missing before this rule can be applied at all."""
    open_points: str = ""
    """Said when the points that were not read could still change the outcome."""
    hope: Fraction | None = None
    """The value that decides if every point not read is good; None: they could outvote anything."""
    sure: bool = True
    """False when passing readings alone cannot settle it, because too few points were read."""


def reduce(
    readings: Sequence[Fraction], rule: Aggregation | KOfN, *, low: bool, high: bool
) -> Reduced:
    """Apply ``rule`` to ``readings`` (all in the limit's unit).

    ``low``/``high`` say which ends the limit has: the worst reading for a lower limit is the
    smallest, for an upper limit the largest, for both ends both are kept. Raises ``ValueError``
    for no readings.
    """
    if not readings:
        raise ValueError("no readings to aggregate")
    smallest, largest = min(readings), max(readings)
    count = len(readings)
    match rule:
        case KOfN(k, n):
            return _k_of_n(sorted(readings, reverse=low), k, n)
        case Aggregation.INDICATOR_TOTAL:
            if count == 1:
                return Reduced((smallest,), "the indicator total as read")
            total = total_indicator_reading(readings)
            return Reduced((total,), f"indicator total, max - min of {count} readings")
        case Aggregation.SPREAD:
            if count < 2:
                return Reduced(lacking="needs two readings or more")
            return Reduced((largest - smallest,), f"max - min of {count} readings")
        case Aggregation.PAIR_DIFFERENCE:
            if count != 2:
                return Reduced(lacking="needs exactly two readings")
            return Reduced((largest - smallest,), "difference of the two readings")
        case Aggregation.AVERAGE:
            how = f"mean of {count} readings" if count > 1 else ""
            return Reduced((sum(readings, Fraction(0)) / count,), how)
        case Aggregation.ADJACENT:
            return _adjacent(sorted(readings))
        case Aggregation.MAGNITUDE:
            return Reduced((max(abs(smallest), abs(largest)),), "distance from zero")
        case Aggregation.SINGLE | Aggregation.THINNEST | Aggregation.ANY | Aggregation.EACH:
            ends = ((smallest,) if low else ()) + ((largest,) if high else ())
            how = "" if count == 1 else f"worst of {count} readings"
            return Reduced(tuple(dict.fromkeys(ends)), how)
    assert_never(rule)


def _k_of_n(best_first: Sequence[Fraction], k: int, n: int) -> Reduced:
    """The k-th best of n; with fewer read, what can be said already.

    The points not read may all be good: then rank ``k - unread`` among those read decides, and only
    if that one fails is the limit surely missed. One reading alone is taken as the worst point, as
    mechanics report it: when it passes, all do.
    """
    count = len(best_first)
    if count >= n:
        return Reduced((best_first[k - 1],), f"{k} of {n} points must pass: the {_th(k)} best")
    at_best = k - (n - count) - 1
    hope = best_first[at_best] if at_best >= 0 else None
    more = f"{k} of {n} points must pass and {count} {'was' if count == 1 else 'were'} read"
    if count == 1:
        return Reduced((best_first[0],), "one reading, taken as the worst point", "", more, hope)
    if k <= count:
        how = f"{k} of {n} points must pass: the {_th(k)} best of {count} read"
        return Reduced((best_first[k - 1],), how, "", more, hope)
    if hope is None:
        return Reduced(lacking=more)
    return Reduced((best_first[-1],), more, "", more, hope, sure=False)


def _adjacent(thinnest_first: Sequence[Fraction]) -> Reduced:
    """Two adjacent grooves where the tread is thinnest: it fails where both are below.

    One reading alone is taken as the thinnest groove: when it passes, so does the other.
    """
    if len(thinnest_first) == 1:
        more = "the groove beside the thinnest one was not read, and one of the two is enough"
        return Reduced((thinnest_first[0],), "one groove, taken as the thinnest", "", more)
    how = f"the two thinnest of {len(thinnest_first)} grooves: one of them is enough"
    return Reduced((thinnest_first[1],), how)


def _th(k: int) -> str:
    return f"{k}{ {1: 'st', 2: 'nd', 3: 'rd'}.get(k if k < 20 else k % 10, 'th') }"
