"""What is heard while we speak ourselves: our words are no finding, another value is asked about."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fieldlog.audio.clip import FRAME_S, RATE, Clip
from fieldlog.hearing import Heard
from fieldlog.language.files import load_language
from fieldlog.model.command import Command
from fieldlog.model.hearing import Hearing
from fieldlog.model.question import Asks
from fieldlog.model.understanding import Decision, Flag
from fieldlog.shop.own_voice import TAIL_S, OwnWords, overheard
from fieldlog.words.aloud import aloud
from fieldlog.words.spoken import read_back

LANGUAGE = load_language()


def heard(words: str, start_s: float = 10.0, seconds: float = 2.0) -> Heard:
    """``words`` with voice all through the clip."""
    frames = round(seconds / FRAME_S)
    clip = Clip(np.zeros(round(seconds * RATE), np.float32), start_s, voice=(0.9,) * frames)
    understood = LANGUAGE.understand(words)
    return Heard(clip, Hearing("told", (), 0.0), understood, (), 0.0, complete=True)


def said(
    words: str, start_s: float = 10.0, seconds: float = 3.0, lead: str = "confirm"
) -> OwnWords:
    """A read-back of what ``words`` mean."""
    finding = LANGUAGE.understand(words).finding
    assert finding is not None
    text = f"{lead}, {aloud(read_back(finding))}."
    return OwnWords(start_s, start_s + seconds, text, (finding,))


def question(text: str, start_s: float = 10.0, seconds: float = 3.0) -> OwnWords:
    return OwnWords(start_s, start_s + seconds, text)


@pytest.mark.parametrize(
    "words",
    [
        "front pads one point five millimetres",
        "front brake pads thickness one decimal five millimetres",
        "correction front pads one point five millimetres",
    ],
)
def test_what_means_the_same_as_what_we_say_is_no_finding(words: str) -> None:
    own = overheard(heard(words), [said("front pads one point five millimetres")])
    assert own.understanding.decision is Decision.REFUSE
    assert Flag.OWN_VOICE in own.understanding.flags
    assert own.understanding.finding is None
    assert own.understanding.text == words


@pytest.mark.parametrize(
    "words",
    [
        "front pads five millimetres",  # fewer of our own words, and another value
        "front pads one millimetre",
        "front pads one point nine millimetres",
        "front pads worn",
    ],
)
def test_another_value_for_it_is_asked_about_as_a_correction(words: str) -> None:
    other = overheard(heard(words), [said("front pads one point five millimetres")])
    assert other.understanding.decision is Decision.ASK
    assert other.understanding.asks is Asks.HEARD
    assert other.understanding.dialogue is Command.CORRECTION
    assert "orrection" in other.understanding.question_text
    assert Flag.OWN_VOICE not in other.understanding.flags


@pytest.mark.parametrize(
    "words",
    [
        "rear pads two millimetres",
        "left mirror cracked",
        "chain dry and left mirror cracked",
    ],
)
def test_what_is_about_something_else_is_somebodys(words: str) -> None:
    mine = heard(words)
    assert overheard(mine, [said("front pads one point five millimetres")]) is mine


def test_our_value_of_something_else_in_the_midst_of_our_own_is_asked_about() -> None:
    """It may be our own words, misheard."""
    mine = heard("rear mudguard sound", 10.5, 1.2)
    asked = overheard(mine, [said("right luggage rack sound")])
    assert asked.understanding.decision is Decision.ASK
    behind = heard("rear mudguard sound", 13.5, 1.2)
    assert overheard(behind, [said("right luggage rack sound")]) is behind


@pytest.mark.parametrize(("end_s", "decision"), [(14.0, Decision.ASK), (10.6, Decision.ACCEPT)])
def test_a_bare_value_in_the_midst_of_our_own_is_not_of_what_we_ask_for_next(
    end_s: float, decision: Decision
) -> None:
    """ "Saved, front brake pads, two decimal five millimetres. Next: rear brake pads", misheard by itself."""
    bare = heard("rear brake pads two millimetres")
    flags = (*bare.understanding.flags, Flag.LED)
    bare = replace(bare, understanding=replace(bare.understanding, flags=flags))
    over = replace(said("front brake pads two point five millimetres", 9.0), end_s=end_s)
    assert overheard(bare, [over]).understanding.decision is decision


def test_a_breath_with_our_finding_and_another_one_is_asked_about_whole() -> None:
    mine = heard("front pads zero millimetres and left mirror cracked")
    both = overheard(mine, [said("front pads zero millimetres")])
    assert both.understanding.decision is Decision.ASK
    assert {one.component for one in both.understanding.offered} == {"brake pads", "mirror"}


@pytest.mark.parametrize("start_s", [13.0 + TAIL_S, 20.0, 7.9])
def test_what_does_not_overlap_counts_as_ever(start_s: float) -> None:
    mine = heard("front pads one point five millimetres", start_s)
    assert overheard(mine, [said("front pads one point five millimetres")]) is mine


def test_the_echo_behind_the_end_is_still_ours() -> None:
    late = heard("front pads one point five millimetres", 11.2)
    own = overheard(late, [said("front pads one point five millimetres")])
    assert Flag.OWN_VOICE in own.understanding.flags


@pytest.mark.parametrize(
    ("words", "ours"),
    [
        ("say again", "was that fifty millimetres? say the value again."),
        ("read back", "i read back, within its limit, left mirror, sound."),
        ("what is left", "what is left"),
    ],
)
def test_a_word_of_the_dialogue_among_our_own_is_ours(words: str, ours: str) -> None:
    own = overheard(heard(words), [question(ours)])
    assert Flag.OWN_VOICE in own.understanding.flags


@pytest.mark.parametrize("words", ["affirm", "negative", "disregard", "say again"])
def test_a_short_word_in_the_midst_of_our_own_is_not_taken(words: str) -> None:
    """ "Confirm" may be heard as "affirm"; who means it says it once we are silent."""
    over = overheard(heard(words, 10.5, 0.6), [said("front pads zero millimetres")])
    assert over.understanding.decision is Decision.REFUSE
    assert Flag.OWN_VOICE not in over.understanding.flags  # it is told
    behind = heard(words, 13.5, 0.6)
    assert overheard(behind, [said("front pads zero millimetres")]) is behind


def test_an_answer_in_the_midst_of_its_question_is_not_taken() -> None:
    asked = LANGUAGE.understand("pads two millimetres")
    answer = replace(heard("front pads two millimetres", 10.5, 0.6), answers=asked)
    spoken = OwnWords(10.0, 13.0, "which end, front or rear?", asked.offered, asks=True)
    refused = overheard(answer, [spoken])
    assert refused.understanding.decision is Decision.REFUSE
    assert refused.answers is None
    assert Flag.OWN_VOICE not in refused.understanding.flags  # it is told, and said again


def test_an_answer_that_begins_at_the_end_of_its_question_counts() -> None:
    asked = LANGUAGE.understand("pads two millimetres")
    answer = replace(heard("front pads two millimetres", 12.6, 2.0), answers=asked)
    spoken = OwnWords(10.0, 13.0, "which end, front or rear?", asked.offered, asks=True)
    assert overheard(answer, [spoken]) is answer


def test_another_value_over_a_question_corrects_nothing_that_stands() -> None:
    finding = LANGUAGE.understand("front pads one point five millimetres").finding
    assert finding is not None
    spoken = OwnWords(10.0, 13.0, "did you say front brake pads?", (finding,), asks=True)
    other = overheard(heard("front pads two millimetres"), [spoken])
    assert other.understanding.asks is Asks.HEARD
    assert other.understanding.dialogue is None


def test_what_was_not_understood_stays_that() -> None:
    mine = heard("what a lovely morning")
    assert overheard(mine, [said("front pads zero millimetres")]) is mine


def test_what_is_clear_only_with_our_sound_left_in_counts_where_most_of_it_lies_outside() -> None:
    own = [said("front pads one point five millimetres")]
    inside, outside = heard("left mirror cracked"), heard("left mirror cracked", 12.5)
    for each, decision in ((inside, Decision.ASK), (outside, Decision.ACCEPT)):
        cleared = replace(each, hearing=replace(each.hearing, cleared=True))
        assert overheard(cleared, own).understanding.decision is decision
        assert overheard(each, own).understanding.decision is Decision.ACCEPT
