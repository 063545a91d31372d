"""Accept, ask or refuse: what the evidence behind a hearing allows (pure).

The parser has the first word: what it does not accept is never made better here. What it accepts
is weighed by how far the grammar bent what was heard, by the margin to the next different meaning,
by flags of the sound, and by twins ("fifteen" and "fifty") that no score tells apart.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import lru_cache
from importlib import resources
from typing import Any

from fieldlog.audio.clip import Clip
from fieldlog.errors import UsageError
from fieldlog.listeners.base import Language
from fieldlog.model import Decision, Finding, Hearing, Kind, Understanding

Judge = Callable[[Understanding, Hearing, Clip], Understanding]

_TEEN_TY = {
    "thirteen": "thirty",
    "fourteen": "forty",
    "fifteen": "fifty",
    "sixteen": "sixty",
    "seventeen": "seventy",
    "eighteen": "eighty",
    "nineteen": "ninety",
}
TWINS: Mapping[str, str] = {**_TEEN_TY, **{ty: teen for teen, ty in _TEEN_TY.items()}}
"""Numbers that differ by stress alone."""


class Policy(StrEnum):
    """How risk is traded against questions."""

    CAUTIOUS = "cautious"
    BALANCED = "balanced"
    BRISK = "brisk"


@dataclass(frozen=True, slots=True)
class Weights:
    """How one listener's evidence becomes a chance of being right."""

    intercept: float
    bend: float
    """Per nat per token."""
    margin: float
    """Per nat."""
    cap: float
    """Nats above which a larger margin says nothing more."""
    refuse_bend: float
    """Nats per token."""
    twin_margin: float
    """Nats."""

    def chance(self, evidence: Mapping[str, float]) -> float:
        """Chance (0..1) that the meaning is right."""
        margin = min(evidence.get("margin", 0.0), self.cap)
        x = self.intercept + self.bend * evidence.get("bend", 0.0) + self.margin * margin
        return 1.0 / (1.0 + math.exp(-max(-50.0, min(50.0, x))))


@dataclass(frozen=True, slots=True)
class Rules:
    """The decision file: weights by listener, least chances by policy, flags."""

    weights: Mapping[str, Weights]
    accept: Mapping[str, float]
    flags: Mapping[str, float]
    provenance: Mapping[str, str]

    def least(self, policy: Policy, flags: frozenset[str]) -> float:
        """Least chance for accepting without a question."""
        least = self.accept[policy.value]
        for flag in flags:
            least += (1.0 - least) * self.flags.get(flag, 0.0)
        return least


def read_rules(text: str, where: str = "doubt.toml") -> Rules:
    """The decision file's text as rules; raises ``UsageError`` naming what is wrong in it."""
    try:
        data: dict[str, Any] = tomllib.loads(text)
        special = ("accept", "flags", "provenance")
        weights = {
            name: Weights(**{key: float(value) for key, value in table.items()})
            for name, table in data.items()
            if name not in special
        }
        accept = {policy.value: float(data["accept"][policy.value]) for policy in Policy}
        flags = {name: float(value) for name, value in data["flags"].items()}
        provenance = {name: str(value) for name, value in data["provenance"].items()}
    except (tomllib.TOMLDecodeError, KeyError, TypeError, ValueError, AttributeError) as error:
        raise UsageError(
            f"not a usable decision file ({error})",
            where=where,
            todo="take the one that ships with fieldlog as an example",
        ) from error
    return Rules(weights, accept, flags, provenance)


@lru_cache(maxsize=1)
def shipped_rules() -> Rules:
    """The rules that ship with fieldlog (reads one file of the package, once)."""
    text = resources.files("fieldlog").joinpath("doubt.toml").read_text(encoding="utf-8")
    return read_rules(text)


def twins(text: str) -> Iterator[str]:
    """The text with one teen or ty exchanged for its twin, for each such word in it."""
    words = text.split()
    for index, word in enumerate(words):
        if word in TWINS:
            yield " ".join([*words[:index], TWINS[word], *words[index + 1 :]])


def decide(
    understanding: Understanding,
    hearing: Hearing,
    flags: frozenset[str],
    rules: Rules,
    policy: Policy = Policy.BALANCED,
    *,
    rivals: tuple[Understanding, ...] = (),
    plausible_twins: tuple[Understanding, ...] = (),
) -> Understanding:
    """The understanding after doubt: accepted as it was, asked about, or refused.

    ``rivals`` are the parsed next hypotheses and ``plausible_twins`` the parsed twins that are
    possible too; both only shape the question. A listener that gives no evidence the rules know
    (typed words, replay) is not doubted.
    """
    weights = rules.weights.get(hearing.listener)
    if weights is None or not hearing.hypotheses or understanding.decision is Decision.REFUSE:
        return understanding
    evidence = hearing.hypotheses[0].evidence
    bend, margin = evidence.get("bend", 0.0), evidence.get("margin", 0.0)
    if bend < weights.refuse_bend:
        return replace(
            understanding,
            decision=Decision.REFUSE,
            kind=Kind.NOTHING,
            reason=f"does not sound like anything this can be told "
            f"({bend:.1f} nats a token; heard as '{understanding.text}')",
            finding=None,
            candidates=(),
            question="",
            slots={},
            dialogue=None,
        )
    if understanding.decision is Decision.ASK:
        return understanding
    if plausible_twins and margin < weights.twin_margin:
        return _asked(
            understanding, plausible_twins, "its teen/ty twin is possible too", "teen/ty twin"
        )
    chance = weights.chance(evidence)
    least = rules.least(policy, flags)
    if chance < least:
        because = "".join(f", {flag}" for flag in sorted(flags & set(rules.flags)))
        reason = f"heard with a chance of {chance:.2f} only, {least:.2f} needed{because}"
        return _asked(understanding, rivals[:1], reason, "unsure")
    return understanding


def judge_for(language: Language, rules: Rules, policy: Policy = Policy.BALANCED) -> Judge:
    """``decide`` as the pipeline wants it: parses rivals and twins with the language itself."""

    def judge(understanding: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
        if hearing.listener not in rules.weights or not hearing.hypotheses:
            return understanding
        rivals = tuple(
            parsed
            for hypothesis in hearing.hypotheses[1:3]
            if (parsed := language.understand(hypothesis.text)).decision is Decision.ACCEPT
        )
        plausible = tuple(
            parsed
            for twin in twins(understanding.text)
            if (parsed := language.understand(twin)).decision is Decision.ACCEPT
        )
        return decide(
            understanding,
            hearing,
            clip.flags,
            rules,
            policy,
            rivals=rivals,
            plausible_twins=plausible,
        )

    return judge


def _asked(
    understanding: Understanding, others: tuple[Understanding, ...], reason: str, flag: str
) -> Understanding:
    findings: list[Finding] = []
    for each in (understanding, *others):
        if each.finding is not None and each.finding not in findings:
            findings.append(each.finding)
    texts = list(dict.fromkeys([understanding.text, *(other.text for other in others)]))
    choices = " or ".join(f"'{text}'" for text in texts)
    return replace(
        understanding,
        decision=Decision.ASK,
        reason=reason,
        question=f"did you say {choices}?" if choices else "say again?",
        candidates=tuple(findings),
        flags=(*understanding.flags, flag),
    )
