"""The pipeline from a clip to an understanding, with listeners that say what the test tells them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fieldlog.audio.behind import left_over
from fieldlog.audio.clip import FRAME, RATE, Clip
from fieldlog.doubt.decide import asked_instead
from fieldlog.grammar.language import Language, is_said
from fieldlog.grammar.tagged import TaggedLanguage
from fieldlog.hearing import Heard, as_promised, hear_clip, stretches_of
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.language.led import Led
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding
from fieldlog.shop.conversation import Conversation, utterances_of
from fieldlog.shop.ears import Ears
from fieldlog.shop.silence import Silences

ORDERS = """#JSGF V1.0;
grammar tea;
public <tea> = [a | one] (small | large) {size} tea [with (milk | sugar) {extra}];
"""


@dataclass
class Told:
    """A listener that says the words written for the sound it is given (its first sample)."""

    words: dict[float, str]
    plain: str = ""
    name: str = "told"
    heard: list[float] = field(default_factory=list)

    def load(self, language: Language) -> None:
        """Nothing to load."""

    def hear(self, clip: Clip) -> Hearing:
        key = round(float(clip.samples.sum()), 3)
        self.heard.append(key)
        text = self.words.get(key, "")
        return Hearing(self.name, (Hypothesis(text, 0.0),) if text else (), 1.0)

    def transcribe(self, clip: Clip) -> str:
        return self.plain

    def close(self) -> None:
        """Nothing to free."""


def sound(value: float, at: float, seconds: float = 0.5) -> Clip:
    samples = np.zeros(int(seconds * RATE), dtype=np.float32)
    samples[0] = value
    return Clip(samples, at)


def as_parsed(understanding: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
    return understanding


@pytest.fixture(scope="module")
def tea(tmp_path_factory: pytest.TempPathFactory) -> TaggedLanguage:
    path: Path = tmp_path_factory.mktemp("grammar") / "tea.jsgf"
    path.write_text(ORDERS, encoding="utf-8")
    return TaggedLanguage.from_file(path)


def texts(words: dict[float, str], clips: list[Clip], language: Language) -> list[str]:
    return [
        heard.text
        for heard in utterances_of(clips, Conversation(Ears(language, Told(words), as_parsed)))
    ]


def test_a_pause_inside_a_phrase_does_not_cut_it(tea: TaggedLanguage) -> None:
    words = {0.1: "small tea", 0.2: "", 0.3: "small tea with milk"}
    conversation = Conversation(Ears(tea, Told(words), as_parsed))
    (heard,) = utterances_of([sound(0.1, 0.0), sound(0.2, 1.0)], conversation)
    assert heard.text == "small tea with milk"
    assert dict(heard.understanding.slots) == {"size": "small", "extra": "milk"}
    assert (heard.clip.start_s, heard.clip.end_s) == (0.0, 1.5)


def test_two_whole_phrases_are_never_made_one(tea: TaggedLanguage) -> None:
    words = {0.1: "small tea", 0.2: "large tea", 0.3: "small tea with milk"}
    clips = [sound(0.1, 0.0), sound(0.2, 1.0)]
    assert texts(words, clips, tea) == ["small tea", "large tea"]


def test_what_follows_later_is_another_utterance(tea: TaggedLanguage) -> None:
    words = {0.1: "small tea", 0.2: "", 0.3: "small tea with milk"}
    assert texts(words, [sound(0.1, 0.0), sound(0.2, 9.0)], tea) == ["small tea", ""]


@pytest.mark.parametrize("whole", ["small tea", "large tea with sugar", "nonsense"])
def test_a_whole_that_says_no_more_or_something_else_is_not_taken(
    tea: TaggedLanguage, whole: str
) -> None:
    words = {0.1: "small tea", 0.2: "", 0.3: whole}
    assert texts(words, [sound(0.1, 0.0), sound(0.2, 1.0)], tea) == ["small tea", ""]


def test_no_utterance_is_lost_whatever_is_joined(tea: TaggedLanguage) -> None:
    words = {0.1: "small", 0.2: "tea", 0.3: "small tea", 0.4: "large tea"}
    clips = [sound(0.1, 0.0), sound(0.2, 1.0), sound(0.4, 2.0)]
    assert texts(words, clips, tea) == ["small tea", "large tea"]


def test_doubt_may_only_take_away(tea: TaggedLanguage) -> None:
    def ask(understanding: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
        return Understanding(Decision.ASK, understanding.kind, "unsure", understanding.text)

    heard = hear_clip(sound(0.1, 0.0), Told({0.1: "small tea"}), tea, ask)
    assert (heard.understanding.decision, heard.complete) == (Decision.ASK, True)


def refusing(*refused: str) -> Callable[[Understanding, Hearing, Clip], Understanding]:
    """Doubt about these words: the nearest phrase of the grammar, but nobody said it."""

    def judge(understanding: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
        if understanding.text not in refused:
            return understanding
        return replace(understanding, decision=Decision.REFUSE, kind=Kind.NOTHING, finding=None)

    return judge


def heard_as(
    words: dict[float, str], language: Language, *refused: str, second_at: float = 2.0
) -> list[tuple[str, bool]]:
    """Two clips, and what is heard of each and of both (0.3); what is refused, what counts."""
    clips = [sound(0.1, 0.0), sound(0.2, second_at)]
    ears = Ears(language, Told(words), refusing(*refused))
    found = utterances_of(clips, Conversation(ears))
    return [(each.text, each.accepted) for each in found]


class TestRefusedHalves:
    WHOLE = "front pads two millimetres"

    @pytest.mark.parametrize(
        ("first", "second"),
        [
            ("front brake pads are good", "rear tyre tread depth two millimetres"),
            ("front brake pads are good", "two millimetres"),
            ("front pads", "rear tyre tread depth two millimetres"),
        ],
    )
    def test_their_words_count_for_nothing(
        self, language: InspectionLanguage, first: str, second: str
    ) -> None:
        words = {0.1: first, 0.2: second, 0.3: self.WHOLE}
        assert heard_as(words, language, first, second) == [(self.WHOLE, True)]

    def test_two_that_are_nothing_together_stay_nothing(self, language: InspectionLanguage) -> None:
        words = {0.1: "front tyre cracked", 0.2: "rear tyre worn", 0.3: self.WHOLE}
        found = heard_as(words, language, "front tyre cracked", "rear tyre worn", self.WHOLE)
        assert found == [("front tyre cracked", False), ("rear tyre worn", False)]

    @pytest.mark.parametrize("whole", ["disregard", "take photo", "affirm"])
    def test_no_word_of_the_dialogue_is_made_of_two(
        self, language: InspectionLanguage, whole: str
    ) -> None:
        words = {0.1: "front tyre cracked", 0.2: "rear tyre worn", 0.3: whole}
        found = heard_as(words, language, "front tyre cracked", "rear tyre worn")
        assert [accepted for _, accepted in found] == [False, False]

    def test_what_was_accepted_stays_in_the_whole(self, language: InspectionLanguage) -> None:
        """Half a phrase before a finding never makes another finding of it."""
        more = "the front brake pads are at two millimetres"
        words = {0.1: "front", 0.2: "left fork seal leaking", 0.3: more}
        found = heard_as(words, language)
        assert found == [("front", False), ("left fork seal leaking", True)]
        words = {0.1: "left fork seal leaking", 0.2: "two millimetres", 0.3: more}
        found = heard_as(words, language)
        assert found == [("left fork seal leaking", True), ("two millimetres", False)]

    def test_what_was_taken_takes_in_no_other_phrase(
        self, language: InspectionLanguage, tea: TaggedLanguage
    ) -> None:
        """A phrase that was not heard well enough is told as such, not lost in another."""
        words = {0.1: "small tea", 0.2: "large tea", 0.3: "small tea with milk"}
        assert heard_as(words, tea, "large tea") == [("small tea", True), ("large tea", False)]
        words = {0.1: "front tyre cracked", 0.2: "rear tyre worn", 0.3: "the rear tyre worn"}
        found = heard_as(words, language, "front tyre cracked")
        assert found == [("front tyre cracked", False), ("rear tyre worn", True)]

    @pytest.mark.parametrize(("pause_s", "bridged"), [(1.0, True), (1.85, True), (2.0, False)])
    def test_a_second_or_two_of_pause_is_bridged(
        self, language: InspectionLanguage, pause_s: float, bridged: bool
    ) -> None:
        """Between the clips; about 0.64 s more lie between the words."""
        words = {0.1: "front brake pads are good", 0.2: "two millimetres", 0.3: self.WHOLE}
        found = heard_as(words, language, "front brake pads are good", second_at=0.5 + pause_s)
        assert (found == [(self.WHOLE, True)]) is bridged

    def test_a_question_keeps_its_words(self, language: InspectionLanguage) -> None:
        words = {0.1: "front pads two", 0.2: "", 0.3: "front tyre cracked"}
        assert heard_as(words, language) == [("front pads two", False), ("", False)]

    def test_two_whole_phrases_are_never_made_one(self, language: InspectionLanguage) -> None:
        words = {0.1: "front tyre cracked", 0.2: "rear tyre worn", 0.3: self.WHOLE}
        assert heard_as(words, language) == [("front tyre cracked", True), ("rear tyre worn", True)]


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


class TestFreeSpeech:
    def hear(self, plain: str, language: InspectionLanguage) -> Heard:
        def refuse(understanding: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
            return Understanding(Decision.REFUSE, Kind.NOTHING, "no phrase", understanding.text)

        return hear_clip(sound(0.1, 0.0), Told({0.1: "horn sound"}, plain), language, refuse)

    def test_a_remark_is_taken_from_plain_words(self, language: InspectionLanguage) -> None:
        heard = self.hear("Remark, it pulls to the left.", language)
        assert heard.understanding.kind is Kind.REMARK
        assert heard.accepted

    @pytest.mark.parametrize("plain", ["Front pads two millimetres.", "disregard that", "", "hm"])
    def test_a_finding_never_is(self, language: InspectionLanguage, plain: str) -> None:
        assert self.hear(plain, language).understanding.decision is Decision.REFUSE

    def test_a_remark_may_be_heard_by_both_ways_together(
        self, language: InspectionLanguage
    ) -> None:
        told = Told({0.1: "remark"}, "Remarkly owner says it pulls to the left.")
        heard = hear_clip(sound(0.1, 0.0), told, language, as_parsed)
        assert heard.understanding.kind is Kind.REMARK
        assert heard.understanding.slots["remark"] == "owner says it pulls to the left."

    def test_another_opening_is_no_remark(self, language: InspectionLanguage) -> None:
        def ask(understanding: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
            return Understanding(Decision.ASK, understanding.kind, "unsure", understanding.text)

        told = Told({0.1: "remark"}, "The weather is nice today.")
        heard = hear_clip(sound(0.1, 0.0), told, language, ask)
        assert heard.understanding.decision is Decision.ASK


class TestStretches:
    TIMES = ((0.3, 0.6), (0.6, 1.0), (1.0, 1.1), (1.1, 1.5), (1.5, 1.9))

    def parts(self, *texts: str) -> list[Understanding]:
        return [Understanding(Decision.ACCEPT, Kind.FINDING, "", text) for text in texts]

    def test_each_part_has_its_own_and_together_they_hold_the_clip(self) -> None:
        said = self.parts("horn works", "chain dry")
        found = stretches_of(said, "horn works and chain dry", self.TIMES)
        assert found == ((None, 1.0), (1.1, None))

    def test_a_word_said_twice_is_found_in_its_place(self) -> None:
        said = self.parts("horn works", "works")
        found = stretches_of(said, "horn works and then works", self.TIMES)
        assert found == ((None, 1.0), (1.5, None))

    @pytest.mark.parametrize("said", [("pegs bent", "pegs bent"), ("chain dry", "horn works")])
    def test_parts_whose_words_are_not_in_order_have_the_whole(self, said: tuple[str, ...]) -> None:
        found = stretches_of(self.parts(*said), "horn works and chain dry", self.TIMES)
        assert found == ((None, None), (None, None))

    def test_without_times_each_has_the_whole(self) -> None:
        said = self.parts("horn works", "chain dry")
        assert stretches_of(said, "horn works and chain dry", ()) == ((None, None),) * 2


def sounding(voice: list[float]) -> Clip:
    """A clip of a steady sound with this voice activity."""
    return Clip(np.full(len(voice) * FRAME, 0.1, np.float32), voice=tuple(voice))


class TestLeftOver:
    """Frames of 32 ms; words end at 0.64 s, i.e. with frame 20."""

    TIMES = ((0.0, 0.32), (0.32, 0.64))

    @pytest.mark.parametrize(("frames", "told"), [(12, False), (13, True), (40, True)])
    def test_four_tenths_of_a_second_behind_the_last_word_are_told(
        self, frames: int, told: bool
    ) -> None:
        voice = [0.9] * 20 + [0.9] * frames + [0.1] * 10
        assert bool(left_over(sounding(voice), self.TIMES)) is told

    @pytest.mark.parametrize(("below_db", "told"), [(0.0, True), (7.0, True), (9.0, False)])
    def test_a_voice_far_below_the_speaker_is_somebody_else(
        self, below_db: float, told: bool
    ) -> None:
        clip = sounding([0.9] * 45)
        clip.samples[20 * FRAME :] *= 10 ** (-below_db / 20)
        assert bool(left_over(clip, self.TIMES)) is told

    def test_it_says_from_when_to_when(self) -> None:
        voice = [0.9] * 20 + [0.1] * 5 + [0.9] * 14 + [0.1] * 3
        ((begin, end),) = left_over(sounding(voice), self.TIMES)
        assert (begin, end) == (pytest.approx(25 * 0.032), pytest.approx(39 * 0.032))

    def test_what_is_not_known_is_not_told(self) -> None:
        assert left_over(sounding([]), self.TIMES) == left_over(sounding([0.9] * 40), ()) == ()


@dataclass
class Timed(Told):
    """Words one behind the other at the clip's start, 0.2 s each."""

    def hear(self, clip: Clip) -> Hearing:
        found = super().hear(clip)
        count = len(found.hypotheses[0].text.split()) if found.hypotheses else 0
        times = tuple((0.2 * n, 0.2 * n + 0.2) for n in range(count))
        return replace(found, times=times)


class TestTheRestIsHeardAgain:
    """One clip of 1.92 s, speech in all of it; the listener tells its first words only."""

    def heard(self, rest: str, *, accepts: bool = True) -> Heard:
        clip = Clip(np.full(60 * FRAME, 0.001, np.float32), 5.0, voice=(0.9,) * 60)
        left = clip.part(0.608, 2.0)  # what is left begins in frame 19
        listener = Timed(
            {
                round(float(clip.samples.sum()), 3): "left mirror cracked",
                round(float(left.samples.sum()), 3): rest,
            }
        )
        language = load_language()

        def judge(said: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
            taken = accepts and not hearing.left_over
            return said if taken else replace(said, decision=Decision.ASK, parts=())

        return hear_clip(clip, listener, language, judge)

    def test_findings_in_it_are_the_next_ones(self) -> None:
        whole = self.heard("right fork seal leaking horn works left mirror")
        assert not whole.accepted  # what was heard of the rest is no whole sentence
        whole = self.heard("horn works chain dry right mirror loose")
        assert [part.text for part in whole.parts] == [
            "left mirror cracked",
            "horn works",
            "chain dry",
            "right mirror loose",
        ]
        assert not whole.hearing.left_over
        assert whole.hearing.times[3][0] == pytest.approx(0.608)

    @pytest.mark.parametrize("rest", ["", "horn", "affirm", "disregard", "horn works"])
    def test_anything_else_is_told_and_nothing_is_taken(self, rest: str) -> None:
        """Three and four words cover less than the rest of the clip, so that more was said."""
        whole = self.heard(rest)
        assert not whole.accepted
        assert whole.hearing.left_over

    def test_what_would_not_count_by_itself_takes_nothing_with_it(self) -> None:
        whole = self.heard("horn works chain dry right mirror loose", accepts=False)
        assert not whole.accepted


@pytest.mark.parametrize("between", ["no", "or", "sorry", "i mean", "wait"])
def test_what_turns_a_finding_round_is_offered_and_asked_about(
    language: InspectionLanguage, between: str
) -> None:
    """Not offered, it would be heard as nothing, and both findings would count."""
    words = f"front tyre worn {between} rear tyre worn"
    assert is_said(language.word_graph(), words.split())
    asked = language.understand(words)
    assert (asked.decision, asked.parts) == (Decision.ASK, ())


def test_a_remark_leaves_nothing_over() -> None:
    """Its words are no phrase of the grammar beyond the first, and all of them are kept."""
    clip = Clip(np.full(60 * FRAME, 0.001, np.float32), voice=(0.9,) * 60)
    key = round(float(clip.samples.sum()), 3)
    listener = Timed({key: "remark"}, plain="Remark the owner says it pulls to the left.")
    heard = hear_clip(clip, listener, load_language(), as_parsed)
    assert heard.understanding.kind is Kind.REMARK
    assert heard.understanding.slots["remark"] == "the owner says it pulls to the left."
    assert heard.hearing.left_over == ()


NO_TEXT: Any = None
ODD = {
    "nothing": None,
    "no text": Hearing("odd", (Hypothesis(NO_TEXT, 0.0),), 0.0),
    "no words": Hearing("odd", (Hypothesis(" ", 0.0),), 0.0),
}


@pytest.mark.parametrize("odd", ODD.values(), ids=ODD)
def test_a_listener_that_answers_nothing_loses_no_utterance(odd: Any, tea: TaggedLanguage) -> None:
    """It is kept and told as an utterance in which nothing was understood."""

    class Odd:
        name = "odd"

        def hear(self, clip: Clip) -> Any:
            return odd

    clip = Clip(np.full(RATE, 0.1, np.float32))
    heard = hear_clip(clip, Odd(), tea, lambda said, *_: said)  # type: ignore[arg-type]
    assert heard.clip is clip
    assert heard.understanding.decision is Decision.REFUSE
    assert heard.hearing.hypotheses == ()


def test_a_text_that_comes_twice_is_one_hypothesis() -> None:
    twice = Hypothesis("a", 1.0)
    kept = as_promised(
        Hearing("odd", (twice, twice, Hypothesis("b", 0.5)), 0.0, ((0.1, 0.2),)), "odd"
    )
    assert [each.text for each in kept.hypotheses] == ["a", "b"]
    assert kept.times == ((0.1, 0.2),)
    first_lost = Hearing("odd", (Hypothesis("", 1.0), twice), 0.0, ((0.1, 0.2),))
    assert as_promised(first_lost, "odd").times == ()


def test_the_rest_of_a_phrase_ends_soon_and_is_heard_with_it_while_the_silence_lasts() -> None:
    """ "The battery reads ... twelve volts": the rest alone is half a phrase, which is waited for longest."""
    language = load_language()
    words = {0.1: "the battery reads", 0.2: "twelve volts", 0.3: "the battery reads twelve volts"}
    listener = Told(words)
    conversation = Conversation(Ears(language, listener, as_parsed))
    conversation.next(sound(0.1, 0.0), kept=True)
    draft = conversation.hear(sound(0.2, 2.0))
    assert conversation.silence_s(draft) < Silences().usual
    assert listener.heard == [0.1, 0.2, 0.3]
    longer = sound(0.2, 2.0, 0.55)  # some more silence: the same to the ear
    turn = conversation.next(longer, kept=True, ahead=replace(draft, clip=longer))
    assert turn.completes
    assert turn.heard.text == "the battery reads twelve volts"
    assert turn.heard.clip.end_s == longer.end_s
    assert listener.heard == [0.1, 0.2, 0.3]


def test_what_goes_on_from_a_kept_finding_is_heard_with_it_while_the_silence_lasts() -> None:
    """ "Left mirror cracked ... right one tight": a whole phrase as one, nothing by itself."""
    language = load_language()
    words = {0.1: "left mirror cracked", 0.2: "right one tight"}
    listener = Told(words | {0.3: "left mirror cracked right one tight"})
    conversation = Conversation(Ears(language, listener, as_parsed))
    conversation.next(sound(0.1, 0.0), kept=True)
    draft = conversation.hear(sound(0.2, 2.0))
    assert draft.understanding.decision is Decision.REFUSE
    assert conversation.silence_s(draft) < Silences().usual
    longer = sound(0.2, 2.0, 0.55)
    turn = conversation.next(longer, kept=True, ahead=replace(draft, clip=longer))
    assert turn.heard.text == "right one tight"
    assert turn.heard.accepted
    assert listener.heard == [0.1, 0.2, 0.3]


def test_a_listener_is_warmed_by_what_nobody_said_and_nothing_is_taken_of_it() -> None:
    listener = Told({})
    conversation = Conversation(Ears(load_language(), listener, as_parsed, reloads=True))
    conversation.warm()
    assert len(listener.heard) == 1
    assert conversation.waiting is None
    Conversation(Ears(load_language(), listener, as_parsed)).warm()
    assert len(listener.heard) == 1


def test_a_whole_finding_that_answers_is_not_heard_with_what_it_answers() -> None:
    """ "Rear tread forty-three ...": asked about; said anew in full, it is no half of that."""
    language = load_language()
    words = {
        0.1: "rear tread forty three thirty seconds",
        0.2: "rear tread depth four thirty seconds",
    }
    listener = Told(words | {0.3: "rear tread depth four thirty seconds"})
    conversation = Conversation(Ears(language, listener, as_parsed))
    asked = conversation.next(sound(0.1, 0.0), kept=True).heard
    assert asked.understanding.decision is Decision.ASK
    draft = conversation.hear(sound(0.2, 2.0))
    assert draft.answers is not None
    assert conversation.silence_s(draft) == Silences().settled
    turn = conversation.next(sound(0.2, 2.0), kept=True, ahead=draft)
    assert turn.heard.accepted
    assert not turn.completes
    assert listener.heard == [0.1, 0.2]


def test_an_answer_is_heard_with_what_it_answers_while_the_silence_lasts_and_ends_soon() -> None:
    """What was asked about may have been the first half of a phrase: whether it was is known at its end."""
    language = load_language()
    words = {0.1: "left mirror loose", 0.2: "affirmative", 0.3: "left mirror loose"}
    listener = Told(words)

    def unsure(said: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
        asks = hearing.hypotheses[0].text == words[0.1]
        return asked_instead(said, (), "not clear", Flag.UNSURE) if asks else said

    conversation = Conversation(Ears(language, listener, unsure))
    asked = conversation.next(sound(0.1, 0.0), kept=True).heard
    assert asked.understanding.decision is Decision.ASK
    draft = conversation.hear(sound(0.2, 2.2))
    assert draft.answers is not None
    assert conversation.silence_s(draft) == Silences().settled
    heard_by_then = len(listener.heard)
    longer = sound(0.2, 2.2, 0.55)
    turn = conversation.next(longer, kept=True, ahead=replace(draft, clip=longer))
    assert turn.heard.accepted
    assert len(listener.heard) == heard_by_then


def test_what_goes_on_behind_its_first_silence_is_heard_anew() -> None:
    language = load_language()
    words = {0.1: "the battery reads", 0.2: "twelve", 0.5: "twelve volts"}
    words |= {0.3: "the battery reads twelve", 0.6: "the battery reads twelve volts"}
    listener = Told(words)
    conversation = Conversation(Ears(language, listener, as_parsed))
    conversation.next(sound(0.1, 0.0), kept=True)
    conversation.silence_s(conversation.hear(sound(0.2, 2.0)))
    turn = conversation.next(sound(0.5, 2.0, 1.5), kept=True)
    assert turn.heard.text == "the battery reads twelve volts"


def test_a_bare_answer_with_more_behind_it_is_not_made_a_breath() -> None:
    """ "Fine ... left mirror loose" behind "Next: front brake pads": of what the first was is not said."""
    language = load_language().led(Led(("front brake pads",), lambda one: one.position == "front"))
    frames = (0.9,) * 30 + (0.0,) * 10 + (0.9,) * 40
    samples = np.tile(np.array([0.125, -0.125], np.float32), 40 * FRAME)
    samples[0] += 0.125
    clip = Clip(samples, 0.0, voice=frames)

    class Timed(Told):
        def hear(self, clip: Clip) -> Hearing:
            heard = super().hear(clip)
            return replace(heard, times=((0.0, 0.9),) if len(heard.hypotheses) else ())

    listener = Timed({0.125: "fine", 0.0: "left mirror loose"})
    heard = hear_clip(clip, listener, language, as_parsed)
    assert heard.parts == ()
    assert heard.hearing.left_over
    assert Flag.LED in heard.understanding.flags
