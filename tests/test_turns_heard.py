"""What the ear is offered while a question waits, recordings heard as one conversation, and doubt about an end."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from fieldlog.audio.clip import Clip
from fieldlog.grammar.language import Language
from fieldlog.hearing import Heard
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.listeners.replay import ReplayListener, clip_key
from fieldlog.listeners.typed import TypedListener
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.question import Rest
from fieldlog.model.understanding import Decision, Flag
from fieldlog.shop.answering import Answering
from fieldlog.shop.conversation import Conversation, utterances_of
from fieldlog.shop.ears import Ears
from fieldlog.words.questions import REST
from tests.live_talk import (
    Talk,
    as_parsed,
    clip_at,
    doubting,
    goes_on,
    language,
    talk,
)

__all__ = ["language", "talk"]


class Offered(TypedListener):
    """Tells which languages it was loaded with."""

    def __init__(self) -> None:
        super().__init__()
        self.loaded: list[str] = []

    def load(self, language: Language) -> None:
        super().load(language)
        self.loaded.append(language.name)
        assert getattr(language, "hint", "")  # Whisper hears worse without it


@pytest.mark.parametrize("reloads", [True, False])
def test_short_answers_are_offered_only_while_a_question_waits(
    language: InspectionLanguage, reloads: bool
) -> None:
    listener = Offered()
    listener.load(language)
    turns = Conversation(Ears(language, listener, as_parsed, reloads=reloads))
    for at, words in enumerate(("pads two millimetres", "front", "left fork seal leaking")):
        listener.type(words)
        turns.next(clip_at(at * 10.0), kept=True)
        turns.ready()
    again = ["inspection, answering", "inspection"] if reloads else []
    assert listener.loaded == ["inspection", *again]


class Crowded(TypedListener):
    """Hears nothing but what is typed for the language without answers."""

    offered = ""

    def load(self, language: Language) -> None:
        super().load(language)
        self.offered = language.name

    def hear(self, clip: Clip) -> Hearing:
        heard = super().hear(clip)
        return heard if self.offered == "inspection" else Hearing("typed", (), 0.0)


def test_a_sentence_that_short_answers_crowd_out_is_heard_without_them(
    language: InspectionLanguage,
) -> None:
    listener = Crowded(["pads two millimetres", "", "left fork seal leaking"])
    listener.load(language)
    turns = Conversation(Ears(language, listener, as_parsed, reloads=True))
    turns.next(clip_at(0.0), kept=True)
    turns.ready()
    heard = turns.hear(clip_at(10.0))
    assert (heard.accepted, heard.answers) == (True, None)
    assert heard.text == "left fork seal leaking"


def replayed(
    language: InspectionLanguage, texts: list[tuple[float, str]]
) -> tuple[Conversation, list[Clip]]:
    """A recording of these words, each heard as it is written."""
    clips = [clip_at(at) for at, _ in texts]
    records = {
        clip_key(clip): Hearing("replay", (Hypothesis(text, 0.0),), 0.0)
        for clip, (_, text) in zip(clips, texts, strict=True)
    }
    listener = ReplayListener(records)
    listener.load(language)
    return Conversation(Ears(language, listener, as_parsed)), clips


def told(heard: list[Heard]) -> list[tuple[str, bool]]:
    return [(each.understanding.decision.value, each.answers is not None) for each in heard]


def test_a_recording_is_heard_with_its_answers(language: InspectionLanguage) -> None:
    turns, clips = replayed(
        language, [(0.0, "pads two millimetres"), (5.0, "front"), (9.0, "rear"), (12.0, "affirm")]
    )
    assert told(list(utterances_of(clips, turns))) == [
        ("ask", False), ("accept", True), ("refuse", False), ("accept", False),
    ]  # fmt: skip


def test_files_are_one_conversation_only_when_that_is_said(language: InspectionLanguage) -> None:
    turns, clips = replayed(
        language, [(0.0, "pads two millimetres"), (5.0, "front"), (70.0, "front")]
    )
    first, second, late = clips
    (asked,) = utterances_of([first], turns)
    turns.elsewhere()
    (answer,) = utterances_of([second], turns)
    assert told([asked, answer]) == [("ask", False), ("accept", True)]
    (asked,) = utterances_of([first], turns)
    turns.elsewhere()
    turns.hear(late)
    assert turns.waiting is None
    (asked,) = utterances_of([first], turns)
    turns.afresh()
    (answer,) = utterances_of([second], turns)
    assert told([asked, answer]) == [("ask", False), ("refuse", False)]


def test_hear_prints_what_was_answered(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from tests.spoken import run, spoken

    def opener(*_: object, **__: object) -> TypedListener:
        return TypedListener(["pads two millimetres", "front"] * 2)

    monkeypatch.setattr("fieldlog.listeners.choose.open_listener", opener)
    files = [spoken(tmp_path / "one.wav"), spoken(tmp_path / "two.wav", 0.9)]
    done = run("hear", *files, "--conversation", "--json")
    views = [json.loads(line) for line in done.stdout.splitlines()]
    assert [each["decision"] for each in views] == ["ask", "accept"]
    assert views[1]["answers"] == views[0]["question"] != ""
    done = run("hear", *files, "--json")
    assert [json.loads(line)["decision"] for line in done.stdout.splitlines()] == ["ask", "refuse"]


def test_what_was_heard_best_is_said_once_and_its_figures_are_in_the_json() -> None:
    from fieldlog.cli.hear import heard_views
    from fieldlog.cli.verdict_lines import outcome_text
    from fieldlog.doubt.decide import refused_instead

    said = load_language().understand("left fork seal leaking")
    refused = refused_instead(said)
    assert outcome_text(refused, None).plain.count("left fork seal leaking") == 1
    hearing = Hearing("told", (Hypothesis(said.text, 0.0, {"bend": -4.6}),), 1.0)
    heard = Heard(clip_at(0.0), hearing, refused, (), 1.0)
    (view,) = heard_views(heard, "a.wav", "told", [None], 1)
    assert view["evidence"] == {"bend": -4.6}
    assert view["answers"] is None


def test_a_question_does_not_change_the_ear(language: InspectionLanguage) -> None:
    """Other weights for the answer would be loaded anew, and would hear it worse."""
    asked = language.understand("brake pads two millimetres")
    for answering in (Answering(language, asked), language.answering(asked)):
        assert answering.in_shop_words is language.in_shop_words is True
        assert answering.hint == language.hint


class TestMoreSaid:
    """Two findings in one breath, of which the ear holds the first."""

    FIRST = "front pads two millimetres"

    def test_the_question_says_so_and_yes_takes_the_named_one(self, talk: Talk) -> None:
        doubting(talk, self.FIRST)
        line = talk.say(self.FIRST)
        assert REST[Rest.AGAIN] in line
        assert (talk.standing(), talk.open()) == ([], [self.FIRST])
        talk.say("affirm")
        assert talk.standing() == [("brake pads", "front", (2, "mm"))]
        assert Flag.MORE_SAID in talk.record.utterances[-1].flags  # for whoever reviews the record
        talk.say("left mirror cracked")
        assert len(talk.standing()) == 2

    @pytest.mark.parametrize("answer", ["negative", "disregard that"])
    def test_no_takes_nothing(self, talk: Talk, answer: str) -> None:
        doubting(talk, self.FIRST)
        talk.say(self.FIRST)
        talk.say(answer)
        assert talk.standing() == []

    def test_a_unit_alone_confirms_nothing(self, talk: Talk) -> None:
        """ "two" may be the beginning of "two point five"."""
        doubting(talk, self.FIRST)
        talk.say(self.FIRST)
        talk.say("millimetres")
        assert talk.standing() == []

    def test_an_answer_does_not_settle_what_else_was_said(self, talk: Talk) -> None:
        doubting(talk, "pads two millimetres")
        assert f"rear? {REST[Rest.AGAIN]}" in talk.say("pads two millimetres")
        talk.say("front")
        assert REST[Rest.AGAIN] in talk.record.utterances[-1].question
        assert talk.standing() == []
        talk.say("affirm")
        assert talk.standing() == [("brake pads", "front", (2, "mm"))]
        assert Flag.MORE_SAID in talk.record.utterances[-1].flags

    def test_a_value_said_anew_does_not_settle_it_either(self, talk: Talk) -> None:
        doubting(talk, self.FIRST)
        talk.say(self.FIRST)
        talk.say("four millimetres")
        assert talk.standing() == [("brake pads", "front", (4, "mm"))]
        assert Flag.MORE_SAID in talk.record.utterances[-1].flags

    def test_an_answer_that_says_more_settles_nothing(self, talk: Talk) -> None:
        doubting(talk, "front")
        talk.say("pads two millimetres")
        assert REST[Rest.AGAIN] in talk.say("front")
        assert talk.standing() == []

    @pytest.mark.parametrize("answer", ["affirm", "negative", "disregard that"])
    def test_yes_and_no_with_something_behind_them_settle_nothing(
        self, talk: Talk, answer: str
    ) -> None:
        doubting(talk, answer)
        talk.say("front pads two")
        assert "More was said" in talk.say(answer)
        assert talk.standing() == []

    def test_a_correction_with_something_behind_it_corrects_nothing(self, talk: Talk) -> None:
        said = ("correction four millimetres", "correction front pads four millimetres")
        doubting(talk, *said)
        talk.say(self.FIRST)
        for words, told in zip(said, (REST[Rest.ALL_AGAIN], REST[Rest.AGAIN]), strict=True):
            assert told in talk.say(words)
            assert talk.standing() == [("brake pads", "front", (2, "mm"))]
        assert "corrects" in talk.say("affirm")
        assert talk.standing() == [("brake pads", "front", (4, "mm"))]

    def test_a_correction_of_an_open_question_is_held_to_it(self, talk: Talk) -> None:
        doubting(talk, "correction four millimetres")
        talk.say("front pads two")
        talk.say("correction four millimetres")
        assert talk.standing() == []

    @pytest.mark.parametrize(
        ("word", "rest"), [("take photo", Rest.ALL_AGAIN), ("skip horn", Rest.AGAIN)]
    )
    def test_a_command_is_asked_about(self, talk: Talk, word: str, rest: Rest) -> None:
        doubting(talk, word)
        assert REST[rest] in talk.say(word)  # of a skip the rest may be its reason
        assert talk.record.utterances[-1].decision is Decision.ASK

    def test_a_remark_keeps_all_its_words(self, language: InspectionLanguage) -> None:
        listener = Plain(["remark"])
        listener.load(language)
        turns = Conversation(Ears(language, listener, goes_on("remark")))
        heard = turns.hear(clip_at(0.0))
        assert heard.accepted
        assert heard.understanding.slots["remark"] == "front pads squeal and left mirror cracked"


class Plain(TypedListener):
    """Has plain words besides."""

    def transcribe(self, clip: Clip) -> str:
        return "Remark, front pads squeal and left mirror cracked"
