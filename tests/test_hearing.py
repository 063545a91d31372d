"""The pipeline from a clip to an understanding, with listeners that say what the test tells them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pytest

from fieldlog.audio.clip import RATE, Clip
from fieldlog.grammar.language import Language
from fieldlog.grammar.tagged import TaggedLanguage
from fieldlog.hearing import Heard, hear_clip
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model import Decision, Hearing, Hypothesis, Kind, Understanding
from fieldlog.shop.conversation import Conversation, utterances_of
from fieldlog.shop.ears import Ears

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
