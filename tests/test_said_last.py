"""What is of what was said last: a photo, *why*, *read back*, *disregard* behind a question, "both", a correction."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from fieldlog.audio.clip import RATE, Clip
from fieldlog.language.files import load_language
from fieldlog.language.inspection import TOO_LONG, InspectionLanguage
from fieldlog.model.context import Context
from fieldlog.model.hearing import Hearing
from fieldlog.model.question import Asks
from fieldlog.model.understanding import Decision
from fieldlog.photos.attach import AttachRules, Shot, Why, place
from fieldlog.photos.placing import all_that_was_said, spoken_marks
from fieldlog.report.lines import after_signature
from fieldlog.review.exchanges import exchanges_of
from fieldlog.shop import events as ev
from fieldlog.shop.events import Event
from fieldlog.shop.happened import understood_by
from fieldlog.shop.workshop import Workshop
from fieldlog.words import tell

START = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


class Floor:
    """One inspection, spoken into (five seconds apart) or typed into."""

    def __init__(self, folder: Path, language: InspectionLanguage, spoken: bool) -> None:
        self.shop = Workshop.open(folder, language=language)
        vehicle = self.shop.add_vehicle("grey twin", {"rim": "steel", "cooling": "air"})
        head = self.shop.begin(vehicle.name, Context("US-VA"), started_at=START)
        self.inspecting = self.shop.inspecting(head.id)
        self.key, self.at, self.spoken = head.id, 0.0, spoken

    def anew(self) -> None:
        self.inspecting = self.shop.inspecting(self.key)

    def take(self, *phrases: str) -> tuple[Event, ...]:
        """What the last of them led to."""
        told: tuple[Event, ...] = ()
        for words in phrases:
            if not self.spoken:
                told = self.inspecting.type(words)
                continue
            self.at += 5.0
            clip = Clip(np.full(RATE // 10, self.at / 1_000, dtype=np.float32), self.at)
            heard = replace(
                self.inspecting.conversation.typed(words),
                clip=clip,
                hearing=Hearing("told", (), 0.0),
            )
            told = self.inspecting.say(heard, "microphone")
        return told

    @property
    def standing(self) -> list[str]:
        return [
            tell.finding(each.finding) for each in self.inspecting.record.findings if each.stands
        ]


@pytest.fixture(params=["spoken", "typed"])
def floor(
    request: pytest.FixtureRequest, tmp_path: Path, language: InspectionLanguage
) -> Iterator[Floor]:
    made = Floor(tmp_path / "shop", language, request.param == "spoken")
    yield made
    made.shop.close()


@pytest.fixture
def said(tmp_path: Path, language: InspectionLanguage) -> Iterator[Floor]:
    made = Floor(tmp_path / "shop", language, spoken=True)
    yield made
    made.shop.close()


def kinds(told: tuple[Event, ...]) -> list[str]:
    return [type(each).__name__ for each in told]


QUESTIONS = ("front pads two", "pads two millimetres", "horn weak, elongation two percent")


class TestBehindAQuestion:
    @pytest.mark.parametrize("question", QUESTIONS)
    def test_a_photo_is_of_no_finding_before(self, floor: Floor, question: str) -> None:
        (marked,) = floor.take("left mirror loose", question, "take photo")
        assert isinstance(marked, ev.Marked)
        assert marked.at is None
        assert marked.asked is not None
        assert [each.finding_id for each in floor.inspecting.record.marks] == [None]

    def test_nor_behind_words_that_were_refused_or_a_skip(self, said: Floor) -> None:
        for words in ("rear pads three blah", "skip the horn because no time"):
            (marked,) = said.take("left mirror loose", words, "take photo")
            assert isinstance(marked, ev.Marked)
            assert (marked.at, marked.asked) == (None, None), words

    def test_and_of_what_was_found_since(self, said: Floor) -> None:
        """A finding about something else came after the question: that was said last."""
        marked = said.take("front pads two", "left mirror loose", "take photo")[0]
        assert isinstance(marked, ev.Marked)
        assert marked.at is not None
        assert marked.at.finding.component == "mirror"

    def test_whether_to_sign_is_of_no_finding(self, said: Floor) -> None:
        (marked,) = said.take("left mirror loose", "sign off", "take photo")
        assert isinstance(marked, ev.Marked)
        assert marked.at is not None
        assert kinds(said.take("read back")) == ["ReadBack"]

    @pytest.mark.parametrize("word", ["why", "read back"])
    def test_what_asks_for_the_last_is_told_the_question(self, said: Floor, word: str) -> None:
        told = said.take("left mirror loose", "front pads two", word)
        assert kinds(told) == ["AskedAgain"]
        assert kinds(said.take("yes")) == ["FindingSaved"]

    def test_how_to_check_is_of_what_was_asked(self, said: Floor) -> None:
        (told,) = said.take("left mirror loose", "front pads two", "how do i check that")
        assert isinstance(told, ev.HowToCheckTold)
        assert told.component == "brake pads"

    def test_disregard_behind_a_remark_is_of_that(self, floor: Floor) -> None:
        told = floor.take("front pads two", "remark bring the gauge", "disregard that")
        assert kinds(told) == ["RemarkTakenBack"]
        assert kinds(floor.take("yes")) == ["FindingSaved"]


class TestWherePhotosGo:
    """With the record alone, as photos are placed long after."""

    @staticmethod
    def at(said: Floor, seconds: float) -> tuple[str | None, Why]:
        shot = Shot("p", "c", START + timedelta(seconds=seconds), 0.5)
        record = said.inspecting.record
        placed = place([shot], all_that_was_said(record), spoken_marks(record), AttachRules())
        names = {each.id: each.finding.component for each in record.findings}
        for one in placed.attached:
            return names[one.finding_id], one.why
        return None, placed.unplaced[0].why

    def test_a_marked_one_waits_for_the_answer(self, said: Floor) -> None:
        said.take("left mirror loose", "front pads two", "take photo")
        assert self.at(said, 17.0) == (None, Why.UNNAMED)
        said.take("yes")
        assert self.at(said, 17.0) == ("brake pads", Why.MARK)
        said.take("disregard that")
        assert self.at(said, 17.0) == (None, Why.UNNAMED)

    @pytest.mark.parametrize(
        ("question", "answer"), [("front pads two", "yes"), ("pads two millimetres", "front")]
    )
    def test_one_of_another_place_than_what_answers_goes_nowhere(
        self, said: Floor, question: str, answer: str
    ) -> None:
        (marked,) = said.take(question, "photo of the rear pads")
        assert isinstance(marked, ev.Marked)
        assert marked.asked is None
        said.take(answer)
        assert self.at(said, 12.0) == (None, Why.UNNAMED)

    def test_one_of_the_place_that_is_asked_about_waits(self, said: Floor) -> None:
        said.take("front pads two", "photo of the front pads", "yes")
        assert self.at(said, 12.0) == ("brake pads", Why.MARK)

    def test_one_of_what_is_not_there_goes_nowhere(self, said: Floor) -> None:
        said.take("left mirror loose", "photo of the rear tyre")
        assert self.at(said, 12.0) == (None, Why.UNNAMED)

    def test_one_between_question_and_answer_is_of_what_was_asked(self, said: Floor) -> None:
        said.take("left mirror loose", "front pads two")
        assert self.at(said, 12.0) == (None, Why.TAKEN_BACK)  # nobody has said yet what it is of
        said.take("yes")
        assert self.at(said, 12.0)[0] == "brake pads"

    @pytest.mark.parametrize("by_hand", [False, True])
    def test_one_of_what_was_taken_back_is_of_nothing_before(
        self, said: Floor, by_hand: bool
    ) -> None:
        """The picture of the right mirror went to the left one, which was said before it."""
        said.take("left mirror loose", "right mirror cracked")
        assert self.at(said, 12.0) == ("mirror", Why.AFTER)
        if by_hand:
            said.inspecting.withdraw(2, "it is the cover")
        else:
            said.take("disregard that")
        assert self.at(said, 12.0) == (None, Why.TAKEN_BACK)
        assert self.at(said, 7.0) == ("mirror", Why.AFTER)
        said.take("correction right mirror loose")
        assert self.at(said, 12.0) == (None, Why.TAKEN_BACK)
        assert self.at(said, 22.0) == ("mirror", Why.AFTER)

    def test_nor_is_one_of_what_was_asked_and_denied(self, said: Floor) -> None:
        said.take("left mirror loose", "front pads two", "no")
        assert self.at(said, 12.0) == (None, Why.TAKEN_BACK)

    def test_a_correction_that_was_asked_about_is_of_the_finding(self, said: Floor) -> None:
        said.take("front pads three millimetres", "correction four")
        assert self.at(said, 12.0) == ("brake pads", Why.AFTER)

    def test_one_of_both_may_be_of_either(self, said: Floor) -> None:
        """Marked or not: nobody said which of them it shows."""
        (marked,) = said.take("chain dry", "both mirrors loose", "take photo")
        assert isinstance(marked, ev.Marked)
        assert [each.number for each in (*marked.others, marked.at) if each] == [2, 3]
        assert self.at(said, 17.0) == self.at(said, 12.0) == (None, Why.SEVERAL)
        said.take("correction left mirror cracked")
        assert self.at(said, 17.0) == (None, Why.SEVERAL)
        said.inspecting.withdraw(3, "it is fast")
        assert self.at(said, 17.0) == ("mirror", Why.MARK)

    def test_and_so_may_one_of_what_is_at_several_places(self, said: Floor) -> None:
        said.take("left mirror loose", "right mirror cracked", "photo of the mirror")
        assert self.at(said, 17.0) == (None, Why.TIE)
        said.take("photo of the left mirror")
        assert self.at(said, 22.0) == ("mirror", Why.MARK)

    def test_one_behind_a_question_of_which_both_were_meant(self, said: Floor) -> None:
        said.take("mirrors loose", "take photo", "both")
        assert self.at(said, 12.0) == (None, Why.SEVERAL)

    def test_what_was_said_twice_is_no_tie(self, said: Floor) -> None:
        said.take("rear tread four thirty seconds", "correction rear tread three thirty seconds")
        assert self.at(said, 9.8)[0] == "tyre"


class TestBehindWhatWasTakenBack:
    """It is what was said last: what is of that, is not of the finding before."""

    @pytest.mark.parametrize("anew", [False, True])
    @pytest.mark.parametrize("by", ["disregard that", "hand", "skip the horn because no time"])
    def test_a_bare_correction_asks_of_what(self, floor: Floor, by: str, anew: bool) -> None:
        """ "Rear pads one", "disregard that", "correction four": the front ones, of which three were left, had four."""
        floor.take("front pads three millimetres", "rear pads one millimetre")
        if by == "hand":
            floor.inspecting.withdraw(2, "other wheel")
        else:
            floor.take(by)
        stood = floor.standing
        if anew:
            floor.anew()
        assert kinds(floor.take("correction four millimetres")) == ["Asked"]
        assert floor.standing == stood
        floor.take("correction front pads four millimetres", "correction five millimetres")
        assert "front brake pads, thickness: 5 mm" in floor.standing

    @pytest.mark.parametrize("word", ["no", "disregard that"])
    @pytest.mark.parametrize("anew", [False, True])
    def test_what_was_denied_is_what_was_said_last(
        self, floor: Floor, word: str, anew: bool
    ) -> None:
        floor.take("front pads three millimetres", "rear pads two", word)
        if anew:
            floor.anew()
        (marked,) = floor.take("take photo")
        assert isinstance(marked, ev.Marked)
        assert marked.at is None
        assert kinds(floor.take("correction four millimetres")) == ["Asked"]
        assert floor.standing == ["front brake pads, thickness: 3 mm"]

    @pytest.mark.parametrize("question", ["correction four", "sign off"])
    def test_a_correction_or_a_signature_that_was_denied_is_not(
        self, floor: Floor, question: str
    ) -> None:
        floor.take("front pads three millimetres", question, "no")
        assert kinds(floor.take("correction five millimetres")) == ["FindingCorrected"]

    @pytest.mark.parametrize("anew", [False, True])
    def test_a_photo_is_of_none(self, floor: Floor, anew: bool) -> None:
        floor.take("left mirror loose", "right mirror cracked", "disregard that")
        if anew:
            floor.anew()
        (marked,) = floor.take("take photo")
        assert isinstance(marked, ev.Marked)
        assert marked.at is None
        (marked,) = floor.take("photo of the left mirror")
        assert isinstance(marked, ev.Marked)
        assert marked.at is not None

    def test_what_was_brought_back_is_said_last(self, floor: Floor) -> None:
        floor.take("front pads three millimetres", "correction one millimetre", "disregard that")
        (marked,) = floor.take("take photo")
        assert isinstance(marked, ev.Marked)
        assert marked.at is not None
        assert kinds(floor.take("correction two millimetres")) == ["FindingCorrected"]


class TestDisregard:
    @pytest.mark.parametrize("then", ["", "blah blah", "what is open"])
    def test_behind_a_skip_is_of_that(self, floor: Floor, then: str) -> None:
        """It is left out no more, though it told so in another process, or something was not understood since."""
        floor.take("chain dry", "skip the horn because no time")
        assert [each.key for each in floor.inspecting.scene.skips] == ["horn"]
        if then:
            floor.take(then)
        floor.anew()
        (back,) = floor.take("disregard that")
        assert isinstance(back, ev.SkipTakenBack)
        assert back.items == ("horn",)
        assert floor.inspecting.scene.skips == ()
        assert any(each.item.key == "horn" for each in floor.inspecting.scene.left)
        assert kinds(floor.take("disregard that")) == ["FindingWithdrawn"]

    def test_behind_a_signature_takes_nothing(self, floor: Floor) -> None:
        floor.take("chain dry", "sign off", "yes")
        assert kinds(floor.take("disregard that")) == ["NothingToTake"]
        assert floor.standing == ["drive chain: dry"]

    def test_behind_a_remark_though_the_clock_was_set_back(self, tmp_path: Path) -> None:
        """It took the finding before: what is newer seemed older."""
        clock = [START]
        with Workshop.open(tmp_path, language=load_language(), now=lambda: clock[0]) as shop:
            inspecting = shop.inspecting(shop.begin("grey twin").id)
            for words in ("front pads two millimetres", "remark bring the gauge"):
                inspecting.type(words)
                clock[0] -= timedelta(hours=1)
            assert kinds(inspecting.type("disregard that")) == ["RemarkTakenBack"]

    @pytest.mark.parametrize(
        ("phrases", "several"),
        [
            (("pads two millimetres", "both"), 2),
            (("indicator broken", "all four"), 4),
            (("left mirror cracked and horn weak",), 2),
        ],
    )
    def test_takes_back_all_that_one_utterance_made(
        self, said: Floor, phrases: tuple[str, ...], several: int
    ) -> None:
        said.take("chain dry", *phrases)
        assert len(said.standing) == 1 + several
        assert kinds(said.take("disregard that")) == ["FindingWithdrawn"] * several
        assert said.standing == ["drive chain: dry"]
        said.take("disregard that")
        assert said.standing == []

    @pytest.mark.parametrize("anew", [False, True])
    def test_behind_a_correction_what_it_put_right_stands_again(
        self, floor: Floor, anew: bool
    ) -> None:
        tread = "rear tread {} thirty seconds"
        floor.take(
            tread.format("four"), *(f"correction {tread.format(n)}" for n in ("three", "two"))
        )
        stood = []
        for _ in range(3):
            if anew:
                floor.anew()
            told = floor.take("disregard that")
            stood.append((told[0].__class__, *floor.standing))
        assert stood == [
            (ev.FindingBroughtBack, "rear tyre, tread depth: 3/32 in"),
            (ev.FindingBroughtBack, "rear tyre, tread depth: 4/32 in"),
            (ev.FindingWithdrawn,),
        ]

    @pytest.mark.parametrize("anew", [False, True])
    def test_what_was_brought_back_is_of_its_breath_again(self, floor: Floor, anew: bool) -> None:
        floor.take("both mirrors loose", "correction right mirror cracked", "disregard that")
        if anew:
            floor.anew()
        assert kinds(floor.take("correction cracked")) == ["Asked"]
        assert kinds(floor.take("disregard that")) == ["QuestionClosed"]
        assert kinds(floor.take("disregard that")) == ["FindingWithdrawn"] * 2
        assert floor.standing == []

    def test_and_so_does_the_other_place_that_it_was_said_of(self, said: Floor) -> None:
        said.take("front pads four millimetres", "correction rear pads four millimetres")
        said.take("disregard that")
        assert said.standing == ["front brake pads, thickness: 4 mm"]

    def test_what_was_put_right_by_hand_is_not_brought_back(self, said: Floor) -> None:
        said.take("rear tread four thirty seconds")
        by_hand = said.inspecting.conversation.understand("rear tread three thirty seconds")
        said.inspecting.correct(1, by_hand)
        said.take("disregard that")
        assert said.standing == []

    def test_no_to_a_correction_that_was_read_back(self, said: Floor) -> None:
        said.inspecting.affirming.asks = True
        said.take("rear tread four thirty seconds", "correction rear tread one thirty second")
        assert kinds(said.take("negative")) == ["FindingBroughtBack"]
        assert said.standing == ["rear tyre, tread depth: 4/32 in"]

    def test_withdrawn_by_hand_tells_what_it_had_put_right(self, said: Floor) -> None:
        said.take("rear tread four thirty seconds", "correction rear tread three thirty seconds")
        (told,) = said.inspecting.withdraw(2, "wrong wheel")
        assert isinstance(told, ev.FindingWithdrawn)
        assert told.before is not None
        assert tell.finding(told.before.finding) == "rear tyre, tread depth: 4/32 in"


def test_a_reviewer_who_says_that_a_correction_was_not_said(said: Floor) -> None:
    said.take("rear tread four thirty seconds", "correction rear tread three thirty seconds")
    reviewing = said.shop.reviewing(said.key, "B. Brown")
    item = exchanges_of(reviewing.record)[1]
    reviewing.nothing(item.id, item.state)
    assert said.standing == ["rear tyre, tread depth: 4/32 in"]
    reviewing.undo()
    assert said.standing == ["rear tyre, tread depth: 3/32 in"]


def test_or_that_it_was_not_taken_back(said: Floor) -> None:
    tread = "rear tread {} thirty seconds"
    said.take(tread.format("four"), f"correction {tread.format('three')}", "disregard that")
    reviewing = said.shop.reviewing(said.key, "B. Brown")
    item = exchanges_of(reviewing.record)[2]
    reviewing.nothing(item.id, item.state)
    assert said.standing == ["rear tyre, tread depth: 3/32 in"]


def test_correction_said_alone_is_told_what_it_lacks(floor: Floor) -> None:
    assert kinds(floor.take("left mirror loose", "correction")) == ["Refused"]
    assert floor.standing == ["left mirror: loose"]


class TestMoreWasSaidOfACorrection:
    """ "Correction three thirty seconds ... and a half": it is taken back until somebody says what was meant."""

    @staticmethod
    def goes_on(said: Floor) -> tuple[Event, ...]:
        said.at += 1.0
        clip = Clip(np.full(RATE // 10, 0.1, dtype=np.float32), said.at)
        heard = said.inspecting.conversation.typed("correction rear tread two or three mils")
        assert heard.understanding.dialogue == "correction"
        asked = replace(heard.understanding, decision=Decision.ASK, finding=None)
        heard = replace(
            heard, clip=clip, hearing=Hearing("told", (), 0.0), understanding=asked, takes_back=True
        )
        return said.inspecting.say(heard, "microphone")

    def test_what_it_took_back_is_never_brought_back(self, said: Floor) -> None:
        tread = "rear tread {} thirty seconds"
        said.take(tread.format("four"), f"correction {tread.format('three')}")
        assert kinds(self.goes_on(said))[0] == "FindingBroughtBack"
        assert said.standing == ["rear tyre, tread depth: 4/32 in"]
        assert kinds(said.take("disregard that")) == ["QuestionClosed"]
        assert kinds(said.take("disregard that")) == ["FindingWithdrawn"]
        assert said.standing == []

    def test_where_other_hands_had_withdrawn_it_it_is_asked(self, said: Floor) -> None:
        said.take("rear tread four thirty seconds")
        said.inspecting.withdraw(1, "wrong wheel")
        assert kinds(self.goes_on(said)) == ["Asked"]


class TestAllOfABreathThatWasAskedAbout:
    BREATH = "front tyre two point five and rear tyre two point nine bar"

    @pytest.mark.parametrize("anew", [False, True])
    def test_what_was_said_anew_of_it_is_not_taken_once_more(
        self, floor: Floor, anew: bool
    ) -> None:
        told = floor.take(self.BREATH, "correction front tyre two point four bar")
        (again,) = (each for each in told if isinstance(each, ev.AskedAgain))
        assert again.asked.question_text == "Rear tyre, pressure: 2.9 bar?"
        if anew:
            floor.anew()
        floor.take("yes")
        assert floor.standing == ["front tyre, pressure: 2.4 bar", "rear tyre, pressure: 2.9 bar"]

    def test_the_other_one_stays_open(self, floor: Floor) -> None:
        floor.take(self.BREATH, "front tyre two point four bar")
        assert len(floor.inspecting.scene.questions) == 1
        floor.take("rear tyre two point nine bar")
        assert len(floor.inspecting.scene.questions) == 0


class TestCorrectionOfAnotherPlace:
    @pytest.mark.parametrize(
        ("answer", "stands"),
        [
            ("yes", ["rear brake pads, thickness: 3 mm"]),
            ("no", ["front brake pads, thickness: 4 mm"]),
            ("disregard that", ["front brake pads, thickness: 4 mm"]),
            (
                "rear pads three millimetres",
                ["front brake pads, thickness: 4 mm", "rear brake pads, thickness: 3 mm"],
            ),
            ("correction rear pads three millimetres", ["rear brake pads, thickness: 3 mm"]),
        ],
    )
    def test_is_asked_about_where_the_value_is_another_too(
        self, said: Floor, answer: str, stands: list[str]
    ) -> None:
        told = said.take("front pads four millimetres", "correction rear pads three millimetres")
        assert kinds(told) == ["Asked"]
        assert understood_by(told).asks is Asks.INSTEAD
        said.take(answer)
        assert said.standing == stands

    def test_with_a_third_value_it_is_asked_anew(self, said: Floor) -> None:
        said.take("front pads four millimetres", "correction rear pads three millimetres")
        assert kinds(said.take("correction rear pads two millimetres")) == ["Asked"]
        assert said.standing == ["front brake pads, thickness: 4 mm"]
        said.take("yes")
        assert said.standing == ["rear brake pads, thickness: 2 mm"]

    def test_and_in_the_next_process(self, floor: Floor) -> None:
        floor.take("front pads four millimetres", "correction rear pads three millimetres")
        floor.anew()
        floor.take("yes")
        assert floor.standing == ["rear brake pads, thickness: 3 mm"]

    def test_yes_is_of_the_finding_that_was_asked_about(self, said: Floor) -> None:
        said.take("front pads four millimetres", "correction rear pads three millimetres")
        said.take("horn weak", "yes")
        assert said.standing == ["horn: weak", "rear brake pads, thickness: 3 mm"]

    @pytest.mark.parametrize(
        ("first", "then"),
        [
            ("left mirror loose", "correction right mirror cracked"),
            ("front tyre thirty six psi", "correction rear tyre tread three millimetres"),
        ],
    )
    def test_of_a_fault_or_another_value_as_well(self, said: Floor, first: str, then: str) -> None:
        assert kinds(said.take(first, then)) == ["Asked"]
        assert len(said.standing) == 1


class TestCorrectionOfOneOfSeveralFaults:
    """A part has one newest value, and may have several faults at once."""

    def test_a_count_is_put_right_where_it_was_counted(self, floor: Floor) -> None:
        """ "Three loose" took the broken spoke away."""
        floor.take("rear spokes two loose, one broken", "correction rear spokes three loose")
        assert floor.standing == ["rear spokes: broken (count 1)", "rear spokes: loose (count 3)"]

    @pytest.mark.parametrize(
        ("answer", "stands"),
        [
            ("yes", ["front tyre: worn", "front tyre: cracked"]),
            ("no", ["front tyre: worn", "front tyre: nail in it"]),
            ("front tyre cracked", ["front tyre: worn", "front tyre: nail in it", "front tyre: cracked"]),
            ("correction front tyre cracked", ["front tyre: worn", "front tyre: cracked"]),
        ],
    )  # fmt: skip
    @pytest.mark.parametrize("anew", [False, True])
    def test_else_it_is_asked_which(
        self, floor: Floor, answer: str, stands: list[str], anew: bool
    ) -> None:
        """The nail was gone, whichever of the two was meant."""
        told = floor.take("front tyre worn and nail in it", "correction front tyre cracked")
        assert kinds(told) == ["Asked"]
        assert understood_by(told).question_text == (
            "Front tyre: nail in it taken back, and front tyre: cracked?"
        )
        if anew:
            floor.anew()
        floor.take(answer)
        assert floor.standing == stands

    @pytest.mark.parametrize("now", ["front tyre good", "front tyre cracked"])
    def test_nor_is_it_of_the_newest_of_two_said_long_before(self, floor: Floor, now: str) -> None:
        floor.take("front tyre worn", "nail in the front tyre", "horn weak")
        assert kinds(floor.take(f"correction {now}")) == ["Asked"]
        assert len(floor.standing) == 3

    def test_what_was_said_last_alone_is_meant(self, floor: Floor) -> None:
        floor.take("front tyre worn", "nail in the front tyre", "correction front tyre cracked")
        assert floor.standing == ["front tyre: worn", "front tyre: cracked"]

    def test_of_a_value_it_is_the_newest(self, floor: Floor) -> None:
        floor.take("front pads three millimetres", "front pads one millimetre", "horn weak")
        assert kinds(floor.take("correction front pads two millimetres")) == ["FindingCorrected"]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("engine noisy", "engine: noisy"),
        ("engine casing leaking", "engine casing: leaking"),
        ("motor misfiring", "motor: misfiring"),
        ("clutch dragging", "clutch: dragging"),
        ("clutch lever bent", "clutch lever: bent"),
    ],
)
def test_the_whole_is_told_as_it_was_said(
    language: InspectionLanguage, words: str, told: str
) -> None:
    finding = language.understand(words).finding
    assert finding is not None
    assert tell.finding(finding) == told


def test_words_that_no_reader_takes_are_kept_and_told(
    floor: Floor, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A fault of the reader ended the command, and nothing of the words was in the record."""
    if floor.spoken:
        return

    def fails(*_: object) -> None:
        raise RecursionError("too deep")

    floor.take("pads two millimetres")
    monkeypatch.setattr(floor.inspecting.conversation, "typed", fails)
    assert kinds(floor.take("no no no")) == ["Faulted"]
    assert floor.inspecting.record.utterances[-1].text == "no no no"
    monkeypatch.undo()
    assert kinds(floor.take("front")) == ["FindingSaved"]


@pytest.mark.parametrize("words", ["no " * 499, "1" * 5000, "front pads two and " * 300])
def test_what_is_too_long_is_refused_at_once(language: InspectionLanguage, words: str) -> None:
    """Some of it took minutes, some ended in an error; in answers as well."""
    asked = language.understand("pads two millimetres")
    for said in (language.typed(words).whole, language.answer(asked, words)):
        assert (said.decision, said.reason) == (Decision.REFUSE, TOO_LONG)


def test_a_skip_that_is_taken_back_after_the_signature_is_told(said: Floor) -> None:
    said.take("chain dry", "skip the horn because no time")
    said.inspecting.sign_off("A. Smith", as_it_stands=True)
    told = said.take("disregard that")
    assert kinds(told) == ["SkipTakenBack", "AfterSignature"]
    assert after_signature(said.inspecting.record) == ("1 item no longer left out",)
