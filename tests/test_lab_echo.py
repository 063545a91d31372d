"""A small cut of the echo benchmark: whatever the ear would hear, nothing of our own voice gets to it."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldlog.audio.clip import Clip
from fieldlog.lab.benchmarks import echo as bench
from fieldlog.lab.speech_set.items import SpeechSet
from fieldlog.language.files import load_language
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.shop.ears import Ears

LANGUAGE = load_language()
SOUNDS = SpeechSet(Path(__file__).parent / "data" / "speech_set")


class Believes:
    """Hears a finding in whatever it gets."""

    name = "told"

    def load(self, language: object) -> None:
        """Nothing to load."""

    def hear(self, clip: Clip) -> Hearing:
        return Hearing(self.name, (Hypothesis("left mirror cracked", 0.0),), 1.0)

    def close(self) -> None:
        """Nothing to close."""


@pytest.fixture
def room(monkeypatch: pytest.MonkeyPatch) -> bench.Room:
    monkeypatch.setattr(bench, "DELAYS_S", (0.1, 0.4))
    return bench.Room(Ears(LANGUAGE, Believes(), lambda said, hearing, clip: said), SOUNDS)


def counted(room: bench.Room, layers: bench.Layers) -> bench.Own:
    finding = LANGUAGE.understand("front pads two millimetres").finding
    assert finding is not None
    row = bench.Own(layers, -6.0)
    for says, heard, cuts in bench.own_takes(room, [finding], row, ("engine 1000",)):
        bench.count_own(row, says, heard, cuts)
    return row


def test_with_the_canceller_no_speech_is_found(room: bench.Room) -> None:
    row = counted(room, bench.Layers.CANCELLER)
    assert row.sentences == 4
    assert sum(row.came.values()) == 0


def test_without_it_everything_would_be_believed(room: bench.Room) -> None:
    assert counted(room, bench.Layers.NONE).came[bench.Came.FINDING] >= 4


def test_the_page_has_the_counts_and_their_bounds() -> None:
    own = bench.Own(bench.Layers.ALL, -6.0, takes=36, sentences=72)
    over = bench.Over("over a read-back", takes=20, right=19, asked=1, offered=1)
    text = bench.page([own], [over], "python -m fieldlog.lab echo --set SET", interrupted=False)
    assert "| canceller and meaning | -6 dB | 72 | 0 (0.0 %, at most 4.1 %) |" in text
    assert "| over a read-back | 20 | 19 (95.0 %) | 1 (5.0 %) | 1 |" in text
