"""The second voice, in a process of its own; without the extra it is left out."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from fieldlog.audio.clip import RATE
from fieldlog.audio.tones import Tone, tone
from fieldlog.audio.voice import bundled_voice
from fieldlog.shop.mouth import sound_of
from fieldlog.shop.other_voice import OtherVoice
from fieldlog.shop.saying import Saying


@pytest.fixture(scope="module")
def other() -> Iterator[OtherVoice]:
    if not OtherVoice.is_there():
        pytest.skip("the extra `speak` is not installed (pip install espeakng-loader)")
    with OtherVoice() as voice:
        yield voice


def test_words_that_nobody_rendered_are_said_by_the_other_voice(other: OtherVoice) -> None:
    sound = sound_of(Saying(Tone.ASKED, "next, left zeppelin mount."), bundled_voice(), other)
    assert len(sound) > len(tone(Tone.ASKED)) + RATE
    assert 0.1 < float(np.abs(sound[len(tone(Tone.ASKED)) :]).max()) <= 0.9


def test_without_it_the_tone_is_what_is_heard() -> None:
    sound = sound_of(Saying(Tone.ASKED, "next, left zeppelin mount."), bundled_voice())
    assert np.array_equal(sound, tone(Tone.ASKED))


def test_a_process_that_is_gone_says_nothing_and_hangs_nobody(other: OtherVoice) -> None:
    with OtherVoice() as voice:
        assert voice.say("one") is not None
        assert voice._process is not None
        voice._process.end()
        assert voice.say("two") is None
        assert voice.say("three") is None
