"""Question and answer: after a question the next utterance may be its answer.

``settles`` is pure. ``Conversation`` is the one way in which clips and typed words
become utterances, one after another, for every command, the demo and the benchmarks: it bridges a
pause that cut a phrase in two, and remembers the question that waits, and nothing else.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np

from fieldlog.audio.clip import Clip
from fieldlog.audio.endpointer import is_draft, join, joinable
from fieldlog.doubt.again import said_again
from fieldlog.doubt.question import telling_more, what_to_ask
from fieldlog.doubt.question import waits as waits  # a question's own, and asked for here
from fieldlog.grammar.language import Language, WordGraph
from fieldlog.hearing import BRIDGED_S, Heard, hear_clip, joined
from fieldlog.language.answers import APART, IN_DOUBT, says_nothing_of
from fieldlog.language.breath import Breath
from fieldlog.language.decide import meaning_key
from fieldlog.language.in_words import value_said
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.language.led import Led, LedLanguage
from fieldlog.language.sides import by_side_of_traffic
from fieldlog.model.command import Command
from fieldlog.model.hearing import Hearing
from fieldlog.model.question import Asks
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding
from fieldlog.shop.ears import Ears
from fieldlog.shop.gaps import with_gaps_asked
from fieldlog.shop.going_on import going_on, may_go_on
from fieldlog.shop.silence import Silences, silence_s

TAKES_NOTHING = {
    Command.NEGATIVE: "no: nothing of it is taken",
    Command.DISREGARD: "dropped: nothing is taken",
}
_EARLY = "said before the question was asked"
TURNS = (Command.STAND_BY, Command.GO_AHEAD)
"""From the first on nothing that is said counts, until the second."""
WAITS_S = 60.0
"""Seconds from the end of a question's words until a short word is no answer to it any more: long
enough to read a gauge again, short enough that a word to somebody else is not taken."""


def settles(asked: Understanding, said: Understanding) -> bool:
    """Whether what was said answers what was asked, wholly or by asking less than before.

    A whole finding does so only when it is about one of the things the question was about, and says of
    it what was asked, unless that may have been misheard: "left mirror fine" is no side of "mirror loose".
    """
    if said.decision is Decision.REFUSE:
        return False
    if asked.command_asked is not None:  # the command once more gives it too
        known = said.dialogue in (asked.command_asked, *TAKES_NOTHING)
        return known and said.decision is Decision.ACCEPT and said.kind is Kind.DIALOGUE
    if said.kind is Kind.DIALOGUE and said.dialogue in TAKES_NOTHING:
        return said.decision is Decision.ACCEPT
    if asked.asks is Asks.ALL_OF_IT:  # one of its findings would leave the others unsaid
        return False
    if Flag.ANSWERED in said.flags:
        return True
    if said.decision is Decision.ASK:
        meanings = {one.meaning for one in said.offered}
        return bool(meanings) and meanings <= {one.meaning for one in asked.offered}
    subjects = {one.subject for one in asked.offered}
    if said.finding is None or said.finding.subject not in subjects:
        return False
    anew = said.dialogue is Command.CORRECTION or not IN_DOUBT.isdisjoint(asked.flags)
    return anew or not says_nothing_of(asked.offered, said.finding)


def _settled_by_breath(asked: Understanding, parts: Sequence[Understanding]) -> bool:
    """Whether a breath answers: by one of its findings, or, where all were asked about, by all."""
    if asked.asks is not Asks.ALL_OF_IT:
        return any(settles(asked, part) for part in parts)
    said = {part.finding.subject for part in parts if part.finding is not None}
    return bool(parts) and said.issuperset(one.subject for one in asked.offered)


def _picked(asked: Understanding, said: Understanding) -> bool:
    """Whether what was said is one of the things that were offered, or takes nothing."""
    offered = {one.meaning for one in asked.offered}
    return all(one.meaning in offered for one in said.offered)


class Answering:
    """The inspection language while one question is open; implements ``Language``."""

    name = "inspection, answering"

    def __init__(
        self, language: InspectionLanguage, asked: Understanding, *, again: bool = False
    ) -> None:
        """Offers all of ``language``, and short answers to ``asked``.

        ``again``: something else was said after its utterance; a bare correction is not of that.
        """
        self._again = again
        self.hint = language.hint
        self.in_shop_words = language.in_shop_words
        self.speech = language.speech
        self.forms = language.forms
        self.told = language.told
        self._language = language
        self._asked = asked
        self._offered = language.answering(asked)
        self._known: dict[str, Understanding] = {}

    def word_graph(self) -> WordGraph:
        """The automaton for listeners that follow the grammar word by word."""
        return self._offered.word_graph()

    def jsgf(self) -> str:
        """The same language as one closed JSGF text."""
        return self._offered.jsgf()

    def phrases(self) -> list[str]:
        """A phrase list covering the language's words and word pairs."""
        return self._offered.phrases()

    def words(self) -> frozenset[str]:
        """Every word that can be said."""
        return self._offered.words()

    def understand(self, text: str) -> Understanding:
        """What ``text`` means while the question is open."""
        if text not in self._known:
            self._known[text] = self._understand(text)
        return self._known[text]

    def meaning(self, text: str) -> str:
        """A key equal for texts that mean the same; "" when the text is refused."""
        return meaning_key(self.understand(text))

    def is_yes_or_no(self, text: str) -> bool:
        """Whether ``text`` is a yes or a no as a whole, whatever that comes to here."""
        return self._language.understand(text).dialogue in (Command.AFFIRM, Command.NEGATIVE)

    def _understand(self, text: str) -> Understanding:
        whole = self._language.understand(text)
        if whole.parts:
            return whole
        said = self._offered.understand(text)
        if said.dialogue is Command.NEGATIVE:
            return self._language.understand(text)  # weighed like any other word before it counts
        bare = said.dialogue is Command.CORRECTION and said.finding is None
        if bare and not self._again and "value" in said.slots:
            # A bare correction is of what was said last, and that is the question's utterance.
            anew = self._offered.understand(value_said(said))
            return replace(said, slots={}) if anew.decision is Decision.REFUSE else anew
        return said


@dataclass(frozen=True, slots=True)
class _Question:
    """What waits for an answer, and where its words ended in the recording that is heard now."""

    asked: Understanding
    clip: Clip | None
    """None: it was asked in an earlier recording, and waits from the start of this one."""
    again: bool = False
    """Whether it was told again behind something else: "disregard" and a bare correction are of that."""


@dataclass(frozen=True, slots=True)
class Turn:
    """One utterance in its place."""

    heard: Heard
    completes: bool = False
    """Whether it is the whole of a phrase whose beginning was given before."""


class Conversation:
    """Takes utterances in order, each with the question before it in mind."""

    def __init__(self, ears: Ears, *, keeps_left: bool = False) -> None:
        """``ears``: loaded for the language; short answers are heard where that is the inspection's.

        ``keeps_left``: whether traffic does where the vehicle is; "nearside" is asked about elsewhere.
        """
        self._ears = ears
        self._keeps_left = keeps_left
        self._loaded: Understanding | LedLanguage | None = None
        self._waiting: _Question | None = None
        self._earlier: _Question | None = None
        self._older: _Question | None = None
        self._told_again: Understanding | None = None
        self._before: Heard | None = None
        self._ahead: Heard | None = None
        """What was said before and what is being said, as one, at the first silence."""
        self._latest: Understanding | None = None
        self.standing_by = False
        """Whether nothing that is said counts now: it neither asks nor answers anything."""
        self._stood_by = False
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
        return self._waiting.asked if self._waiting else None

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
                if not (kept and before.accepted):
                    whole = self._joined(before, heard, kept=kept)
                elif may_go_on(before, heard):
                    heard, breath = self._going_on(before, heard)
        turn = Turn(heard) if whole is None else Turn(whole, completes=True)
        turn = replace(turn, heard=self.minded(with_gaps_asked(self._by_side(turn.heard))))
        self._taken(turn.heard, told=kept)
        self._before = breath or self._before
        return turn

    def typed(self, text: str) -> Heard:
        """Typed words, which may answer the question that waits; they have no sound."""
        question = None if self.standing_by else self._waiting
        heard = self._typed(text, question, self._led_by(None))
        self._taken(heard, told=True)
        self._before = None
        return heard

    def anew(self, text: str, asked: Understanding | None) -> Understanding:
        """What ``text`` means after the question ``asked``; nothing is remembered of it."""
        return self._typed(text, None if asked is None else _Question(asked, None)).understanding

    def _typed(self, text: str, question: _Question | None, led: Led | None = None) -> Heard:
        clip = Clip(np.zeros(0, dtype=np.float32), 0.0)
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
        heard = Heard(clip, Hearing("typed", (), 0.0), said, (), 0.0, complete=True)
        return self._by_side(heard if question is None else self._settled(heard, question))

    def _by_side(self, heard: Heard) -> Heard:
        said = by_side_of_traffic(heard.understanding, keeps_left=self._keeps_left)
        return heard if said is heard.understanding else replace(heard, understanding=said)

    def understand(self, text: str) -> Understanding:
        """What typed words mean."""
        return self._ears.language.understand(text)

    def asks_for(self, led: Led | None, heard: Heard) -> None:
        """Behind ``heard`` the walk asked for ``led``; None: for nothing any more."""
        self._led = None if led is None else (led, _sound(heard))

    def _led_by(self, clip: Clip | None) -> Led | None:
        """What the walk asked for, where ``clip`` (None: typed words) may answer it."""
        if self._led is None or self.standing_by or self._waiting is not None:
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

    def resume(self, asked: Understanding, *, again: bool = False) -> bool:
        """Let a question that the record left open wait for its answer; whether one can settle it.

        ``again``: something else was said after it.
        """
        if waits(asked):
            self._waiting = _Question(asked, None, again)
            return True
        return False

    def completed(self, heard: Heard, said: Understanding) -> None:
        """``heard`` was taken as ``said``, with what the record told of it: that question waits.

        Unless something came after it, which was understood without that.
        """
        if self._latest is not heard.understanding or self.standing_by:
            return
        if waits(said):
            self._waiting = _Question(said, _sound(heard))
        elif waits(heard.understanding):  # what the record told of it left nothing to ask
            self._waiting = None

    def hear(self, clip: Clip) -> Heard:
        """One utterance; ``answers`` is set where it answers the question that waits."""
        ears, question = self._ears, self._question(clip)
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
        return self._settled(heard, question)

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

        ``kept``: whether the first is in the record already, and with it the question it led to.
        """
        whole = joined(first, second, self._together)
        question = self._waiting if kept else self._earlier
        if not kept and whole is not None:
            self._waiting, self.standing_by = self._earlier, self._stood_by
        question = None if self.standing_by else question
        return whole if whole is None or question is None else self._settled(whole, question)

    def _together(self, clip: Clip) -> Heard:
        """What was said in two stretches, heard as one: as it was at the first silence, where nothing more
        was said since."""
        known = self._ahead
        if known is not None and is_draft(known.clip, clip):
            return replace(known, clip=clip)
        ears = self._ears
        return hear_clip(clip, ears.listener, ears.language, ears.judge)

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

    def told_again(self, heard: Heard) -> Understanding | None:
        """The question that waits though ``heard``, the newest utterance, was about something else."""
        return self._told_again if self._latest is heard.understanding else None

    def _taken(self, heard: Heard, *, told: bool) -> None:
        """What waits from now on: the question of this utterance, the one before, or none.

        ``told``: what becomes of it is told at once, and with it a question that is still open.
        """
        said = heard.understanding
        self._before, self._earlier, self._stood_by = heard, self._waiting, self.standing_by
        self._latest, self._told_again = said, None
        if said.decision is Decision.ACCEPT and said.dialogue in TURNS:
            self.standing_by = said.dialogue is Command.STAND_BY
        if self.standing_by:
            return  # the question that waits goes on waiting
        if heard.answers is None and said.decision is not Decision.REFUSE:
            self._no_command_asked()
        if waits(said):
            if heard.answers is None and told:
                self._older = self._waiting
            self._waiting = _Question(said, _sound(heard))
        elif heard.answers is not None and heard.answers.command_asked is Command.DISREGARD:
            self._no_command_asked()
            if said.dialogue is Command.NEGATIVE:
                self._tell_again(self._waiting, heard)
            elif self._waiting is not None and not self._waiting.again:
                self._waiting = None  # what was asked before is what is dropped
        elif heard.answers is not None:
            self._tell_again(self._older, heard)
        elif heard.accepted and (said.finding is not None or heard.parts):
            self._tell_again(self._waiting if told else None, heard)
        elif said.decision is Decision.ASK:
            self._waiting = self._older = (
                None  # "yes" would be to this, which no short word settles
            )

    def _no_command_asked(self) -> None:
        """ "Did you say 'disregard that'?" is over, of what came before it: the question before it waits.

        Told again, it would be of what has been said since.
        """
        if self._waiting is not None and self._waiting.asked.command_asked is not None:
            self._waiting, self._older = self._older, None

    def _tell_again(self, question: _Question | None, heard: Heard) -> None:
        """Let ``question`` wait behind ``heard``, which was about something else: once.

        Not whether to sign, behind a finding: whoever was asked was not told of that.
        """
        self._older = None
        found = heard.accepted and (heard.understanding.finding is not None or bool(heard.parts))
        over = found and question is not None and question.asked.dialogue is Command.SIGN_OFF
        if question is None or question.again or over:
            self._waiting = None
            return
        self._waiting = _Question(question.asked, _sound(heard), again=True)
        self._told_again = question.asked

    def silence_s(self, draft: Heard, silences: Silences | None = None) -> float:
        """Seconds of silence that end the utterance which was heard so far as ``draft``.

        Where it may be the rest of what a pause cut in two, the two are heard as one now, while the
        silence lasts: as a whole phrase it ends as soon as any other, and need not be heard again behind it.
        """
        graph, before, self._ahead = self._ears.language.word_graph(), self._before, None
        apart = before is None or before.accepted or draft.accepted
        if before is None or apart or not joinable(before.clip, draft.clip, gap_s=BRIDGED_S):
            return silence_s(draft, graph, silences)
        self._ahead = self._together(join(before.clip, draft.clip))
        whole = self._joined(before, draft, kept=True)
        return silence_s(draft if whole is None else whole, graph, silences)

    def ready(self) -> None:
        """Prepare the listener for what may be said next, while nobody speaks."""
        led, language = self._led_by(self._led[1] if self._led else None), self._ears.language
        if led is not None and self.bare_answers and isinstance(language, InspectionLanguage):
            self._load_led(led, language)
        else:
            self._load(None if self.standing_by else self.waiting)

    def elsewhere(self) -> None:
        """What comes next is of another recording, which goes on where this one ended."""
        if self._waiting:
            self._waiting = replace(self._waiting, clip=None)
        self._earlier = self._older = self._before = None

    def afresh(self) -> None:
        """What comes next has nothing to do with what was heard; standing by goes on."""
        self._waiting = self._earlier = self._older = self._before = None

    def _question(self, clip: Clip) -> _Question | None:
        if self.standing_by:
            return None
        question = self._waiting
        asked_s = question.clip.end_s if question and question.clip else 0.0
        if question and clip.start_s - asked_s > WAITS_S:
            self._waiting = question = None
        return question

    def _settled(self, heard: Heard, question: _Question) -> Heard:
        asked, said = question.asked, heard.understanding
        if said.dialogue is Command.AFFIRM and heard.accepted and asked.asks is Asks.ALL_OF_IT:
            agreed = self._agreed(asked.text)
            if agreed:
                whole = Breath(f"{asked.text}{APART}{heard.text}", agreed).whole
                if Flag.MORE_SAID in asked.flags:
                    whole = telling_more(whole)
                return replace(heard, understanding=whole, answers=asked)
        if _settled_by_breath(asked, heard.parts):
            if asked.dialogue is Command.CORRECTION:
                asked_of = Breath(heard.text, heard.parts)
                reason = "which of it corrects is not certain"
                return replace(heard, understanding=asked_of.asked(reason).whole)
            return replace(heard, answers=asked)
        if not settles(asked, said) or (question.again and said.dialogue is Command.DISREGARD):
            return heard
        goes_on = question.clip is not None and joinable(question.clip, heard.clip)
        given = asked.command_asked is not None and said.dialogue is asked.command_asked
        if given and goes_on and Flag.ANSWERED in said.flags:
            # Nobody had heard the question yet: "affirm" was of something else.
            early = replace(asked, text=said.text, reason=_EARLY)
            return replace(heard, understanding=early, answers=asked)
        if said.dialogue in TAKES_NOTHING and not given:
            said = replace(said, reason=TAKES_NOTHING[said.dialogue])
        elif asked.dialogue is Command.CORRECTION and said.kind is Kind.FINDING:
            said = replace(
                said, dialogue=Command.CORRECTION
            )  # "front pads five millimetres": said anew
        if goes_on and Flag.ANSWERED in said.flags and not _picked(asked, said):
            # "... four point", a pause, "two millimetres": nobody had heard the question yet.
            said = replace(
                said,
                decision=Decision.ASK,
                reason=f"{_EARLY}: it may be the end of the same sentence",
                question=what_to_ask(said, ()),
            )
        if Flag.ANSWERED in said.flags and Flag.MORE_SAID in (*asked.flags, *said.flags):
            said = telling_more(said)
        return replace(heard, understanding=said, answers=asked)

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


def _sound(heard: Heard) -> Clip | None:
    return heard.clip if len(heard.clip.samples) else None


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
