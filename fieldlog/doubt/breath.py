"""Of several findings in one breath: which of the other hypotheses are no rivals of it (pure).

The weights are fitted on phrases of one finding. Of two findings "front pads five millimetres" alone is a
hypothesis as well, though somebody spoke on; and the last finding, which may lean on the one before ("rear
two"), has rivals that nobody ever finishes ("rear too ...").
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from fieldlog.audio.behind import left_over
from fieldlog.audio.clip import Clip
from fieldlog.catalogue.component import SOUND
from fieldlog.doubt.rules import silent_behind
from fieldlog.doubt.twins import maybe_denied
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.understanding import Decision, Understanding, word_spans

BROKEN_OFF = 1.0
"""Nats that a half sentence is less likely than a whole one which fits as well, where the speaker said a whole
finding before it and then fell silent (looked at on the tuning part, docs/doubt.md)."""

_BEGINS_WITH = "right"
"""What may be said to begin ("right, grip missing")."""

CONTRAST = 0.5
"""Nats that a "right" is less likely to be such a beginning where the other side of the part is told as well."""


def as_a_breath(said: Understanding, hearing: Hearing, clip: Clip) -> Hearing:
    """The hearing of a breath of several findings without what is no rival of it, its margin measured anew.

    The margin only ever grows. What a listener tells nothing of (``unfinished``) stays as it is.
    """
    if not said.parts or said.decision is not Decision.ACCEPT:
        return hearing
    best, *others = hearing.hypotheses
    unfinished = best.evidence.get("unfinished")
    if unfinished is None:
        return hearing
    rivals = [one for one in others if not _is_its_beginning(one, said, hearing, clip)]
    behind = [best.score - one.score + _less_likely(one, said, best) for one in rivals]
    if unfinished >= 0.0 and silent_behind(hearing):
        unfinished += BROKEN_OFF
    margin = max(min([unfinished, *behind]), best.evidence.get("margin", 0.0))
    evidence = {**best.evidence, "margin": margin}
    return replace(hearing, hypotheses=(replace(best, evidence=evidence), *rivals))


def _is_its_beginning(one: Hypothesis, said: Understanding, hearing: Hearing, clip: Clip) -> bool:
    """Whether it is only the first findings of the best one, behind which its speaker spoke on."""
    words, best = one.text.split(), hearing.hypotheses[0].text.split()
    ends = [end for _, end in word_spans(said.parts[:-1], hearing.hypotheses[0].text)]
    if words != best[: len(words)] or len(words) not in ends:
        return False
    timed = len(hearing.times) == len(best)
    return timed and bool(left_over(clip, hearing.times[: len(words)]))


def _less_likely(one: Hypothesis, said: Understanding, best: Hypothesis) -> float:
    """Nats that a rival is less likely in a breath than alone."""
    dropped = one.text.split() in list(_without_beginning(best.text.split()))
    return CONTRAST if dropped and _sides_differ(said) else 0.0


def _without_beginning(words: list[str]) -> Iterator[list[str]]:
    """The words without each one that may be no more than a beginning."""
    for at, word in enumerate(words):
        if word == _BEGINS_WITH:
            yield words[:at] + words[at + 1 :]


def _sides_differ(said: Understanding) -> bool:
    """Whether each finding that is told "right" has another of the same part, of another side, beside it."""
    found = [(part.text.split(), part.finding) for part in said.parts]
    return all(
        any(
            one is not None and one.component == other.component and one.position != other.position
            for _, other in found
            if other is not None
        )
        for words, one in found
        if _BEGINS_WITH in words
    )


def why_doubtful(said: Understanding) -> str:
    """Why the findings of a breath are asked about however well they were heard; empty: nothing in them tells so.

    What was said of two at once ("both tyres are worn") is a finding of each, in words that nobody said.
    """
    units: dict[tuple[str, str | None], set[str]] = {}
    for part in said.parts:
        one = part.finding
        if one is None:
            continue
        in_these_words = f" {part.text} " in f" {said.text} "
        if one.condition not in (None, SOUND) and in_these_words and maybe_denied(part.text):
            return "a fault of it may have been said not to be there"
        if one.quantity is not None:
            units.setdefault((one.component, one.characteristic), set()).add(one.quantity.unit)
    mixed = any(len(several) > 1 for several in units.values())
    return "the same was told in two units" if mixed else ""
