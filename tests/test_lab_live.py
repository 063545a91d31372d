"""The stand-in for a live session that the benchmarks hear with: all of a recording, ended by meaning."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from fieldlog.audio.endpointer import Endpointer
from fieldlog.lab.benchmarks.live_takes import hear_live
from fieldlog.language.files import load_language
from fieldlog.shop.conversation import Conversation
from fieldlog.shop.ears import Ears, open_ears
from tests.test_accounting import recording, unaccounted


@pytest.fixture(scope="module")
def ears() -> Iterator[Ears]:
    with open_ears(load_language(), "whisper", None) as opened:
        yield opened


@pytest.mark.parametrize("gap_s", [0.1, 0.5, 0.9])
def test_all_is_heard_though_a_whole_finding_ends_soon(ears: Ears, gap_s: float) -> None:
    sound = recording("parking_light", gap_s, "belt", gap_s, "rear_tyre", gap_s, "chain_clip")
    found = hear_live(sound, Conversation(ears), Endpointer())
    heard = [each.heard for each in found]
    assert unaccounted(sound, heard) == []
    assert sum(len(each.outcomes) for each in heard if each.accepted) == 4


def test_what_was_heard_so_far_says_how_long_the_silence_lasts(ears: Ears) -> None:
    """Nothing follows "the rear tyre is dirty"; talk is waited for as long as ever."""
    waits = []
    for name in ("rear_tyre", "chatter"):
        found = hear_live(recording(name), Conversation(ears), Endpointer())
        waits.append(found[-1].wait_s)
    assert waits[0] < 0.7 < waits[1]
