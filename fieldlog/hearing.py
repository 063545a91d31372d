"""From a clip to what was understood: listener -> parser -> doubt, in that order, every time.

This is the one place where a listener's hypotheses become an understanding; ``hear``, ``listen``,
the demo and the benchmarks all come through here. It holds no state but the clip before, which it
needs for phrases that a pause has cut in two.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from rapidfuzz import fuzz

from fieldlog.audio.behind import behind_s, left_over, quietest
from fieldlog.audio.clip import Clip
from fieldlog.audio.endpointer import join, joinable
from fieldlog.grammar.language import Language, is_said
from fieldlog.listeners.base import Listener
from fieldlog.model.command import Command
from fieldlog.model.hearing import Hearing
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding, word_spans

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
    takes_back: bool = False
    """Whether it goes on from the utterance before, and asks about that: what was taken of it no longer
    stands until this is answered; of a remark, that this is the whole of it."""

    @property
    def parts(self) -> tuple[Understanding, ...]:
        """The findings of a breath that holds several, all accepted, in order."""
        return self.understanding.parts

    @property
    def outcomes(self) -> tuple[Understanding, ...]:
        """Each finding of a breath, or the one thing that it is."""
        return self.understanding.parts or (self.understanding,)

    @property
    def stretches(self) -> tuple[tuple[float, float], ...]:
        """For each of ``outcomes`` from when to when it was said: seconds of the stream.

        The whole clip where it is not known better; together they hold all of it.
        """
        whole = (self.clip.start_s, self.clip.end_s)
        return tuple(
            (
                whole[0] if begin is None else self.clip.start_s + begin,
                whole[1] if end is None else self.clip.start_s + end,
            )
            for begin, end in stretches_of(self.outcomes, self.text, self.hearing.times)
        )

    @property
    def text(self) -> str:
        """The words that were heard; empty when nothing fits the language."""
        return self.understanding.text

    @property
    def accepted(self) -> bool:
        """Whether it counts without a question."""
        return self.understanding.decision is Decision.ACCEPT


def stretches_of(
    parts: Sequence[Understanding], text: str, times: Sequence[tuple[float, float]]
) -> tuple[tuple[float | None, float | None], ...]:
    """Where in a clip each part of ``text`` was said, whose words were at ``times`` (pure).

    None: where the clip begins, or ends. Parts whose words are not found in order ("both pegs bent") and
    words without times have the whole clip.
    """
    found = word_spans(parts, text)
    if len(found) < len(parts) or len(times) != len(text.split()):
        return ((None, None),) * len(parts)
    last = len(parts) - 1
    return tuple(
        (None if n == 0 else times[begin][0], None if n == last else times[end - 1][1])
        for n, (begin, end) in enumerate(found)
    )


def hear_clip(
    clip: Clip, listener: Listener, language: Language, judge: Judge, *, free: bool = True
) -> Heard:
    """Hear one clip: the best hypothesis is parsed again and weighed before it counts.

    ``free``: whether what fits no phrase may be a remark, which takes a hearing of its own.
    """
    started = time.perf_counter()
    hearing = as_promised(listener.hear(clip), listener.name)
    best = hearing.hypotheses[0].text if hearing.hypotheses else ""
    parsed = language.understand(best)
    if parsed.dialogue in TAKES_OR_SETTLES and not is_said(language.word_graph(), best.split()):
        parsed = _half_a_phrase(parsed)
    left = left_over(clip, hearing.times)
    whole_finding = parsed.decision is Decision.ACCEPT and parsed.kind is Kind.FINDING
    if left and whole_finding and Flag.LED not in parsed.flags:  # "fine", and more: of what?
        whole = _with_the_rest(clip, hearing, parsed, left, listener, language, judge)
        if whole is not None:
            whole = _with_the_echo(whole, listener, language, judge)
            return replace(whole, latency_ms=(time.perf_counter() - started) * 1000)
    hearing = replace(hearing, left_over=left, behind_s=behind_s(clip, hearing.times))
    understanding = judge(parsed, hearing, clip)
    if understanding.decision is Decision.ACCEPT:
        alone = _values_alone(clip, understanding, hearing.times, listener)
        if alone:
            hearing = replace(hearing, alone=alone)
            understanding = judge(parsed, hearing, clip)
    fits_none = free and understanding.decision is Decision.REFUSE
    if fits_none or parsed.kind is Kind.REMARK:
        understanding = _free_speech(clip, listener, language, parsed, understanding)
    if understanding.kind is Kind.REMARK:  # all of its words are kept, whatever they are
        hearing = replace(hearing, left_over=())
    heard = Heard(
        clip=clip,
        hearing=hearing,
        understanding=understanding,
        alternatives=tuple(h.text for h in hearing.hypotheses[1:]),
        latency_ms=0.0,
        complete=parsed.decision is Decision.ACCEPT,
    )
    heard = _with_the_echo(heard, listener, language, judge)
    return replace(heard, latency_ms=(time.perf_counter() - started) * 1000)


def _values_alone(
    clip: Clip, said: Understanding, times: Sequence[tuple[float, float]], listener: Listener
) -> tuple[Hearing, ...]:
    """Each value of a breath that sounds like another ("thirty", "thirteen"), heard once more by itself.

    What is said behind it crowds its twin out of the search.
    """
    stretches = stretches_of(said.parts, said.text, times)
    return tuple(
        as_promised(listener.hear(_between(clip, begin, end)), listener.name)
        for part, (begin, end) in zip(said.parts, stretches, strict=True)
        if Flag.TEEN_TWIN in part.flags and (begin, end) != (None, None)
    )


CUT_WITHIN_S = 0.15
"""Seconds about the end of a finding, by the times of its words, in which a breath is cut where it is quietest."""


def _between(clip: Clip, begin_s: float | None, end_s: float | None) -> Clip:
    """The clip between two moments of it, cut near them where there is the least sound; None: its own end."""
    begin = 0.0 if begin_s is None else quietest(clip, begin_s, CUT_WITHIN_S)
    return clip.part(
        begin, clip.duration_s if end_s is None else quietest(clip, end_s, CUT_WITHIN_S)
    )


def _with_the_echo(heard: Heard, listener: Listener, language: Language, judge: Judge) -> Heard:
    """What a clip that we sounded into came to, heard once more as it came in, and weighed with that.

    What counts must not mean something else there; where nothing is understood there, that is our own sound. What
    was only asked about, because it was not heard clearly or lacks a word, counts where it is heard so with what
    came before it: the canceller may have taken its beginning.
    """
    clip, said = heard.clip, heard.understanding
    if clip.as_it_came is None or said.kind is Kind.REMARK or said.decision is Decision.REFUSE:
        return heard
    lead = said.decision is Decision.ASK
    if lead and (not NOT_BY_HEARING.isdisjoint(said.flags) or said.parts or not said.offered):
        return heard
    came = clip.uncancelled(lead=lead)
    again = as_promised(listener.hear(came), listener.name)
    text = again.hypotheses[0].text if again.hypotheses else ""
    parsed = language.understand(text)
    again = replace(
        again, left_over=left_over(came, again.times), behind_s=behind_s(came, again.times)
    )
    other = judge(parsed, again, came)
    if not lead:
        if other.decision is Decision.REFUSE:
            return heard
        hearing = replace(heard.hearing, as_it_came=text)
        return replace(heard, hearing=hearing, understanding=judge(said, hearing, clip))
    if other.decision is not Decision.ACCEPT or not _says_the_same(heard, other, language):
        return heard
    early_s = clip.start_s - came.start_s
    times = tuple((max(0.0, one - early_s), max(0.0, end - early_s)) for one, end in again.times)
    hearing = replace(again, times=times, as_it_came=text, cleared=True)
    others = tuple(each.text for each in again.hypotheses[1:])
    return replace(heard, hearing=hearing, understanding=other, alternatives=others, complete=True)


NOT_BY_HEARING = frozenset({Flag.TWIN, Flag.MORE_SAID, Flag.GAP, Flag.NEARSIDE, Flag.LED})
"""What another hearing of the same sound does not settle."""


def _says_the_same(heard: Heard, other: Understanding, language: Language) -> bool:
    """Whether ``other`` is what was asked about: the same, or one of what the words left open."""
    if other.finding is None or other.dialogue is not heard.understanding.dialogue:
        return False
    parsed = language.understand(heard.text)
    if parsed.decision is Decision.ACCEPT:
        return parsed.finding is not None and parsed.finding.meaning == other.finding.meaning
    return other.finding.meaning in [one.meaning for one in parsed.offered]


def as_promised(heard: object, name: str) -> Hearing:
    """What a listener heard, as its protocol promises it: nothing twice, nothing without words.

    A listener that another package brings may answer nothing, or no text: that is an utterance in
    which nothing was heard, which is kept and told as any other.
    """
    if not isinstance(heard, Hearing):
        return Hearing(name, (), 0.0)
    texts: list[object] = [each.text for each in heard.hypotheses]
    kept = tuple(
        each
        for at, each in enumerate(heard.hypotheses)
        if isinstance(texts[at], str) and each.text.strip() and each not in heard.hypotheses[:at]
    )
    if len(kept) == len(texts):
        return heard
    times = heard.times if kept[:1] == heard.hypotheses[:1] else ()  # those of the first alone
    return replace(heard, hypotheses=kept, times=times)


TAKES_OR_SETTLES = frozenset(
    {Command.DISREGARD, Command.AFFIRM, Command.NEGATIVE, Command.SIGN_OFF}
)
"""What withdraws or settles something: only as a whole phrase that a listener was offered."""


def _half_a_phrase(said: Understanding) -> Understanding:
    """What means something typed, but is no whole phrase of what a listener was offered.

    Some listeners tell the beginning of a phrase where they never heard its end: "disregard" alone.
    """
    reason = f"'{said.text}' is no whole phrase that can be heard: say all of it, or type it"
    return Understanding(Decision.REFUSE, Kind.NOTHING, reason, said.text)


def _with_the_rest(
    clip: Clip,
    hearing: Hearing,
    parsed: Understanding,
    left: Sequence[tuple[float, float]],
    listener: Listener,
    language: Language,
    judge: Judge,
) -> Heard | None:
    """The whole of a clip whose first words were heard alone, when the rest is findings as well."""
    if judge(parsed, hearing, clip).decision is not Decision.ACCEPT:
        return None
    rest = hear_clip(clip.part(left[0][0], clip.duration_s), listener, language, judge)
    if not rest.accepted or rest.understanding.kind is not Kind.FINDING:
        return None
    whole = language.understand(f"{parsed.text} {rest.text}")
    if whole.decision is not Decision.ACCEPT or not whole.parts:
        return None
    later_s = rest.clip.start_s - clip.start_s
    moved = tuple((later_s + begin, later_s + end) for begin, end in rest.hearing.times)
    best = replace(hearing.hypotheses[0], text=whole.text)
    heard = replace(
        hearing, hypotheses=(best, *hearing.hypotheses[1:]), times=(*hearing.times, *moved)
    )
    return Heard(clip, heard, whole, rest.alternatives, 0.0, complete=True)


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


def joined(first: Heard, second: Heard, hear: Callable[[Clip], Heard]) -> Heard | None:
    """Two utterances as one phrase that a pause cut in two, or None when they are not.

    Only where at least one of them is no whole phrase by itself, the second follows soon, and the
    two together are accepted and say more than what was taken of either ("a small latte ... with
    cream"): two whole phrases are never made one, or the second would be lost in the first. Of a
    refused half nothing was taken, so its words, which nobody said, count for nothing; but then only
    a whole sentence is made of two, no word of the dialogue. ``hear``: hears the two of them as one.
    """
    if _are_two(first, second) or not joinable(first.clip, second.clip, gap_s=BRIDGED_S):
        return None
    whole = hear(join(first.clip, second.clip))
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
    """Words of what was accepted or asked about; none of what was refused, or goes on behind them.

    "Rear sprocket is ..." is heard as the finding nearest to it, whose last word nobody said.
    """
    said = heard.understanding
    goes_on = said.decision is Decision.ASK and Flag.MORE_SAID in said.flags
    return [] if said.decision is Decision.REFUSE or goes_on else heard.text.split()
