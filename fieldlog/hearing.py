"""From a clip to what was understood: listener -> parser -> doubt, in that order, every time.

This is the one place where a listener's hypotheses become an understanding; ``hear``, ``listen``,
the demo and the benchmarks all come through here. It holds no state but the clip before, which it
needs for phrases that a pause has cut in two.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace

from rapidfuzz import fuzz

from fieldlog.audio.clip import Clip
from fieldlog.audio.endpointer import join, joinable
from fieldlog.grammar.language import Language
from fieldlog.listeners.base import Listener
from fieldlog.model import Decision, Hearing, Kind, Understanding

Judge = Callable[[Understanding, Hearing, Clip], Understanding]
"""The doubt module's part: may turn *accept* into *ask* or *refuse*, never the other way round."""


@dataclass(frozen=True, slots=True)
class Heard:
    """One utterance with everything that was made of it."""

    clip: Clip
    hearing: Hearing
    understanding: Understanding
    alternatives: tuple[str, ...]
    """Texts of the other hypotheses, best first."""
    latency_ms: float
    """From the end of the utterance to its understanding, endpointing delay not included."""
    complete: bool = False
    """Whether the words are a whole phrase of the language, however well they were heard."""
    answers: Understanding | None = None
    """The question that this utterance answers."""
    parts: tuple[Understanding, ...] = ()
    """The findings of a breath that holds several, all accepted, in order; ``understanding`` is of
    the breath as a whole then, and has none."""

    @property
    def text(self) -> str:
        """The words that were heard; empty when nothing fits the language."""
        return self.understanding.text

    @property
    def accepted(self) -> bool:
        """Whether it counts without a question."""
        return self.understanding.decision is Decision.ACCEPT


def hear_clip(clip: Clip, listener: Listener, language: Language, judge: Judge) -> Heard:
    """Hear one clip: the best hypothesis is parsed again and weighed before it counts."""
    started = time.perf_counter()
    hearing = listener.hear(clip)
    best = hearing.hypotheses[0].text if hearing.hypotheses else ""
    parsed = language.understand(best)
    understanding = judge(parsed, hearing, clip)
    if understanding.decision is Decision.REFUSE or parsed.kind is Kind.REMARK:
        understanding = _free_speech(clip, listener, language, parsed, understanding)
    return Heard(
        clip=clip,
        hearing=hearing,
        understanding=understanding,
        alternatives=tuple(h.text for h in hearing.hypotheses[1:]),
        latency_ms=(time.perf_counter() - started) * 1000,
        complete=parsed.decision is Decision.ACCEPT,
    )


OPENING_LIKENESS = 75.0
"""How alike (rapidfuzz ratio, 0..100) the first plain word must be to a remark's opening word."""


def _free_speech(
    clip: Clip,
    listener: Listener,
    language: Language,
    parsed: Understanding,
    weighed: Understanding,
) -> Understanding:
    """A remark is no phrase of the grammar beyond its opening: ask the listener for plain words.

    Only what opens as a remark counts, by the plain words themselves or by both ways of hearing
    together ("Remarkly owner says ..."); a finding is never taken from open transcription.
    """
    transcribe = getattr(listener, "transcribe", None)
    if transcribe is None:
        return weighed
    words: str = transcribe(clip)
    plain = language.understand(words)
    if plain.kind is not Kind.REMARK and parsed.kind is Kind.REMARK:
        opening = len(parsed.text.split())
        first, rest = words.split()[:1], words.split()[opening:]
        if (
            first
            and rest
            and fuzz.ratio(first[0].lower(), parsed.text.split()[0]) >= OPENING_LIKENESS
        ):
            plain = replace(parsed, text=words, slots={"remark": " ".join(rest)})
    if plain.kind is not Kind.REMARK or plain.decision is not Decision.ACCEPT:
        return weighed
    return replace(plain, reason="a remark, in words nobody has checked")


BRIDGED_S = 1.9
"""Seconds between two utterances that may be one phrase. Each keeps 0.32 s of silence at its ends, so
the pause between the words may be 2.5 s (``python -m fieldlog.lab breath``)."""


def joined(
    first: Heard, second: Heard, listener: Listener, language: Language, judge: Judge
) -> Heard | None:
    """Two utterances as one phrase that a pause cut in two, or None when they are not.

    Only where at least one of them is no whole phrase by itself, the second follows soon, and the
    two together are accepted and say more than what was taken of either ("a small latte ... with
    cream"): two whole phrases are never made one, or the second would be lost in the first. Of a
    refused half nothing was taken, so its words, which nobody said, count for nothing; but then only
    a whole sentence is made of two, no word of the dialogue.
    """
    if _are_two(first, second) or not joinable(first.clip, second.clip, gap_s=BRIDGED_S):
        return None
    whole = hear_clip(join(first.clip, second.clip), listener, language, judge)
    words, head, rest = whole.text.split(), _taken(first), _taken(second)
    if not whole.accepted or len(words) <= max(len(head), len(rest)):
        return None
    if not head and not rest and whole.understanding.kind not in (Kind.FINDING, Kind.ORDER):
        return None
    if first.accepted and words[: len(head)] != head:
        return None
    if second.accepted and words[-len(rest) :] != rest:
        return None
    return whole


def _are_two(first: Heard, second: Heard) -> bool:
    """Whether each is a whole phrase; a refused one is none, unless the other was taken."""
    decisions = {each.understanding.decision for each in (first, second)}
    counted = Decision.REFUSE not in decisions or Decision.ACCEPT in decisions
    return first.complete and second.complete and counted


def _taken(heard: Heard) -> list[str]:
    """Words of what was accepted or asked about; none of what was refused."""
    refused = heard.understanding.decision is Decision.REFUSE
    return [] if refused else heard.text.split()
