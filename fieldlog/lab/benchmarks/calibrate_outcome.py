"""What the decision rules make of heard lines: counts by cell, and curves for the documentation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import Clip, SoundFlag
from fieldlog.doubt.decide import judge_for
from fieldlog.doubt.rules import DoubtRules, Policy, Weights
from fieldlog.grammar.language import Language
from fieldlog.lab.benchmarks.calibrate_cases import ORDER, is_right, still_said, understood
from fieldlog.lab.benchmarks.calibrate_evidence import Line
from fieldlog.lab.benchmarks.calibrate_fit import Sample
from fieldlog.model.understanding import Decision

_POSITIVE = ("phrase", "incomplete", ORDER)


@dataclass(frozen=True, slots=True)
class Outcome:
    """Counts of utterances in one cell. ``right`` is the meaning, whether accepted or asked."""

    cell: str
    phrases: int
    right: int
    silent: int
    """Accepted without a question, and wrong."""
    asked_right: int
    """Asked by doubt although the answer was a whole phrase and right."""
    asked_wrong: int
    refused_right: int
    negatives: int
    negatives_accepted: int
    """Speech and noise that says no phrase, accepted as one."""


def outcomes(
    lines: Sequence[Line], language: Language, rules: DoubtRules, policy: Policy
) -> list[Outcome]:
    """One row per cell, in the order in which cells appear."""
    judge = judge_for(language, rules, policy)
    lines = still_said(lines, language)
    table = []
    for cell in dict.fromkeys(line.cell for line in lines):
        counts = dict.fromkeys(
            ("phrases", "right", "silent", "asked_right", "asked_wrong", "refused_right"), 0
        )
        negatives = accepted = 0
        for line in (each for each in lines if each.cell == cell):
            parsed = understood(line, language)
            decision = Decision.REFUSE
            if parsed is not None:
                clip = Clip(np.zeros(0, np.float32), flags=frozenset(map(SoundFlag, line.flags)))
                decision = judge(parsed, line.hearing, clip).decision
            if line.kind not in _POSITIVE:
                negatives += 1
                accepted += decision is Decision.ACCEPT
                continue
            right = parsed is not None and is_right(line, parsed, language)
            whole = parsed is not None and parsed.decision is Decision.ACCEPT
            counts["phrases"] += 1
            counts["right"] += right
            counts["silent"] += decision is Decision.ACCEPT and not right
            counts["asked_right"] += decision is Decision.ASK and right and whole
            counts["asked_wrong"] += decision is Decision.ASK and not right
            counts["refused_right"] += decision is Decision.REFUSE and right
        table.append(Outcome(cell, **counts, negatives=negatives, negatives_accepted=accepted))
    return table


def reliability(
    samples: Sequence[Sample], weights: dict[str, Weights], bins: int = 10
) -> list[tuple[float, float, int]]:
    """(mean chance, share right, count) of samples in bins of equal count."""
    chances, right = _chances(samples, weights)
    order = np.argsort(chances, kind="stable")
    return [
        (float(chances[part].mean()), float(right[part].mean()), len(part))
        for part in np.array_split(order, bins)
        if len(part)
    ]


def risk_coverage(
    samples: Sequence[Sample], weights: dict[str, Weights], utterances: int
) -> list[tuple[float, float, float]]:
    """(least chance, share of utterances accepted, share silently wrong), falling chance."""
    chances, right = _chances(samples, weights)
    order = np.argsort(-chances, kind="stable")
    wrong = np.cumsum(1.0 - right[order])
    return [
        (float(chances[index]), (place + 1) / utterances, float(wrong[place]) / utterances)
        for place, index in enumerate(order)
    ]


def _chances(
    samples: Sequence[Sample], weights: dict[str, Weights]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    chances = np.array([weights[s.kind].chance(s.terms) for s in samples], dtype=np.float64)
    return chances, np.array([float(s.right) for s in samples])
