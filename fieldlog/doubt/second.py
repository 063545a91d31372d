"""A second opinion: what another ear heard of the same sound settles a doubt, or widens the question (pure).

Two Whispers are not two opinions as long as they make the same mistakes. These two were trained apart, on
weights of different size: of what the first takes or asks about and heard wrong, the second hears most
otherwise, and of what it heard right, nearly all as the first (docs/hearing/second-ear.md).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from fieldlog.audio.clip import Clip
from fieldlog.doubt.decide import Judge, asked_instead, judge_for
from fieldlog.doubt.rules import DoubtRules, Policy
from fieldlog.grammar.language import Language
from fieldlog.model.hearing import Hearing
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding

HearAgain = Callable[[Clip], Hearing | None]
"""What the other ear heard of a clip; None: nothing that could be compared."""

OTHERWISE = "another ear heard it otherwise"
VALUES = ("measured", "judged", "coded")


def may_settle(understanding: Understanding, said: Understanding) -> bool:
    """Whether a second opinion can take a question away that is asked about one finding.

    Only that it was not heard clearly, or that another meaning was as near (``UNSURE``). A twin (fifteen, fifty) sounds like
    the other to both ears, what goes on behind the words is not in them, and of several findings in a breath
    each would have to be sure.
    """
    return (
        understanding.decision is Decision.ACCEPT
        and understanding.kind is Kind.FINDING
        and not understanding.parts
        and said.decision is Decision.ASK
        and Flag.UNSURE in said.flags
        and Flag.MORE_SAID not in said.flags
    )


def strictest(rules: DoubtRules) -> DoubtRules:
    """``rules`` in which every value and condition must be as likely as the kind that must be likeliest."""
    strict = {}
    for listener, weights in rules.weights.items():
        levels = {
            policy.value: max(weights[kind].accept[policy.value] for kind in VALUES)
            for policy in Policy
        }
        strict[listener] = {
            kind: replace(one, accept=levels) if kind in VALUES else one
            for kind, one in weights.items()
        }
    return replace(rules, weights=strict)


def minding_second(
    judge: Judge,
    language: Language,
    rules: DoubtRules,
    policy: Policy,
    hear_again: HearAgain,
) -> Judge:
    """``judge``, and each finding that it takes, or is unsure of, is held against what the other ear heard.

    What that heard otherwise never counts unasked; where it heard another finding, both are offered. What ``judge``
    is unsure of counts where it heard the same, surely enough by ``rules`` for the strictest kind.
    """
    own = judge_for(language, strictest(rules), policy)

    def judged(understanding: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
        said = judge(understanding, hearing, clip)
        taken = said.decision is Decision.ACCEPT and said.kind is Kind.FINDING
        asked = may_settle(understanding, said)
        if hearing.listener not in rules.weights or not (taken or asked):
            return said
        again = hear_again(clip)
        if again is None:
            return said
        text = again.hypotheses[0].text if again.hypotheses else ""
        other = language.understand(text)
        weighed = own(other, replace(again, listener=hearing.listener), clip)  # as the first is
        if language.meaning(text) == language.meaning(hearing.hypotheses[0].text):
            sure = weighed.decision is Decision.ACCEPT
            return understanding if asked and sure else said
        comparable = other.decision is Decision.ACCEPT and other.finding is not None
        offered = comparable and weighed.decision is not Decision.REFUSE
        if asked and not offered:
            return said
        return asked_instead(understanding, (other,) if offered else (), OTHERWISE, Flag.UNSURE)

    return judged
