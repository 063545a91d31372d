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
``magnitude``             distance from zero, whatever the sign; of several, the largest
========================  =========================================================================
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from fieldlog.derived.wheel import total_indicator_reading

PLAIN = ("single", "thinnest", "any", "each")
NAMES = (*PLAIN, "indicator total", "spread", "pair difference", "average", "magnitude")
_K_OF_N = re.compile(r"([1-9]\d?) of ([1-9]\d?)")


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


def is_aggregation(name: str) -> bool:
    """Whether ``name`` is one of the rules above."""
    match = _K_OF_N.fullmatch(name)
    return name in NAMES or (match is not None and int(match[1]) <= int(match[2]))


def reduce(readings: Sequence[Fraction], aggregation: str, *, low: bool, high: bool) -> Reduced:
    """Apply ``aggregation`` to ``readings`` (all in the limit's unit).

    ``low``/``high`` say which ends the limit has: the worst reading for a lower limit is the
    smallest, for an upper limit the largest, for both ends both are kept. Raises ``ValueError``
    for an unknown rule or no readings.
    """
    if not readings:
        raise ValueError("no readings to aggregate")
    smallest, largest = min(readings), max(readings)
    count = len(readings)
    match = _K_OF_N.fullmatch(aggregation)
    if match is not None:
        return _k_of_n(sorted(readings, reverse=low), int(match[1]), int(match[2]))
    if aggregation == "indicator total":
        if count == 1:
            return Reduced((smallest,), "the indicator total as read")
        total = total_indicator_reading(readings)
        return Reduced((total,), f"indicator total, max - min of {count} readings")
    if aggregation == "spread":
        if count < 2:
            return Reduced(lacking="needs two readings or more")
        return Reduced((largest - smallest,), f"max - min of {count} readings")
    if aggregation == "pair difference":
        if count != 2:
            return Reduced(lacking="needs exactly two readings")
        return Reduced((largest - smallest,), "difference of the two readings")
    if aggregation == "average":
        how = f"mean of {count} readings" if count > 1 else ""
        return Reduced((sum(readings, Fraction(0)) / count,), how)
    if aggregation == "magnitude":
        return Reduced((max(abs(smallest), abs(largest)),), "distance from zero")
    if aggregation not in PLAIN:
        raise ValueError(f"unknown aggregation {aggregation!r}")
    ends = ((smallest,) if low else ()) + ((largest,) if high else ())
    return Reduced(tuple(dict.fromkeys(ends)), "" if count == 1 else f"worst of {count} readings")


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


def _th(k: int) -> str:
    return f"{k}{ {1: 'st', 2: 'nd', 3: 'rd'}.get(k if k < 20 else k % 10, 'th') }"
