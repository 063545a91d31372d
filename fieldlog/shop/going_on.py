"""An utterance that goes on from a finding which is in the record already (pure).

A live session ends an utterance soon behind a whole finding, so that its answer comes at once. What
follows shortly ("left mirror cracked ... right one tight", "... no, I meant six", "... apart from a
tear at the edge") may be said of it, though it is nothing by itself. The two are then heard once more
as one, and what that changes is what the second of them says. A remark, too, ends before whoever makes it has
surely ended: what follows soon belongs to it, or is asked about.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from fieldlog.audio.clip import FRAME_S, Clip
from fieldlog.audio.endpointer import EndpointSettings, joinable
from fieldlog.doubt.decide import asked_instead
from fieldlog.doubt.question import telling_more
from fieldlog.hearing import Heard
from fieldlog.language.breath import Breath
from fieldlog.model.command import Command
from fieldlog.model.hearing import Hearing
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding
from fieldlog.shop.own_voice import asked_about
from fieldlog.shop.scene import INSTEAD
from fieldlog.shop.silence import Silences

ONE_BREATH_S = EndpointSettings().hangover_s
"""Silence (s) up to which two utterances are one breath: a file is not cut at less."""


def may_go_on(first: Heard, second: Heard) -> bool:
    """Whether ``second`` may be about what was taken of ``first``: it is nothing by itself."""
    said = second.understanding
    if not first.accepted or first.understanding.kind is not Kind.FINDING:
        return False
    return not second.accepted or (said.dialogue is Command.NEGATIVE and second.answers is None)


def going_on(first: Heard, second: Heard, whole: Heard) -> Heard | None:
    """What ``second`` says, given that the two of them together were heard as ``whole``.

    None: it stands by itself. Else it has the sound of both, and is one of three: further findings;
    a correction of the last one before; or a question, until whose answer the findings before no
    longer stand (``takes_back``). Behind a short silence the last is also what nobody understood:
    it may change them.
    """
    before, after = first.outcomes, whole.outcomes
    words, head = whole.text.split(), first.text.split()
    more = len(words) > len(head) and words[: len(head)] == head
    if more and whole.accepted and whole.understanding.kind is Kind.FINDING:
        same = [one.finding and one.finding.meaning for one in before]
        now = [one.finding and one.finding.meaning for one in after]
        if now[: len(same)] == same and len(now) > len(same):
            return _further(whole, after[len(same) :], len(head))
        if len(now) == len(same) and now[:-1] == same[:-1]:
            said = replace(after[-1], dialogue=Command.CORRECTION, parts=())
            return replace(whole, understanding=replace(said, slots={**said.slots, INSTEAD: ""}))
        reason = "what was said next changes what was said before"
        return _taking_back(whole, Breath(whole.text, tuple(after)).asked(reason).whole)
    if more and whole.understanding.decision is Decision.ASK:
        return _taking_back(whole, whole.understanding)
    if silence_between(first.clip, second.clip) >= ONE_BREATH_S or not second.clip.voice:
        return None
    asked = asked_instead(first.understanding, (), "more was said than was understood", Flag.UNSURE)
    return _taking_back(replace(second, clip=whole.clip), telling_more(asked))


def in_a_remark(first: Heard, second: Heard) -> bool:
    """Whether ``second`` may be the rest of the remark ``first``, whose speaker paused to think."""
    if not first.accepted or first.understanding.kind is not Kind.REMARK:
        return False
    if not first.clip.voice or not second.clip.voice or not joinable(first.clip, second.clip):
        return False
    return silence_between(first.clip, second.clip) < Silences().free


def rest_of_remark(second: Heard, whole: Callable[[], Heard]) -> Heard | None:
    """What is said so soon behind a remark: the two as one remark, or a question.

    None: it stands by itself. What would count by itself is asked about, since it may be free speech;
    what is no phrase is more of the remark, as ``whole`` hears the two of them. That takes the first one's place.
    """
    said = second.understanding
    if said.decision is Decision.REFUSE:
        one = whole()
        is_remark = one.accepted and one.understanding.kind is Kind.REMARK
        return replace(one, takes_back=True) if is_remark else None
    if said.decision is not Decision.ACCEPT or said.kind is Kind.REMARK:
        return None
    return asked_about(second, asked_instead(said, (), WITHIN_A_REMARK, Flag.UNSURE))


WITHIN_A_REMARK = "said so soon behind a remark, it may be of that"


def _further(whole: Heard, parts: Sequence[Understanding], at: int) -> Heard:
    """The findings behind the first ``at`` words."""
    text = " ".join(whole.text.split()[at:])
    said = parts[0] if len(parts) == 1 else Breath(text, tuple(parts)).whole
    return replace(
        whole,
        understanding=replace(said, text=text),
        hearing=_behind(whole.hearing, text, at),
    )


def _behind(hearing: Hearing, text: str, at: int) -> Hearing:
    """The hearing of a whole as that of its words from number ``at`` on."""
    best = replace(hearing.hypotheses[0], text=text)
    return replace(hearing, hypotheses=(best, *hearing.hypotheses[1:]), times=hearing.times[at:])


def _taking_back(heard: Heard, asked: Understanding) -> Heard:
    return replace(heard, understanding=asked, takes_back=True)


def silence_between(first: Clip, second: Clip) -> float:
    """Seconds without voice between two clips of one stream."""
    quiet = len(first.voice) - 1 - _last(first.voice)
    begins = next((n for n, chance in enumerate(second.voice) if chance > VOICED), 0)
    return max(0.0, second.start_s - first.end_s) + (quiet + begins) * FRAME_S


VOICED = 0.5


def _last(voice: Sequence[float]) -> int:
    return max((n for n, chance in enumerate(voice) if chance > VOICED), default=len(voice) - 1)
