"""Question and answer: after a question the next utterance may be its answer.

``Conversation`` is the one way in which clips and typed words become utterances, one after another, for
every command, the demo and the benchmarks: it bridges a pause that cut a phrase in two, and remembers the
question that waits (``shop.waiting``), and nothing else.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np

from fieldlog.audio.clip import Clip
from fieldlog.audio.endpointer import is_draft, join, joinable
from fieldlog.audio.voice import bundled_voice
from fieldlog.doubt.again import said_again
from fieldlog.grammar.language import Language
from fieldlog.hearing import BRIDGED_S, Heard, hear_clip, joined
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.language.led import Led, LedLanguage
from fieldlog.language.sides import by_side_of_traffic
from fieldlog.model.hearing import Hearing
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding
from fieldlog.shop.answering import Answering
from fieldlog.shop.ears import Ears
from fieldlog.shop.gaps import with_gaps_asked
from fieldlog.shop.going_on import going_on, in_a_remark, may_go_on, rest_of_remark
from fieldlog.shop.settling import WaitingQuestion, settled
from fieldlog.shop.silence import Silences, by_itself, silence_s
from fieldlog.shop.waiting import WAITS_S, WhatWaits, sound_of_heard
from fieldlog.words.aloud import phrases


@dataclass(frozen=True, slots=True)
class Turn:
    """One utterance in its place."""

    heard: Heard
    completes: bool = False
    """Whether it is the whole of a phrase whose beginning was given before."""


def typed_as(said: Understanding) -> Heard:
    """Typed words that mean ``said``: there is no sound of them."""
    clip = Clip(np.zeros(0, dtype=np.float32), 0.0)
    return Heard(clip, Hearing("typed", (), 0.0), said, (), 0.0, complete=True)


class Conversation:
    """Takes utterances in order, each with the question before it in mind."""

    def __init__(self, ears: Ears, *, keeps_left: bool = False) -> None:
        """``ears``: loaded for the language; short answers are heard where that is the inspection's.

        ``keeps_left``: whether traffic does where the vehicle is; "nearside" is asked about elsewhere.
        """
        self._ears = ears
        self._keeps_left = keeps_left
        self._loaded: Understanding | LedLanguage | None = None
        self.pending = WhatWaits()
        """Which question waits for an answer."""
        self._before: Heard | None = None
        self._ahead: Heard | None = None
        """What was said before and what is being said, as one, at the first silence."""
        self.bare_answers = False
        """Whether a bare value that is heard may be of what the walk asked for; a face that says what was
        asked, and reads back of what it was, sets it."""
        self._led: tuple[Led, Clip | None] | None = None
        self.overheard: Callable[[Heard], Heard] = lambda heard: heard
        """Tells what we said ourselves from what somebody said; set by a face that speaks."""
        self.minded: Callable[[Heard], Heard] = lambda heard: heard
        """Has the last word on what counts unasked (``shop.whose_voice``)."""

    @property
    def waiting(self) -> Understanding | None:
        """The question that the next utterance may answer."""
        return self.pending.asked

    @property
    def standing_by(self) -> bool:
        """Whether nothing that is said counts now: it neither asks nor answers anything."""
        return self.pending.standing_by

    def next(self, clip: Clip, *, kept: bool, ahead: Heard | None = None) -> Turn:
        """The next utterance, or, where a pause had cut a phrase in two, the whole of it.

        ``kept``: the utterances before are in the record already (live); else the one before is
        still held back. ``ahead``: this clip as it was heard at the first silence.
        """
        heard = self.overheard(ahead or self.hear(clip))
        if Flag.OWN_VOICE in heard.understanding.flags:
            return Turn(heard)  # nobody said it: what waits goes on waiting
        before = self._before
        whole = breath = None
        if before is not None:
            with suppress(Exception):  # what fails together counts by itself
                if in_a_remark(before, heard):
                    rest = rest_of_remark(heard, lambda: self._with_remark(before, heard))
                    if rest is not None and rest.takes_back:
                        whole = rest if kept else replace(rest, takes_back=False)
                    heard = rest or heard
                elif not (kept and before.accepted):
                    whole = self._joined(before, heard, kept=kept)
                elif may_go_on(before, heard):
                    heard, breath = self._going_on(before, heard)
        turn = Turn(heard) if whole is None else Turn(whole, completes=True)
        turn = replace(turn, heard=self.minded(with_gaps_asked(self._by_side(turn.heard))))
        self.pending.taken(turn.heard, told=kept)
        self._before = breath or turn.heard
        return turn

    def typed(self, text: str) -> Heard:
        """Typed words, which may answer the question that waits; they have no sound."""
        question = None if self.standing_by else self.pending.question
        heard = self._typed(text, question, self._led_by(None))
        self.pending.taken(heard, told=True)
        self._before = None
        return heard

    def anew(self, text: str, asked: Understanding | None) -> Understanding:
        """What ``text`` means after the question ``asked``; nothing is remembered of it."""
        return self._typed(
            text, None if asked is None else WaitingQuestion(asked, None)
        ).understanding

    def _typed(self, text: str, question: WaitingQuestion | None, led: Led | None = None) -> Heard:
        language = self._ears.language
        said = language.understand(text)
        if question is None and isinstance(language, InspectionLanguage):
            said = language.typed(text).whole
            if said.decision is Decision.REFUSE and led is not None:
                by = language.led_by(led)
                said = by.named(language.understand, text) or said
        elif question is not None and isinstance(language, InspectionLanguage):
            answer = Answering(language, question.asked, again=question.again).understand(text)
            said = said if answer.decision is Decision.REFUSE else answer
        if said.kind is Kind.REMARK and not said.slots.get("remark"):
            said = Understanding(Decision.REFUSE, Kind.REMARK, "a remark has words", text)
        heard = typed_as(said)
        return self._by_side(heard if question is None else settled(heard, question, self._agreed))

    def _by_side(self, heard: Heard) -> Heard:
        said = by_side_of_traffic(heard.understanding, keeps_left=self._keeps_left)
        return heard if said is heard.understanding else replace(heard, understanding=said)

    def understand(self, text: str) -> Understanding:
        """What typed words mean."""
        return self._ears.language.understand(text)

    def asks_for(self, led: Led | None, heard: Heard) -> None:
        """Behind ``heard`` the walk asked for ``led``; None: for nothing any more."""
        self._led = None if led is None else (led, sound_of_heard(heard))

    def _led_by(self, clip: Clip | None) -> Led | None:
        """What the walk asked for, where ``clip`` (None: typed words) may answer it."""
        if self._led is None or self.standing_by or self.waiting is not None:
            return None
        led, asked = self._led
        asked_s = asked.end_s if asked else 0.0
        if clip is not None and (not self.bare_answers or clip.start_s - asked_s > WAITS_S):
            return None
        return led

    @property
    def language(self) -> Language:
        """What the words mean."""
        return self._ears.language

    def hear(self, clip: Clip) -> Heard:
        """One utterance; ``answers`` is set where it answers the question that waits."""
        ears, question = self._ears, self.pending.at(clip)
        language = ears.language
        led = self._led_by(clip)
        if led is not None and ears.reloads and isinstance(language, InspectionLanguage):
            return self._hear_led(clip, led, language)
        if question is None or not isinstance(language, InspectionLanguage):
            self._load(None)
            return hear_clip(clip, ears.listener, language, ears.judge)
        self._load(question.asked)
        answering = Answering(language, question.asked, again=question.again)
        judge = said_again(ears.judging(answering), question.asked, answering)
        heard = hear_clip(clip, ears.listener, answering, judge)
        if heard.understanding.decision is Decision.REFUSE and ears.reloads:
            # Short answers crowd out a whole sentence at times: heard once more without them.
            self._load(None)
            whole = hear_clip(clip, ears.listener, language, ears.judge)
            heard = heard if whole.understanding.decision is Decision.REFUSE else whole
        return settled(heard, question, self._agreed)

    def _hear_led(self, clip: Clip, led: Led, language: InspectionLanguage) -> Heard:
        """As ``hear``, with bare answers to what the walk asked for; they never crowd out a whole phrase."""
        ears, offered = self._ears, self._load_led(led, language)
        heard = hear_clip(clip, ears.listener, offered, ears.judging(offered))
        if heard.understanding.decision is not Decision.REFUSE:
            return heard
        self._load(None)
        return hear_clip(clip, ears.listener, language, ears.judge)

    def _joined(self, first: Heard, second: Heard, *, kept: bool) -> Heard | None:
        """Two utterances as one phrase that a pause cut in two (``hearing.joined``), or None.

        ``kept``: whether the first is in the record already, and with it the question it led to. A whole finding
        that answers it is no half of it.
        """
        if second.accepted and second.answers is not None:
            said = by_itself(second, self._ears.language)
            if said.decision is Decision.ACCEPT and said.finding is not None:
                return None
        whole = joined(first, second, self._together)
        if whole is None:
            return None
        question = self.pending.question if kept else self.pending.before_the_last()
        question = None if self.standing_by else question
        return whole if question is None else settled(whole, question, self._agreed)

    def _together(self, clip: Clip, *, free: bool = False) -> Heard:
        """What was said in two stretches, heard as one: as it was at the first silence, where nothing more
        was said since. ``free``: it may be a remark that the grammar knows nothing of."""
        known = self._ahead
        if known is not None and is_draft(known.clip, clip):
            return replace(known, clip=clip)
        ears = self._ears
        self._ahead = hear_clip(clip, ears.listener, ears.language, ears.judge, free=free)
        return self._ahead

    def _with_remark(self, first: Heard, second: Heard) -> Heard:
        return self._together(join(first.clip, second.clip), free=True)

    def _going_on(self, first: Heard, second: Heard) -> tuple[Heard, Heard | None]:
        """``second``, as what goes on from ``first`` where it does, and then the two of them.

        Of ``first`` the record has the findings already.
        """
        if not joinable(first.clip, second.clip, gap_s=BRIDGED_S):
            return second, None
        whole = self._together(join(first.clip, second.clip))
        further = going_on(first, second, whole)
        if further is None:
            return second, None
        return further, further if further.takes_back else whole

    def silence_s(self, draft: Heard, silences: Silences | None = None) -> float:
        """Seconds of silence that end the utterance which was heard so far as ``draft``.

        Where it may be the rest of what a pause cut in two, or go on from what was taken already, the two are
        heard as one now, while the silence lasts: as a whole phrase it ends as soon as any other, and need not
        be heard again behind it.
        """
        language, before, self._ahead = self._ears.language, self._before, None
        one: Heard | None = None
        if before is not None and in_a_remark(before, draft):
            one = rest_of_remark(draft, lambda: self._with_remark(before, draft))
            one = one if one is not None and one.accepted else None
        elif before is not None and may_go_on(before, draft):
            further, whole = self._going_on(before, draft)
            one = None if further.takes_back else whole
        elif before is not None and not before.accepted:
            one = self._joined(before, draft, kept=True)
        return silence_s(draft if one is None else one, language, silences)

    def warm(self) -> None:
        """Have the listener hear a phrase of our own voice, of which nothing is taken."""
        voice = bundled_voice() if self._ears.reloads else None
        if voice is not None:
            sound = voice.say(tuple(phrases("front tyre, tread depth, four millimetres.")))
            self._ears.listener.hear(Clip(sound, 0.0))

    def ready(self) -> None:
        """Prepare the listener for what may be said next, while nobody speaks."""
        led, language = self._led_by(self._led[1] if self._led else None), self._ears.language
        if led is not None and self.bare_answers and isinstance(language, InspectionLanguage):
            self._load_led(led, language)
        else:
            self._load(None if self.standing_by else self.waiting)

    def elsewhere(self) -> None:
        """What comes next is of another recording, which goes on where this one ended."""
        self._before = None
        self.pending.elsewhere()

    def afresh(self) -> None:
        """What comes next has nothing to do with what was heard; standing by goes on."""
        self._before = None
        self.pending.afresh()

    def _agreed(self, text: str) -> tuple[Understanding, ...]:
        language = self._ears.language
        return language.breath(text).agreed if isinstance(language, InspectionLanguage) else ()

    def _load(self, asked: Understanding | None) -> None:
        """The answers' words into the listener, where that takes a fraction of a second."""
        ears = self._ears
        if asked is self._loaded or not ears.reloads:
            return
        language = ears.language
        if asked is not None and isinstance(language, InspectionLanguage):
            ears.listener.load(Answering(language, asked))
        else:
            ears.listener.load(language)
        self._loaded = asked

    def _load_led(self, led: Led, language: InspectionLanguage) -> LedLanguage:
        """The bare answers' words into the listener, where that takes a fraction of a second."""
        if not isinstance(self._loaded, LedLanguage) or self._loaded.led is not led:
            offered = language.led(led)
            if self._ears.reloads:
                self._ears.listener.load(offered)
            self._loaded = offered
        return self._loaded


def utterances_of(clips: Iterable[Clip], conversation: Conversation) -> Iterator[Heard]:
    """The utterances of a recording, each once: what a pause cut in two is given as its whole.

    Each is held back until the next one shows whether they belong together.
    """
    held: Heard | None = None
    for clip in clips:
        turn = conversation.next(clip, kept=False)
        if held is not None and not turn.completes:
            yield held
        held = turn.heard
    if held is not None:
        yield held
