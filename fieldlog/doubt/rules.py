"""The decision file: weights by listener and kind, and the chance that they give of being right (pure).

``python -m fieldlog.lab calibrate`` writes it.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from fieldlog.errors import UsageError
from fieldlog.model.hearing import Hearing

KINDS = ("measured", "judged", "coded", "dialogue", "order")
"""What was said, as far as doubt is concerned; each has weights of its own."""

TERMS = ("bend", "margin", "logprob", "tail")
"""Evidence that counts; a larger value never makes it less likely that the meaning is right."""

SPEECH_BEHIND_S = 0.25
"""Seconds of speech behind the last word below which there is none: the word's own end is put too early by up to so much."""
ALONE = 1.6
"""Of a grammar that is not ours: how many times further an end must be bent where nobody speaks behind it."""

LARGEST_TAIL = 8.0
"""Nats; an end bent further than this is as bad as can be."""


class Policy(StrEnum):
    """How risk is traded against questions."""

    CAUTIOUS = "cautious"
    BALANCED = "balanced"
    BRISK = "brisk"


def policy_named(name: str, where: str = "FIELDLOG_POLICY") -> Policy:
    """The policy of that name; raises ``UsageError`` for one that is none."""
    try:
        return Policy(name)
    except ValueError:
        known = ", ".join(policy.value for policy in Policy)
        raise UsageError(f"no policy {name!r}", where=where, todo=f"one of {known}") from None


@dataclass(frozen=True, slots=True)
class Weights:
    """How one listener's evidence for one kind becomes a chance of being right, and what follows."""

    intercept: float
    bend: float
    """Per nat per token that the grammar bent what was heard (evidence is 0 at best)."""
    margin: float
    """Per nat to the next different meaning."""
    logprob: float
    """Per nat per token of the words' own log probability."""
    tail: float
    """Per nat that the grammar bent the last token or the end."""
    cap: float
    """Nats above which a larger margin says nothing more."""
    twin_margin: float
    """Nats that a plausible twin must be behind."""
    refuse: float
    """Chance below which nothing is asked: it was not meant for this."""
    accept: Mapping[str, float]
    """Policy -> least chance for accepting without a question."""

    def chance(self, terms: Mapping[str, float]) -> float:
        """Chance (0..1) that the meaning is right."""
        x = (
            self.intercept
            + self.bend * min(0.0, terms.get("bend", 0.0))
            + self.margin * min(terms.get("margin", 0.0), self.cap)
            + self.logprob * min(0.0, terms.get("logprob", 0.0))
            + self.tail * max(-LARGEST_TAIL, min(0.0, terms.get("tail", 0.0)))
        )
        return 1.0 / (1.0 + math.exp(-max(-50.0, min(50.0, x))))


@dataclass(frozen=True, slots=True)
class DoubtRules:
    """The decision file: weights by listener and kind, flags of the sound, provenance."""

    weights: Mapping[str, Mapping[str, Weights]]
    flags: Mapping[str, float]
    provenance: Mapping[str, str]
    more_said: Mapping[str, float]
    """Listener -> nats; an utterance whose tail is bent further goes on behind what was heard."""
    yes_or_no: Mapping[str, float] = field(default_factory=dict)
    """Policy -> least chance for a yes or no, which settles what was asked; empty: that of commands."""
    bent_word: Mapping[str, float] = field(default_factory=dict)
    """Listener -> nats; a breath with a token bent further is asked about."""

    def goes_on(self, hearing: Hearing, kind: str = "") -> bool:
        """Whether more was said than the best hypothesis holds ("front pads worn, left mirror ...").

        Of the tail, and of speech that no word covers: the words that were heard may fit as well as
        can be. The weights as bundled, which hear grammars that are not ours, bend the end of a lone word
        whether or not something follows; there an end bent a little counts where speech is behind it.
        """
        if hearing.left_over:
            return True
        tail, least = (
            terms(hearing).get("tail", 0.0),
            self.more_said.get(hearing.listener, -math.inf),
        )
        return tail < (least * ALONE if kind == "order" and silent_behind(hearing) else least)

    def one_word_bent(self, hearing: Hearing) -> bool:
        """Whether a token of the best hypothesis is bent so far that the others, however good, do not make up for it.

        In a breath of three findings one word that nobody said is little of the evidence per token.
        """
        worst = hearing.hypotheses[0].evidence.get("worst", 0.0)
        return worst < self.bent_word.get(hearing.listener, -math.inf)

    def least(
        self, weights: Weights, policy: Policy, flags: frozenset[str], *, yes_or_no: bool = False
    ) -> float:
        """Least chance for accepting without a question."""
        least = weights.accept[policy.value]
        if yes_or_no:
            least = self.yes_or_no.get(policy.value, least)
        for flag in flags:
            least += (1.0 - least) * self.flags.get(flag, 0.0)
        return least


def read_rules(text: str, where: str = "rules.toml") -> DoubtRules:
    """The decision file's text as rules; raises ``UsageError`` naming what is wrong in it."""
    try:
        data: dict[str, Any] = tomllib.loads(text)
        provenance = {name: str(value) for name, value in data.pop("provenance").items()}
        flags = {name: float(value) for name, value in data.pop("flags").items()}
        more_said = {name: float(value) for name, value in data.pop("more_said").items()}
        yes_or_no = {name: float(value) for name, value in data.pop("yes_or_no", {}).items()}
        bent_word = {name: float(value) for name, value in data.pop("bent_word", {}).items()}
        weights = {
            listener: {kind: _weights(table[kind]) for kind in KINDS}
            for listener, table in data.items()
        }
    except (KeyError, TypeError, ValueError, AttributeError, RecursionError) as error:
        raise UsageError(
            f"not a usable decision file ({error})",
            where=where,
            todo="take the one that ships with fieldlog as an example",
        ) from error
    return DoubtRules(weights, flags, provenance, more_said, yes_or_no, bent_word)


def _weights(table: dict[str, Any]) -> Weights:
    accept = {policy.value: float(table["accept"][policy.value]) for policy in Policy}
    figures = {name: float(value) for name, value in table.items() if name != "accept"}
    return Weights(**figures, accept=accept)


def silent_behind(hearing: Hearing) -> bool:
    """Whether it is known that nobody speaks behind the last word of the best hypothesis."""
    return hearing.behind_s is not None and hearing.behind_s < SPEECH_BEHIND_S


def terms(hearing: Hearing) -> dict[str, float]:
    """The evidence of the best hypothesis as ``TERMS``; empty when there is none."""
    if not hearing.hypotheses:
        return {}
    evidence = hearing.hypotheses[0].evidence
    tokens = max(1.0, evidence.get("tokens", 1.0))
    return {
        "bend": evidence.get("bend", 0.0),
        "margin": evidence.get("margin", 0.0),
        "logprob": evidence.get("logprob", 0.0) / tokens,
        "tail": evidence.get("tail", 0.0),
    }
