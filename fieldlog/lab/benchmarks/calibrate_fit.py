"""Evidence -> weights and accept levels: a small logistic fit, the same bits every time (pure).

Every kind has too few wrong answers for a fit of its own, so all kinds are fitted together first,
and each kind is then drawn towards that fit (ridge). Weights that would make better evidence count
against the answer are held at zero.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldlog.doubt.decide import CLOSE
from fieldlog.doubt.rules import LARGEST_TAIL, TERMS, Policy, Weights
from fieldlog.lab.benchmarks.claim import upper_bound

CAP = 8.0
"""Nats; the listener itself reports no larger margin."""
RIDGE = 0.01
TOWARDS_ALL = 30.0
"""How strongly a kind is drawn to the fit of all kinds (docs/doubt.md: less of it is worse)."""
SILENT = {Policy.CAUTIOUS: 0.0, Policy.BALANCED: 0.003, Policy.BRISK: 0.012}
"""Share of utterances that may be accepted and wrong: what the upper 95 % bound of those of the tuning part
must hold, not their count. Where even none of so few could claim it, none is."""
VALUES = ("measured", "coded", "judged")
"""Kinds that state how something is, a value or a condition: the worst to be silently wrong about ("pitted,
wait" was accepted as "in order" at the level that all other kinds together had)."""
COMMANDS = ("dialogue",)
"""Kinds that act at once ("disregard that"): their level is at least that of the others, and none of
them was accepted and wrong, whatever the policy."""
LEAST = {Policy.CAUTIOUS: 0.9, Policy.BALANCED: 0.75, Policy.BRISK: 0.5}
"""No answer that is less likely to be right counts unasked, however few wrong ones there were."""
MOST_REFUSED = 0.1
"""A larger chance than this is worth a question, wherever right answers lie."""
REFUSED = 0.005
"""Share of right answers that may be refused outright."""
TWIN_MARGINS = (5.0, CAP)
"""Nats that a plausible twin must be behind, at least ("fifteen" heard as fifty
with 4.8) and at most; between them half a nat more than the right twin was ever behind a wrong."""

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Sample:
    """One accepted-by-the-parser answer: its evidence and whether its meaning was right."""

    kind: str
    cell: str
    terms: Mapping[str, float]
    right: bool
    twin: float = math.inf
    """Nats that its plausible twin was behind."""
    is_twin: bool = False
    """Wrong because it is the twin of what was said."""


def design(samples: Sequence[Sample]) -> Array:
    """One row per sample: 1, then the terms, bounded as ``Weights.chance`` bounds them."""
    rows = [
        [
            1.0,
            min(0.0, sample.terms["bend"]),
            min(sample.terms["margin"], CAP),
            min(0.0, sample.terms["logprob"]),
            max(-LARGEST_TAIL, min(0.0, sample.terms["tail"])),
        ]
        for sample in samples
    ]
    return np.array(rows, dtype=np.float64).reshape(len(rows), 1 + len(TERMS))


def logistic(x: Array, right: Array, prior: Array, ridge: float) -> Array:
    """Ridge logistic regression towards ``prior`` by Newton's method; terms held at zero or above.

    A term whose weight comes out negative is taken out and the rest fitted again.
    """
    kept = np.ones(x.shape[1], dtype=bool)
    while True:
        weights = np.where(kept, prior, 0.0)
        for _ in range(60):
            chance = 1.0 / (1.0 + np.exp(-np.clip(x @ weights, -50.0, 50.0)))
            slope = x.T @ (right - chance) - ridge * (weights - prior)
            curve = (x * (chance * (1.0 - chance))[:, None]).T @ x + ridge * np.eye(len(weights))
            step = np.zeros(len(weights))
            step[kept] = np.linalg.solve(curve[np.ix_(kept, kept)], slope[kept])
            weights = weights + np.clip(step, -4.0, 4.0)
            if float(np.abs(step).max()) < 1e-9:
                break
        negative = np.flatnonzero(weights[1:] < 0.0) + 1
        if not len(negative):
            return weights
        kept[negative[int(np.argmin(weights[negative]))]] = False


def fit(samples: Sequence[Sample], kinds: Sequence[str]) -> dict[str, Weights]:
    """Weights per kind, accept levels not yet chosen (all at 1)."""
    x, right = design(samples), np.array([float(s.right) for s in samples])
    shared = logistic(x, right, np.zeros(x.shape[1]), RIDGE)
    margin = twin_margin(samples)
    found = {}
    for kind in kinds:
        own = np.array([s.kind == kind for s in samples], dtype=bool)
        weights = logistic(x[own], right[own], shared, TOWARDS_ALL) if own.any() else shared
        found[kind] = _weights([round(float(value), 3) for value in weights], margin)
    return found


def _weights(values: Sequence[float], twin_margin: float) -> Weights:
    never = {policy.value: 1.0 for policy in Policy}
    intercept, bend, margin, logprob, tail = values
    return Weights(
        intercept=intercept,
        bend=bend,
        margin=margin,
        logprob=logprob,
        tail=tail,
        cap=CAP,
        twin_margin=twin_margin,
        refuse=0.0,
        accept=never,
    )


def twin_margin(samples: Iterable[Sample]) -> float:
    """How far behind a plausible twin must be to be left out of account."""
    behind = [s.twin for s in samples if s.is_twin and math.isfinite(s.twin)]
    least, most = TWIN_MARGINS
    return min(most, max(least, float(np.floor(2.0 * max(behind, default=0.0)) + 1.0) / 2.0))


def with_levels(
    fitted: Mapping[str, Weights], samples: Sequence[Sample], utterances: int
) -> dict[str, Weights]:
    """Accept and refuse levels out of ``utterances`` that were heard.

    The accept level of a policy is the least at which no more answers are silently wrong than let the
    policy's share be claimed: of all utterances, and for a kind that states a value of its own answers; of
    commands none is. The refuse level, common to all kinds, is the largest that loses few right answers.
    """
    chances = np.array([fitted[s.kind].chance(s.terms) for s in samples])
    right = np.array([s.right for s in samples], dtype=bool)
    free = np.array([not _near(s, fitted[s.kind]) for s in samples], dtype=bool)
    accept: dict[str, dict[str, float]] = {kind: {} for kind in fitted}
    for together in _groups(fitted):
        mine = np.array([s.kind in together for s in samples], dtype=bool)
        wrong = np.sort(chances[mine & free & ~right])[::-1]
        for policy in Policy:
            heard = int(mine.sum()) if together[0] in VALUES else utterances
            allowed = allowed_of(heard, SILENT[policy])
            found = _above(float(wrong[allowed])) if len(wrong) > allowed else 0.0
            for kind in together:
                accept[kind][policy.value] = max(LEAST[policy], found)
    for kind in (kind for kind in COMMANDS if kind in accept):
        mine = np.array([s.kind == kind for s in samples], dtype=bool)
        wrong = chances[mine & free & ~right]
        surest = _above(float(wrong.max())) if len(wrong) else 0.0
        accept[kind] = {
            name: max(level, surest, accept.get("judged", {}).get(name, 0.0))
            for name, level in accept[kind].items()
        }
    refuse = float(np.quantile(chances[right], REFUSED)) if right.any() else 0.0
    refuse = min(round(refuse, 3), MOST_REFUSED)
    return {
        kind: Weights(
            **{name: getattr(one, name) for name in ("intercept", *TERMS, "cap", "twin_margin")},
            refuse=refuse,
            accept=accept[kind],
        )
        for kind, one in fitted.items()
    }


def allowed_of(heard: int, share: float) -> int:
    """How many of ``heard`` may be silently wrong for the upper 95 % bound to hold ``share``; at least 0."""
    allowed = 0
    while upper_bound(allowed + 1, heard) <= share:
        allowed += 1
    return allowed


def _groups(kinds: Iterable[str]) -> list[tuple[str, ...]]:
    """Kinds whose levels are found together: each that states a value by itself, all others."""
    others = tuple(kind for kind in kinds if kind not in VALUES)
    return [(kind,) for kind in kinds if kind in VALUES] + ([others] if others else [])


def _above(chance: float) -> float:
    """The next thousandth above ``chance``; never 1, which nothing would reach."""
    return min(0.9995, float(np.floor(chance * 1000.0) + 1.0) / 1000.0)


def _near(sample: Sample, weights: Weights) -> bool:
    """Asked about whatever its chance, as ``doubt.decide`` does."""
    return sample.twin < weights.twin_margin or sample.terms["margin"] < CLOSE


def silent_and_asked(
    samples: Iterable[Sample], weights: Mapping[str, Weights], policy: Policy
) -> tuple[int, int, int, int]:
    """(accepted right, accepted wrong, asked or refused right, asked or refused wrong)."""
    counts = [0, 0, 0, 0]
    for sample in samples:
        one = weights[sample.kind]
        doubted = (
            sample.twin < one.twin_margin or one.chance(sample.terms) < one.accept[policy.value]
        )
        counts[2 * doubted + (not sample.right)] += 1
    return counts[0], counts[1], counts[2], counts[3]
