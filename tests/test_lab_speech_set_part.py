"""The committed part of the speech set, through the real voice activity and endpointer."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldlog.audio.endpointer import utterances
from fieldlog.lab.speech_set.items import Item, SpeechSet

PART = SpeechSet(Path(__file__).parent / "data" / "speech_set")
SPOKEN = [item for item in PART.items if not item.is_negative]
NOTHING = [item for item in PART.items if item.kind in ("cough", "breath", "room", "silence")]


def test_the_part_is_what_its_manifest_says() -> None:
    assert len(PART.items) == PART.about["items"] == 32
    assert {item.part for item in PART.items} == {"tune", "test"}
    assert len({item.voice for item in SPOKEN}) >= 8


@pytest.mark.parametrize("item", SPOKEN, ids=lambda item: item.id)
def test_every_phrase_is_one_whole_utterance(item: Item) -> None:
    (clip,) = utterances([PART.clean(item)])
    assert clip.start_s <= item.speech_start_s + 0.1
    assert clip.end_s >= item.speech_end_s - 0.1
    # Hiss that is added behind a headset may hide it; nothing else may look like one.
    assert "narrow band" not in clip.flags or item.effect == "headset"
    assert ("clipped" in clip.flags) == (item.effect == "clipped")


def test_most_phrases_stay_whole_in_workshop_noise() -> None:
    whole = 0
    for item in SPOKEN:
        found = list(utterances([PART.noisy(item, 15.0)]))
        whole += (
            len(found) == 1
            and found[0].start_s <= item.speech_start_s + 0.15
            and found[0].end_s >= item.speech_end_s - 0.15
        )
    assert whole >= len(SPOKEN) - 1


@pytest.mark.parametrize("item", NOTHING, ids=lambda item: f"{item.kind} {item.id}")
def test_what_is_not_speech_is_at_most_a_short_utterance(item: Item) -> None:
    found = list(utterances([PART.clean(item)]))
    assert len(found) <= (1 if item.kind in ("cough", "breath") else 0)
