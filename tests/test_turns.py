"""Questions and answers as they are spoken: what is joined, what stays open, what is never taken."""

from __future__ import annotations

import pytest

from fieldlog.aftercare.plan import never_confirmed
from fieldlog.audio.clip import Clip
from fieldlog.doubt.question import waits
from fieldlog.hearing import Heard
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.question import Asks
from fieldlog.model.understanding import Decision, Flag, Understanding
from fieldlog.report.surroundings import Surroundings
from fieldlog.report.view import build
from fieldlog.store.records import Utterance
from tests.live_talk import (
    START,
    Talk,
    clip_at,
    language,
    talk,
    unsure,
)

__all__ = ["language", "talk"]


@pytest.mark.parametrize(
    ("question", "answer", "found"),
    [
        ("pads two millimetres", "the rear one", ("brake pads", "rear", (2, "mm"))),
        ("front pads two", "millimetres", ("brake pads", "front", (2, "mm"))),
        ("front pads two", "affirm", ("brake pads", "front", (2, "mm"))),
        ("front pads three four millimetres", "four", ("brake pads", "front", (4, "mm"))),
        ("fork seals leaking", "left", ("fork seal", "left", "leaking")),
        ("pads two millimetres", "rear pads two millimetres", ("brake pads", "rear", (2, "mm"))),
    ],
)
def test_the_next_utterance_answers_and_the_record_joins_the_two(
    talk: Talk, question: str, answer: str, found: tuple[str, str | None, object]
) -> None:
    assert "asked: " in talk.say(question)
    line = talk.say(answer)
    assert "answers: " in line
    assert talk.standing() == [found]
    assert talk.joins() == [(2, 1)]
    assert talk.open() == []


def test_no_leaves_nothing_accepted_and_nothing_open(talk: Talk) -> None:
    talk.say("front pads two")
    line = talk.say("negative")
    assert "nothing" in talk.record.utterances[-1].reason
    assert line == "negative  answers: 2 mm? (no: nothing of it is taken)"
    assert (talk.standing(), talk.joins(), talk.open()) == ([], [(2, 1)], [])
    assert talk.say("millimetres").startswith("not understood")  # nothing is asked any more
    assert talk.standing() == []


def test_two_new_findings_leave_the_question_open(talk: Talk) -> None:
    talk.say("pads two millimetres")
    line = talk.say("left fork seal leaking")
    assert "answers" not in line
    assert "still asked: Which end: front or rear?" in line
    assert "still asked" not in talk.say("horn works")
    assert talk.joins() == []
    assert talk.open() == ["pads two millimetres"]
    assert talk.say("rear").startswith("not understood")  # a word that comes too late
    assert talk.standing() == [("fork seal", "left", "leaking"), ("horn", None, "sound")]


@pytest.mark.parametrize(("late_s", "taken"), [(50.0, True), (65.0, False)])
def test_a_question_told_again_waits_a_minute_from_then(
    talk: Talk, late_s: float, taken: bool
) -> None:
    talk.say("pads two millimetres")
    talk.say("left fork seal leaking", after=50.0)
    talk.say("rear", after=late_s)
    assert (("brake pads", "rear", (2, "mm")) in talk.standing()) is taken


def test_an_answer_that_comes_before_the_question_was_told_again_is_asked_about(
    talk: Talk,
) -> None:
    """ "Left fork seal leaking ... four millimetres": the end of the sentence, or the answer?"""
    talk.say("rear pads two")
    talk.say("left fork seal leaking")
    assert "asked" in talk.say("four millimetres", after=0.9)
    assert talk.standing() == [("fork seal", "left", "leaking")]


def test_other_words_in_between_do_not_end_the_question(talk: Talk) -> None:
    talk.say("pads two millimetres")
    for words in ("take photo", "remark it squeals", "what a lovely morning", "read back"):
        assert "answers" not in talk.say(words, after=2.0)
    talk.say("front")
    assert talk.standing() == [("brake pads", "front", (2, "mm"))]
    assert talk.joins() == [(6, 1)]


def test_an_answer_may_itself_be_asked_about(talk: Talk) -> None:
    talk.say("indicator not working")
    assert "asked" in talk.say("front")
    assert talk.open() == ["indicator not working / front"]
    talk.say("left")
    assert talk.standing() == [("indicator", "front left", "not working")]
    assert talk.joins() == [(2, 1), (3, 2)]
    assert talk.open() == []


@pytest.mark.parametrize("words", ["", "the", "the one", "it is"])
def test_a_cough_answers_nothing(talk: Talk, words: str) -> None:
    for question in ("front pads two", "pads two millimetres"):
        talk.say(question)
        talk.say(words)
        assert talk.standing() == []
        assert talk.joins() == []


def test_a_place_does_not_confirm_a_value_that_was_in_doubt(
    talk: Talk, language: InspectionLanguage
) -> None:
    heard = Hearing("typed", (Hypothesis("front pads fifteen millimetres", 0.0),), 0.0)
    asked = unsure(language.understand("front pads nine millimetres"), heard, clip_at(0.0))
    assert waits(asked)
    for words in ("front", "millimetres", "thickness"):
        assert language.answer(asked, words).decision is not Decision.ACCEPT, words
    for words in ("affirm", "nine", "nine millimetres"):
        assert language.answer(asked, words).decision is Decision.ACCEPT, words


@pytest.mark.parametrize(
    ("said", "rival"),
    [
        ("rear pads four millimetres", "correction rear pads four millimetres"),
        ("rear pads four millimetres", "correction rear pads five millimetres"),
        ("correction rear pads four millimetres", "rear pads five millimetres"),
        ("correction rear pads four millimetres", "front pads four millimetres"),
    ],
)
def test_a_question_about_new_or_corrected_waits_for_the_whole(
    language: InspectionLanguage, said: str, rival: str
) -> None:
    from fieldlog.doubt.decide import asked_instead

    best, other = language.understand(said), language.understand(rival)
    asked = asked_instead(best, (other,), "heard as well", Flag.UNSURE)
    assert asked.question is not None
    assert asked.question.kind is Asks.NEW_OR_CORRECTION
    assert not waits(asked)


def test_a_sentence_that_goes_on_is_no_answer(talk: Talk) -> None:
    talk.say("rear disc four")
    line = talk.say("two millimetres", after=0.8)
    assert talk.standing() == []
    assert "asked: Did you say" in line
    talk.say("negative")
    assert talk.standing() == []


def test_a_word_a_minute_later_is_no_answer(talk: Talk) -> None:
    talk.say("pads two millimetres")
    assert talk.say("rear", after=90.0).startswith("not understood")
    assert talk.open() == ["pads two millimetres"]


@pytest.mark.parametrize(
    "words", ["no nail in the tyre", "oil in the fork", "no oil in the engine"]
)
def test_what_must_be_said_in_full_is_settled_by_no_short_word(talk: Talk, words: str) -> None:
    assert "Say in full how it is." in talk.say(words)
    for answer in ("front", "affirm"):
        assert "answers" not in talk.say(answer)
    assert talk.standing() == []
    assert talk.open() == [words]


def test_disregard_drops_the_question_not_the_finding_before(talk: Talk) -> None:
    talk.say("left fork seal leaking")
    talk.say("pads two millimetres")
    talk.say("disregard that")
    assert talk.standing() == [("fork seal", "left", "leaking")]
    assert talk.joins() == [(3, 2)]
    talk.say("disregard that")
    assert talk.standing() == []


def test_a_bare_correction_is_of_the_question_not_of_the_finding_before(talk: Talk) -> None:
    talk.say("rear pads three millimetres")
    talk.say("front pads two")
    talk.say("correction four millimetres")
    assert talk.standing() == [
        ("brake pads", "rear", (3, "mm")),
        ("brake pads", "front", (4, "mm")),
    ]


@pytest.mark.parametrize("asking", ["pads two millimetres", "rear pads two"])
def test_a_full_correction_of_the_question_leaves_what_was_found_elsewhere(
    talk: Talk, asking: str
) -> None:
    talk.say("front pads three millimetres")
    talk.say(asking)
    talk.say("correction rear pads four millimetres")
    assert talk.open() == []
    assert talk.standing() == [
        ("brake pads", "front", (3, "mm")),
        ("brake pads", "rear", (4, "mm")),
    ]
    assert "corrects rear brake pads" in talk.say("correction rear pads five millimetres")


@pytest.mark.parametrize("word", ["negative", "say again", "take photo"])
def test_affirm_is_to_the_newest_question_only(talk: Talk, word: str) -> None:
    def doubts(understanding: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
        from fieldlog.doubt.decide import asked_instead

        said = hearing.hypotheses[0].text if hearing.hypotheses else ""
        unclear = said == word and understanding.decision is Decision.ACCEPT
        return (
            asked_instead(understanding, (), "not clear", Flag.UNSURE) if unclear else understanding
        )

    object.__setattr__(talk.ears, "judge", doubts)
    talk.say("rear pads two")
    assert f"Did you say '{word}'?" in talk.say(word)
    assert "answers" not in talk.say("affirm")
    assert talk.standing() == []
    assert "rear pads two" in talk.open()


@pytest.mark.parametrize("anew", ["five millimetres", "front pads five millimetres"])
def test_what_answers_a_correction_is_a_correction(talk: Talk, anew: str) -> None:
    talk.say("front pads four millimetres")
    assert "Was that 50 mm?" in talk.say("correction front pads fifty millimetres")
    assert "corrects front brake pads, thickness: 4 mm" in talk.say(anew)
    assert talk.standing() == [("brake pads", "front", (5, "mm"))]


def test_what_a_question_completed_can_be_corrected_by_its_value_alone(talk: Talk) -> None:
    talk.say("pads two millimetres")
    talk.say("front")
    assert "corrects front brake pads, thickness: 2 mm" in talk.say("correction four millimetres")
    assert talk.standing() == [("brake pads", "front", (4, "mm"))]


@pytest.mark.parametrize(
    ("words", "rival", "values"),
    [
        ("take photo", None, 0),
        ("take photo", "rear pads two millimetres", 1),
        ("correction two millimetres", None, 1),
        ("rear pads two millimetres", None, 1),
        ("skip horn", None, 0),
    ],
)
def test_a_question_about_a_command_is_no_value_that_was_never_confirmed(
    talk: Talk, language: InspectionLanguage, words: str, rival: str | None, values: int
) -> None:
    from fieldlog.doubt.decide import asked_instead

    said = language.understand(words)
    if said.decision is Decision.ACCEPT:
        others = (language.understand(rival),) if rival else ()
        said = asked_instead(said, others, "not heard clearly enough", Flag.UNSURE)
    hearing = Hearing("typed", (Hypothesis(words, 0.0),), 0.0)
    talk.inspecting.say(Heard(clip_at(5.0), hearing, said, (), 0.0), "microphone")
    assert talk.open() == [words]
    assert never_confirmed(talk.record) == values
    headline = build(talk.record, Surroundings(talk.language.catalogue, START)).headline
    assert ("never confirmed" in headline) == bool(values)


def test_the_report_shows_question_and_answer_together(talk: Talk) -> None:
    talk.say("pads two millimetres")
    talk.say("the rear one")
    talk.say("indicator not working")
    report = build(talk.record, Surroundings(talk.language.catalogue, START))
    told = [line.reason for line in report.asked]
    assert told[0].endswith("(answered: the rear one)")
    assert told[1].endswith("(no finding of it followed)")
    (row,) = report.findings
    assert any(note.startswith("answers: Which end") for note in row.notes)


def test_joins_are_under_the_hash(talk: Talk) -> None:
    talk.say("pads two millimetres")
    talk.say("front")
    assert talk.store.verify().agrees
    kept: Utterance = talk.record.utterances[1]
    assert kept.answers == talk.record.utterances[0].id
