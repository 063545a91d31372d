"""Two findings in one breath, and a phrase that a pause cuts, as sound through the default listener."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from fieldlog.audio.clip import RATE, Clip
from fieldlog.audio.endpointer import utterances
from fieldlog.hearing import Heard
from fieldlog.language.files import load_language
from fieldlog.model.understanding import Decision, Flag
from fieldlog.shop.conversation import Conversation, utterances_of
from fieldlog.shop.ears import Ears, open_ears

CLIPS = Path(__file__).parent / "data" / "speech"


@pytest.fixture(scope="module")
def ears() -> Iterator[Ears]:
    with open_ears(load_language(), "whisper", None) as opened:
        yield opened


def spoken(*names: str, pause_s: float = 0.0) -> list[Clip]:
    """These clips one after the other as one recording, cut into utterances."""
    parts = [np.zeros(RATE // 2, np.float32)]
    for name in names:
        samples, rate = sf.read(CLIPS / f"{name}.flac", dtype="float32")
        assert rate == RATE
        parts += [samples, np.zeros(round(pause_s * RATE), np.float32)]
    return list(utterances([np.concatenate([*parts, np.zeros(RATE, np.float32)])]))


def heard(ears: Ears, clips: list[Clip]) -> list[Heard]:
    return list(utterances_of(clips, Conversation(ears)))


PAIRS = [
    ("parking_light", "rear_tyre", "parking light filthy", "the rear tyre is dirty"),
    ("chain_clip", "belt", "the chain clip is not there", "belt all okay"),
]


@pytest.mark.parametrize(("one", "other", "first", "second"), PAIRS)
def test_each_alone_is_accepted(ears: Ears, one: str, other: str, first: str, second: str) -> None:
    for name, words in ((one, first), (other, second)):
        (only,) = heard(ears, spoken(name))
        assert (only.text, only.accepted) == (words, True)


@pytest.mark.parametrize("pause_s", [0.0, 0.35, 0.5])
@pytest.mark.parametrize(("one", "other", "first", "second"), PAIRS)
def test_in_one_breath_both_are_heard(
    ears: Ears, one: str, other: str, first: str, second: str, pause_s: float
) -> None:
    clips = spoken(one, other, pause_s=pause_s)
    assert len(clips) == 1
    (both,) = heard(ears, clips)
    assert both.accepted
    assert [part.text for part in both.parts] == [first, second]
    (begin, middle), (behind, end) = both.stretches
    assert (begin, end) == (both.clip.start_s, both.clip.end_s)
    assert begin < middle <= behind < end


HALVES = [
    ("drive_shaft", "sound", "drive shaft sound"),
    ("rear_sprocket_is", "bent", "rear sprocket is bent"),
]


@pytest.mark.parametrize("pause_s", [1.0, 1.5, 2.0, 2.5])
@pytest.mark.parametrize(("head", "rest", "words"), HALVES)
def test_a_second_or_two_of_pause_is_bridged(
    ears: Ears, head: str, rest: str, words: str, pause_s: float
) -> None:
    clips = spoken(head, rest, pause_s=pause_s)
    assert len(clips) == 2
    (whole,) = heard(ears, clips)
    assert (whole.text, whole.accepted) == (words, True)


@pytest.mark.parametrize(("head", "rest", "words"), HALVES)
def test_halves_far_apart_are_nothing(ears: Ears, head: str, rest: str, words: str) -> None:
    assert not any(each.accepted for each in heard(ears, spoken(head, rest, pause_s=3.5)))


def test_speech_that_no_word_covers_is_told_and_nothing_is_taken_unasked(ears: Ears) -> None:
    """A finding, and talk behind it in the same breath."""
    for name in ("parking_light", "belt", "rear_tyre", "chain_clip"):
        (both,) = heard(ears, spoken(name, "chatter", pause_s=0.2)[:1])
        assert not both.accepted, name
        for begin, end in both.hearing.left_over:
            assert 0.5 < begin < end <= both.clip.duration_s
        if both.understanding.decision is Decision.ASK:
            assert Flag.MORE_SAID in both.understanding.flags


def test_three_findings_in_a_breath(ears: Ears) -> None:
    clips = spoken("parking_light", "belt", "rear_tyre", pause_s=0.3)
    (breath,) = heard(ears, clips)
    assert [part.text for part in breath.parts] == [
        "parking light filthy",
        "belt all okay",
        "the rear tyre is dirty",
    ]
