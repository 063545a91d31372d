""" "Did you say 'disregard that'?": yes gives it, of what came before it and of nothing else."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fieldlog.audio.clip import RATE, Clip
from fieldlog.doubt.decide import asked_instead, doubted
from fieldlog.doubt.rules import DoubtRules
from fieldlog.errors import UsageError
from fieldlog.hearing import Heard
from fieldlog.language.files import load_language
from fieldlog.model.command import BY_YES, Command
from fieldlog.model.context import Context
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.understanding import Decision, Flag
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.settling import settled
from fieldlog.shop.workshop import Workshop
from fieldlog.store.repository import Repository

LANGUAGE = load_language()


class Talk:
    """One inspection, and words that are heard or typed."""

    def __init__(self, store: Repository) -> None:
        self.store = store
        vehicle = self.shop.add_vehicle("grey twin", {"cooling": "air"})
        self.key = self.shop.begin(vehicle.name, Context("US-VA")).id
        self.inspecting: Inspecting = self.shop.inspecting(self.key)
        self.at = 0.0

    @property
    def shop(self) -> Workshop:
        return Workshop(self.store, language=LANGUAGE)

    def anew(self) -> None:
        """As the next process meets it."""
        self.inspecting = self.shop.inspecting(self.key)

    def heard(self, words: str, *, gap_s: float = 5.0, unsure: bool = True) -> list[str]:
        """``words``, heard ``gap_s`` behind what was heard before, unclearly or not."""
        self.at += gap_s
        clip = Clip(np.full(RATE // 10, self.at / 1_000, dtype=np.float32), self.at)
        conversation = self.inspecting.conversation
        made = self._made(clip, words, unsure=unsure)
        conversation.hear = lambda clip: made  # type: ignore[method-assign]
        turn = conversation.next(clip, kept=True)
        self.at = clip.end_s
        return [type(each).__name__ for each in self.inspecting.say(turn.heard, "microphone")]

    def _made(self, clip: Clip, words: str, *, unsure: bool) -> Heard:
        conversation = self.inspecting.conversation
        question = conversation.pending.at(clip)
        made = conversation._typed(words, question)
        if unsure:
            doubt = asked_instead(LANGUAGE.understand(words), (), "unclear", Flag.UNSURE)
            made = replace(made, understanding=doubt, answers=None)
        made = replace(made, clip=clip, hearing=Hearing("told", (), 0.0))
        return made if question is None or unsure else settled(made, question, conversation._agreed)

    def typed(self, *words: str) -> list[list[str]]:
        return [[type(each).__name__ for each in self.inspecting.type(one)] for one in words]

    def standing(self) -> list[str]:
        return [
            f"{each.finding.position} {each.finding.component}"
            for each in self.inspecting.record.findings
            if each.stands
        ]


@pytest.fixture
def talk(tmp_path: Path) -> Iterator[Talk]:
    with Repository.open(tmp_path / "record") as store:
        yield Talk(store)


@pytest.mark.parametrize("yes", ["affirm", "yes", "disregard that"])
@pytest.mark.parametrize("anew", [False, True])
def test_it_takes_what_was_said_last(talk: Talk, yes: str, anew: bool) -> None:
    talk.typed("left mirror loose", "right mirror cracked")
    assert talk.heard("disregard that") == ["Asked"]
    if anew:
        talk.anew()
    assert talk.typed(yes) == [["FindingWithdrawn"]]
    assert talk.standing() == ["left mirror"]
    talk.anew()
    assert talk.typed("affirm") == [["NothingToTake"]]  # nothing of it waits any more
    assert talk.standing() == ["left mirror"]


@pytest.mark.parametrize("yes", ["affirm", "disregard that"])
@pytest.mark.parametrize("anew", [False, True])
def test_behind_a_question_it_closes_that_and_takes_nothing(
    talk: Talk, yes: str, anew: bool
) -> None:
    talk.typed("left mirror loose", "pads two millimetres")
    talk.heard("disregard that")
    if anew:
        talk.anew()
    assert talk.typed(yes) == [["QuestionClosed"]]
    assert talk.standing() == ["left mirror"]
    assert talk.typed("front", "affirm") == [["Refused"], ["NothingToTake"]]
    talk.anew()
    assert talk.typed("front", "affirm") == [["Refused"], ["NothingToTake"]]
    assert talk.standing() == ["left mirror"]


def test_no_leaves_all_as_it_was(talk: Talk) -> None:
    talk.typed("left mirror loose", "pads two millimetres")
    talk.heard("disregard that")
    assert talk.typed("negative") == [["QuestionClosed", "AskedAgain"]]
    assert talk.typed("front") == [["FindingSaved"]]
    assert talk.standing() == ["left mirror", "front brake pads"]


@pytest.mark.parametrize("anew", [False, True])
def test_it_is_of_nothing_that_was_said_since(talk: Talk, anew: bool) -> None:
    talk.typed("left mirror loose")
    talk.heard("disregard that")
    question = talk.inspecting.record.utterances[-1].id
    assert talk.typed("right mirror cracked") == [["FindingSaved"]]
    if anew:
        talk.anew()
    assert talk.typed("affirm") == [["NothingToTake"]]
    with pytest.raises(UsageError):
        talk.inspecting.answer(question, "affirm")
    told = talk.typed("what is open", "affirm")
    assert told == [["OpenTold"], ["NothingToTake"]]
    assert talk.standing() == ["left mirror", "right mirror"]


def test_nor_of_what_a_question_behind_it_came_to(talk: Talk) -> None:
    talk.typed("left mirror loose")
    talk.heard("disregard that")
    assert talk.typed("pads two millimetres", "front", "affirm") == [
        ["Asked"], ["FindingSaved"], ["NothingToTake"],
    ]  # fmt: skip
    assert talk.standing() == ["left mirror", "front brake pads"]


def test_the_question_before_it_waits_again(talk: Talk) -> None:
    talk.typed("pads two millimetres")
    talk.heard("stand by")
    assert talk.typed("left mirror loose") == [["FindingSaved", "AskedAgain"]]
    assert talk.typed("front") == [["FindingSaved"]]


def test_yes_before_it_could_be_heard_is_of_something_else(talk: Talk) -> None:
    """ "Affirm" to a read-back, on the heels of a cough that was heard as a command."""
    talk.heard("left mirror loose", unsure=False)
    assert talk.heard("disregard that") == ["Asked"]
    assert talk.heard("affirm", gap_s=0.4, unsure=False) == ["Asked"]
    assert talk.standing() == ["left mirror"]
    assert talk.heard("affirm", unsure=False) == ["FindingWithdrawn"]


def test_a_skip_and_standing_by_by_yes(talk: Talk) -> None:
    talk.heard("skip the horn because no time")
    assert talk.typed("affirm") == [["ItemSkipped"]]
    talk.heard("stand by")
    assert talk.typed("affirm", "left mirror loose") == [["StandingBy"], ["HeldBack"]]


def test_disregard_closes_the_question_about_another_command(talk: Talk) -> None:
    talk.typed("left mirror loose")
    talk.heard("stand by")
    assert talk.typed("disregard that", "affirm") == [["QuestionClosed"], ["NothingToTake"]]
    assert talk.standing() == ["left mirror"]


def test_yes_gives_no_answer_that_was_in_doubt() -> None:
    for words in ("negative", "affirm", "say again", "take photo"):
        asked = asked_instead(LANGUAGE.understand(words), (), "unclear", Flag.UNSURE)
        assert asked.command_asked is None
    assert Command.DISREGARD in BY_YES


@pytest.mark.parametrize("words", ["disregard that", "skip the horn because no time", "stand by"])
def test_of_a_listener_without_evidence_it_is_asked(words: str) -> None:
    rules = DoubtRules({}, {}, {}, {})
    said = LANGUAGE.understand(words)
    hearing = Hearing("another", (Hypothesis(words, 0.0, {}),), 0.0)
    assert doubted(said, hearing, frozenset(), rules).decision is Decision.ASK
    typed = replace(hearing, listener="typed")
    assert doubted(said, typed, frozenset(), rules) is said
    told = LANGUAGE.understand("what is open")
    assert doubted(told, hearing, frozenset(), rules) is told
    answered = replace(said, flags=(Flag.ANSWERED,))
    assert doubted(answered, hearing, frozenset(), rules) is answered


@pytest.mark.parametrize("anew", [False, True])
@pytest.mark.parametrize(
    "words", [["front brake caliper leaking"], ["brake caliper leaking", "front"]]
)
def test_nobody_signs_for_what_was_found_after_it_was_asked(
    talk: Talk, words: list[str], anew: bool
) -> None:
    """ "Sign off?", a leaking caliper, "affirm": to what was read back, not to the signature."""
    talk.typed("sign off the inspection", *words)
    if anew:
        talk.anew()
    assert talk.typed("affirm") == [["NothingToTake"]]
    assert talk.typed("sign off the inspection", "affirm")[1] == ["SignedOff"]
