"""The embedded recogniser on sound: four small synthetic clips, silence and odd audio."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from fieldlog.audio.clip import Clip
from fieldlog.errors import ModelError
from fieldlog.listeners.base import Listener
from fieldlog.listeners.whisper.listener import WhisperListener
from tests.phrase_language import PhraseLanguage

CLIPS = Path(__file__).parent / "data" / "speech"
PHRASES = [
    f"{lead} {size} {drink}{milk}"
    for lead in ("can i get a", "i'd like a")
    for size in ("small", "medium", "large")
    for drink in ("latte", "mocha", "coffee")
    for milk in ("", " with soy milk", " with cream")
] + [
    *(f"rear tread {n} thirty seconds" for n in ("two", "three", "four", "five", "nine")),
    *(f"battery twelve point {n} volts" for n in ("two", "four", "five", "six", "nine")),
    "battery twelve volts",
    "front pads three millimetres",
]


def clip(name: str) -> Clip:
    samples, rate = sf.read(CLIPS / name, dtype="float32")
    assert rate == 16_000
    return Clip(samples)


@pytest.fixture(scope="module")
def listener() -> Iterator[WhisperListener]:
    made = WhisperListener()
    made.load(PhraseLanguage(PHRASES))
    yield made
    made.close()
    made.close()


def test_it_is_a_listener() -> None:
    assert isinstance(WhisperListener(), Listener)


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("small_latte.flac", "can i get a small latte with soy milk"),
        ("rear_tread.flac", "rear tread four thirty seconds"),
        ("battery_twelve.flac", "battery twelve point six volts"),
    ],
)
def test_hears_what_was_said(listener: WhisperListener, name: str, said: str) -> None:
    hearing = listener.hear(clip(name))
    best = hearing.hypotheses[0]
    assert best.text == said
    assert best.evidence["bend"] > -1.5
    assert best.evidence["margin"] > 0
    assert hearing.latency_ms > 0
    scores = [hypothesis.score for hypothesis in hearing.hypotheses]
    assert scores == sorted(scores, reverse=True)
    assert len({hypothesis.text for hypothesis in hearing.hypotheses}) == len(scores)


def test_foreign_speech_is_bent_and_shows_it(listener: WhisperListener) -> None:
    hearing = listener.hear(clip("chatter.flac"))
    assert all(hypothesis.evidence["bend"] < -1.0 for hypothesis in hearing.hypotheses)


def test_meanings_are_told_apart_not_texts() -> None:
    phrases = ["can i get a small latte with soy milk", "can i get small latte with soy milk"]
    language = PhraseLanguage([*phrases, "can i get tea"], dict.fromkeys(phrases, "latte"))
    made = WhisperListener()
    made.load(language)
    texts = [found.text for found in made.hear(clip("small_latte.flac")).hypotheses]
    made.close()
    assert texts[0] == phrases[0]
    assert phrases[1] not in texts


def test_free_speech_is_transcribed_without_the_grammar(listener: WhisperListener) -> None:
    assert "rained all day" in listener.transcribe(clip("chatter.flac")).lower()


@pytest.mark.parametrize("count", [0, 1, 160, 1599, 16_000])
def test_silence_and_scraps_give_nothing(listener: WhisperListener, count: int) -> None:
    silent = Clip(np.zeros(count, np.float32))
    assert listener.hear(silent).hypotheses == ()
    assert listener.transcribe(silent) == ""


def test_forty_seconds_of_noise_does_not_raise(listener: WhisperListener) -> None:
    noise = np.random.default_rng(3).normal(0, 0.1, 40 * 16_000).astype(np.float32)
    hearing = listener.hear(Clip(noise))
    assert all(hypothesis.evidence["bend"] < -1.0 for hypothesis in hearing.hypotheses)


def test_hearing_before_loading_is_one_clear_line() -> None:
    with pytest.raises(ModelError, match=r"call load\(\) first"):
        WhisperListener().hear(Clip(np.zeros(16_000, np.float32)))


def test_a_folder_that_is_no_model_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ModelError, match="in this folder"):
        WhisperListener(tmp_path).load(PhraseLanguage(PHRASES))


class ShopLanguage(PhraseLanguage):
    """Phrases that say they are shop speech."""

    in_shop_words = True


def test_only_shop_speech_gets_the_additions_to_the_weights() -> None:
    made = WhisperListener()
    try:
        adapted = []
        for language in (PhraseLanguage, ShopLanguage, PhraseLanguage):
            made.load(language(PHRASES))
            adapted.append((made.adapted, made.hear(clip("rear_tread.flac")).hypotheses))
    finally:
        made.close()
    assert [one for one, _ in adapted] == [False, True, False]
    assert adapted[0] == adapted[2]
    assert not made.adapted


def test_the_bundled_weights_may_be_kept_as_they_are() -> None:
    made = WhisperListener(adapt=False)
    try:
        made.load(ShopLanguage(PHRASES))
        assert not made.adapted
    finally:
        made.close()
