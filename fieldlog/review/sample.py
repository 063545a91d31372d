"""The blind sample, and what it says of all that nobody looked at (pure).

Of what needs no decision one in twenty is drawn by its content, so that every copy of the record draws
the same and nobody chooses. Whoever decides about it sees the readings, not which one was taken. The
sample of all inspections together bounds the share that is wrong among the rest (Clopper and Pearson).
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass

from fieldlog.review.exchanges import Exchange
from fieldlog.store.reviews import Decided, Review

SHARE = 0.05
FEWEST = 60
"""Sampled items below which nothing is stated: with none of 59 wrong the bound is still 5 %."""
LEVEL = 0.95
_WRONG = frozenset({Decided.CORRECTED, Decided.WITHDRAWN, Decided.ADDED})


def draw(exchange: Exchange) -> float:
    """Where what was said lies in the draw: from 0 to 1, by its sound and its words alone."""
    first = exchange.first
    content = exchange.id if first is None else f"{first.clip}\n{first.text}\n{first.said_at}"
    return int(hashlib.sha256(content.encode()).hexdigest()[:13], 16) / 16**13


def drawn(exchange: Exchange) -> bool:
    """Whether it is of the sample: what was said aloud, taken, and not corrected since by the speaker."""
    return bool(exchange.heard) and bool(exchange.standing) and draw(exchange) < SHARE


@dataclass(frozen=True, slots=True)
class Statement:
    """What the sample says."""

    looked_at: int
    wrong: int

    @property
    def enough(self) -> bool:
        """Whether there are enough to state anything."""
        return self.looked_at >= FEWEST

    @property
    def at_most(self) -> float:
        """The share that may be wrong among what nobody looked at: the one-sided upper bound."""
        return upper_bound(self.wrong, self.looked_at)


def statement(reviews: Iterable[Review]) -> Statement:
    """What the decisions that count of all inspections say; each sampled thing counts once, by the first."""
    first: dict[str, Review] = {}
    for each in reviews:
        if each.sampled and each.decided is not Decided.UNDONE:
            first.setdefault(each.utterance_id or each.was or each.id, each)
    return Statement(len(first), sum(each.decided in _WRONG for each in first.values()))


def upper_bound(wrong: int, of: int, level: float = LEVEL) -> float:
    """The one-sided upper bound of a share of which ``wrong`` of ``of`` were found.

    Clopper and Pearson (Biometrika 26, 1934): the share at which so few would be found with a chance of
    1 - ``level``.
    """
    if of <= 0 or wrong >= of:
        return 1.0
    low, high = wrong / of, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        if _at_most(wrong, of, middle) > 1 - level:
            low = middle
        else:
            high = middle
    return high


def _at_most(wrong: int, of: int, share: float) -> float:
    """Chance of at most ``wrong`` among ``of`` where each is wrong with chance ``share``."""
    one = (1 - share) ** of
    total = one
    for k in range(1, wrong + 1):
        one *= (of - k + 1) / k * share / (1 - share)
        total += one
    return total
