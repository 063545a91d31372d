"""Questions and answers as they are spoken: what is joined, what stays open, what is never taken."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from fieldlog.aftercare.plan import left_open, never_confirmed
from fieldlog.audio.capture import Spoken
from fieldlog.audio.clip import RATE, Clip
from fieldlog.cli.event_lines import events_text
from fieldlog.doubt.decide import doubted
from fieldlog.doubt.files import shipped_rules
from fieldlog.doubt.question import waits
from fieldlog.grammar.language import Language
from fieldlog.hearing import Heard, Judge
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.listeners.replay import ReplayListener, clip_key
from fieldlog.listeners.typed import TypedListener
from fieldlog.model.context import Context
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.question import Asks, Rest
from fieldlog.model.understanding import Decision, Flag, Understanding
from fieldlog.report.surroundings import Surroundings
from fieldlog.report.view import build
from fieldlog.shop.answering import Answering
from fieldlog.shop.conversation import Conversation, utterances_of
from fieldlog.shop.ears import Ears
from fieldlog.shop.live import LiveInspection
from fieldlog.shop.workshop import Workshop
from fieldlog.store.records import InspectionRecord, Utterance
from fieldlog.store.repository import Repository
from fieldlog.words.questions import REST

START = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


def as_parsed(understanding: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
    return understanding


def unsure(understanding: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
    """Doubt as the doubt module words it, about every finding."""
    from fieldlog.doubt.decide import asked_instead

    if understanding.decision is not Decision.ACCEPT or understanding.finding is None:
        return understanding
    return asked_instead(understanding, (), "not heard clearly enough", Flag.UNSURE)


def clip_at(at: float) -> Clip:
    return Clip(np.full(RATE, 0.1 + at / 10_000, dtype=np.float32), at)


class Talk:
    """A live session that is typed into, ten seconds between two utterances."""

    def __init__(self, store: Repository, language: InspectionLanguage) -> None:
        self.store, self.language = store, language
        self.listener = TypedListener()
        self.listener.load(language)
        self.ears = Ears(language, self.listener, as_parsed)
        shop = Workshop(store, language=language)
        vehicle = shop.add_vehicle("grey twin", {"rim": "steel"})
        self.id = shop.begin(vehicle.name, Context("US-VA"), started_at=START).id
        self.inspecting = shop.inspecting(self.id, self.ears)
        self.live = LiveInspection(self.inspecting)
        self.at = 0.0

    def say(self, words: str, after: float = 10.0) -> str:
        """One utterance of a second; returns the line that is shown."""
        self.at += after
        self.listener.type(words)
        clip = clip_at(self.at)
        spoken = Spoken(clip, 0.0, START + timedelta(seconds=self.at), "microphone")
        (told,) = self.live.spoken(spoken)
        line = events_text(told.events).plain
        self.live.ready()
        self.at += 1.0
        return line

    @property
    def record(self) -> InspectionRecord:
        return self.store.inspection_record(self.id)

    def standing(self) -> list[tuple[str, str | None, object]]:
        return [
            (f.finding.component, f.finding.position,
             (f.finding.quantity.value, f.finding.quantity.unit) if f.finding.quantity else
             f.finding.condition)
            for f in self.record.findings if f.stands
        ]  # fmt: skip

    def open(self) -> list[str]:
        record = self.record
        return [
            u.text for u in record.utterances
            if u.decision is Decision.ASK and left_open(record, u)
        ]  # fmt: skip

    def joins(self) -> list[tuple[int, int]]:
        """Numbers of (answer, question)."""
        numbers = {u.id: u.number for u in self.record.utterances}
        return [(u.number, numbers[u.answers]) for u in self.record.utterances if u.answers]


@pytest.fixture
def talk(tmp_path: Path, language: InspectionLanguage) -> Iterator[Talk]:
    with Repository.open(tmp_path / "record") as store:
        yield Talk(store, language)


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


def goes_on(*texts: str) -> Judge:
    """Doubt about the end of these utterances: something was said behind their words."""
    rules = shipped_rules()
    tail = rules.more_said["whisper"] - 1.0

    def judge(understanding: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
        said = hearing.hypotheses[0].text if hearing.hypotheses else ""
        sure = {"bend": 0.0, "margin": 8.0, "tokens": 4.0, "logprob": -0.1}
        evidence = {**sure, "tail": tail if said in texts else 0.0}
        heard = Hearing("whisper", (Hypothesis(said, 0.0, evidence),) if said else (), 0.0)
        return doubted(understanding, heard, frozenset(), rules)

    return judge


def doubting(talk: Talk, *texts: str) -> None:
    object.__setattr__(talk.ears, "judge", goes_on(*texts))


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
