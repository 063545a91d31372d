"""The shop additions to the weights: the sum, the way of writing, the speech they are trained on."""

from __future__ import annotations

import importlib.util
import random
import tomllib
from collections import Counter
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from fieldlog.errors import ModelError, UsageError
from fieldlog.grammar.language import is_said
from fieldlog.lab.adapting import plan
from fieldlog.lab.adapting import takes as takes_module
from fieldlog.lab.adapting.batches import Batches
from fieldlog.lab.adapting.command import adapt
from fieldlog.lab.adapting.one_way import in_one_way
from fieldlog.lab.adapting.sentences import Said, Sentences, kept_apart_texts
from fieldlog.lab.adapting.share import averaged, part_of_way
from fieldlog.lab.adapting.shop import Shop
from fieldlog.lab.adapting.takes import (
    Take,
    answers,
    general,
    kept_apart,
    negatives,
    said_often,
    shards,
    takes,
)
from fieldlog.lab.speech_set.neural_worker import chosen_style
from fieldlog.lab.speech_set.phrases import Phrase, part_of
from fieldlog.lab.speech_set.voices import VOICES
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.listeners.whisper import folder
from fieldlog.listeners.whisper.adapter import add
from fieldlog.listeners.whisper.decoder import Decoder
from fieldlog.listeners.whisper.encoder import Encoder
from fieldlog.listeners.whisper.features import log_mel
from fieldlog.listeners.whisper.fingerprint import TINY_EN
from fieldlog.listeners.whisper.folder import ModelFolder, open_folder
from fieldlog.listeners.whisper.tokens import TokenGraph, vocabulary
from fieldlog.listeners.whisper.weights import ModelWeights, read_weights
from fieldlog.whole import sha256_of
from tests.utterances import rows


@lru_cache(maxsize=1)
def plain() -> ModelFolder:
    return open_folder(None, adapt=False)


# --- the sum ---


def test_the_sum_is_w_plus_b_a() -> None:
    weights = ModelWeights(
        "WhisperSpec",
        {
            "x/weight": np.array([[1.0, 2.0], [3.0, 4.0]], dtype="<f2"),
            "x/bias": np.array([0.5, 0.25], dtype="<f2"),
            "y/weight": np.zeros((1, 1, 3), dtype="<f2"),
        },
    )
    add(
        weights,
        {
            "x/weight|B": np.array([[1.0], [0.0]]),
            "x/weight|A": np.array([[10.0, 20.0]]),
            "x/bias|shift": np.array([1.0, -1.0]),
            "y/weight|shift": np.array([[[1.0, 2.0, 3.0]]]),
        },
    )
    assert weights.floats("x/weight").tolist() == [[11.0, 22.0], [3.0, 4.0]]
    assert weights.floats("x/bias").tolist() == [1.5, -0.75]
    assert weights.floats("y/weight").tolist() == [[[1.0, 2.0, 3.0]]]


def test_half_of_the_way_is_half_of_the_sum() -> None:
    weights = ModelWeights("WhisperSpec", {"x": np.zeros((2, 2), "<f2"), "y": np.zeros(2, "<f2")})
    whole = {
        "x|B": np.array([[2.0], [4.0]]),
        "x|A": np.array([[1.0, 3.0]]),
        "y|shift": np.array([8.0, 2.0]),
    }
    add(weights, part_of_way(whole, 0.5))
    assert weights.floats("x").tolist() == [[1.0, 3.0], [2.0, 6.0]]
    assert weights.floats("y").tolist() == [4.0, 1.0]


def test_the_middle_of_trainings_adds_the_mean_of_what_they_add() -> None:
    rng = np.random.default_rng(2)
    trainings = [
        {
            "x|B": rng.standard_normal((6, 2)).astype(np.float16),
            "x|A": rng.standard_normal((2, 5)).astype(np.float16),
            "y|shift": rng.standard_normal(3).astype(np.float16),
        }
        for _ in range(2)
    ]
    mean = averaged(trainings, 4)
    products = [t["x|B"].astype(np.float32) @ t["x|A"].astype(np.float32) for t in trainings]
    made = mean["x|B"].astype(np.float32) @ mean["x|A"].astype(np.float32)
    assert np.abs(made - sum(products) / 2).max() < 0.01
    assert (
        np.abs(mean["y|shift"] - (trainings[0]["y|shift"] + trainings[1]["y|shift"]) / 2).max()
        < 0.01
    )
    assert averaged(trainings, 1)["x|B"].shape == (6, 1)


def test_a_share_is_taken_and_told(tmp_path: Path) -> None:
    additions: dict[str, Any] = {"y|shift": np.array([8.0], "<f2")}
    np.savez(tmp_path / "whole.npz", **additions)
    (tmp_path / "whole.toml").write_text('# head\nadditions = "old"\nsteps = 7\n')
    out = tmp_path / "adapter.npz"
    done = CliRunner().invoke(
        adapt, ["share", str(tmp_path / "whole.npz"), "--out", str(out), "--share", "0.25"]
    )
    assert done.exit_code == 0, done.output
    with np.load(out) as stored:
        assert stored["y|shift"].tolist() == [2.0]
    about = tomllib.loads(out.with_suffix(".toml").read_text(encoding="utf-8"))
    assert about["additions"] == sha256_of(out)
    assert (about["steps"], about["share"]) == (7, 0.25)


@pytest.mark.parametrize("content", [b"no archive", b"PK\x03\x04 broken"])
def test_a_file_that_holds_no_additions_is_named(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "whole.npz").write_bytes(content)
    with pytest.raises(UsageError, match="holds no additions") as raised:
        adapt.main(
            ["share", str(tmp_path / "whole.npz"), "--out", str(tmp_path / "a.npz")],
            standalone_mode=False,
        )
    assert "whole.npz" in str(raised.value)


@pytest.mark.parametrize(
    "additions",
    [
        {"z|shift": np.zeros(2)},
        {"x|shift": np.zeros(3)},
        {"x|B": np.zeros((2, 1))},
        {"x|B": np.zeros((2, 1)), "x|A": np.zeros((1, 4))},
    ],
)
def test_additions_of_another_model_are_refused(additions: dict[str, np.ndarray]) -> None:
    weights = ModelWeights("WhisperSpec", {"x": np.zeros(2, dtype="<f2")})
    with pytest.raises(ModelError, match="do not belong to this model"):
        add(weights, additions)


def test_shipped_additions_are_those_their_file_tells_of() -> None:
    about = tomllib.loads(folder.ADDITIONS.with_suffix(".toml").read_text(encoding="utf-8"))
    assert about["weights"] == TINY_EN
    assert about["additions"] == sha256_of(folder.ADDITIONS)


def test_shipped_additions_change_every_layer_and_nothing_else() -> None:
    changed = open_folder(None)
    assert changed.adapted
    assert not plain().adapted
    assert changed.files is not None
    whole = read_weights(changed.files["model.bin"])
    for name, before in plain().weights.variables.items():
        same = np.array_equal(before, whole.raw(name))
        if name.startswith("decoder/"):
            assert np.array_equal(whole.raw(name), changed.weights.raw(name)), name
        fixed = before.ndim == 0 or "embeddings" in name or "encodings" in name
        fixed |= name == "decoder/projection/weight"
        assert same == fixed, name


def test_unreadable_additions_say_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = tmp_path / "adapter.npz"
    broken.write_bytes(b"no archive")
    monkeypatch.setattr(folder, "ADDITIONS", broken)
    with pytest.raises(ModelError, match="install fieldlog again"):
        open_folder(None)


# --- the way of writing ---


@pytest.mark.parametrize(
    ("words", "written"),
    [
        ("rear tyre pressure thirty two p s i", "rear tire pressure thirty two psi"),
        ("oil is s a e ten w thirty", "oil is sae ten w thirty"),
        ("brake disc four millimetres", "brake disc four millimeters"),
        ("a half", "a half"),
    ],
)
def test_one_way_of_writing(words: str, written: str) -> None:
    assert in_one_way(words) == written


def test_the_one_way_of_writing_is_among_those_the_search_allows() -> None:
    """Whatever the additions were taught to write must be a path of the token trees."""
    language = load_language()
    model = plain()
    tokens = sorted({*range(5000)} | vocabulary(language.words(), model.encode))
    column = {token: place for place, token in enumerate(tokens)}
    graph = TokenGraph(language.word_graph(), model.encode, column)
    said = [row["w"] for row in rows()[::9] if _sayable(language, row["w"])]
    assert len(said) > 100
    assert not [w for w in said if not _allowed(graph, model.encode(" " + in_one_way(w)))]


def _sayable(language: InspectionLanguage, words: str) -> bool:
    """Whether listeners are offered it: some forms are for typing only."""
    graph = language.word_graph()
    state = graph.start
    for word in words.split():
        arc = graph.arcs(state).get(word)
        if arc is None:
            return False
        state = arc[0]
    return graph.is_final(state)


def _allowed(graph: TokenGraph, tokens: tuple[int, ...]) -> bool:
    places = [(graph.root, True)]
    for token in tokens:
        after = []
        for node, _ in places:
            if token in node.tokens:
                kid = node.kid(node.tokens.index(token), graph.column)
                after.append((kid, False))
                after += [(graph.at(e.state, e.joining), True) for e in kid.exits]
        places = after
    return any(whole and node.final for node, whole in places)


# --- what is trained on ---


def test_no_voice_of_the_test_part_is_trained_on(monkeypatch: pytest.MonkeyPatch) -> None:
    kept_apart()
    monkeypatch.setattr(takes_module, "NATURAL_STYLES", ("af_heart",))
    with pytest.raises(UsageError, match="af_heart"):
        kept_apart()


def test_commands_and_twins_are_said_more_often() -> None:
    phrases = [
        Phrase("scratch that", "phrase", "dialogue", frozenset()),
        Phrase("correction rear rim missing", "phrase", "correction", frozenset()),
        Phrase("sag fifteen millimetres", "phrase", "finding", frozenset()),
        Phrase("rear rim missing", "phrase", "judged", frozenset()),
    ]
    said = Counter(phrase.words for phrase in said_often(phrases))
    assert list(said.values()) == [30, 2, 3, 1]


def test_answers_are_short_and_of_the_training_part() -> None:
    found = [words for _, words in answers(3)]
    assert {"front", "at the rear"} <= set(found)
    assert {"left", "right", "nearside", "offside"} & set(found)  # sides have British names too
    assert all(len(words.split()) <= 12 for words in found)


def test_no_negative_of_the_test_part_is_trained_on() -> None:
    assert negatives()
    assert all(part_of(words) == "train" for _, words in negatives())


@lru_cache(maxsize=1)
def _sentences() -> Sentences:
    language = load_language()
    few = [
        "left mirror cracked", "front tyre worn", "rear disc four millimetres", "seat torn",
        "horn weak", "front brake pads three millimetres", "right fork seal leaking",
        "chain rusty", "fuel tank dented", "battery leaking", "rear rim bent", "clutch cable frayed",
        "coolant low", "exhaust loose", "handlebar bent", "front axle nut sixty newton metres",
    ]  # fmt: skip
    return Sentences(language, 3, few)


@pytest.mark.parametrize("way", ["breath", "carried", "repair", "limit", "side", "pause", "talk"])
def test_sentences_to_train_on_are_of_the_training_part(way: str) -> None:
    source = _sentences()
    found = source.draw(getattr(source, way), 3)
    assert found
    for said in found:
        assert part_of(said.words) == "train"
        if said.kind not in ("tail", "talk"):
            assert is_said(source.graph, said.words.split()), said.words


def test_no_sentence_of_the_benchmark_is_trained_on() -> None:
    apart = kept_apart_texts()
    assert "horn works left mirror loose" in apart
    assert "horn weak in the mornings" in apart
    source = _sentences()
    mine = next(words for words in sorted(apart) if part_of(words) == "train")
    assert not source.mine(mine)
    assert source.draw(lambda: Said("tail", (mine,)), 1) == []


def test_blended_voices_are_of_the_training_part(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(plan, "_texts", lambda *_: [Said("phrase", ("rear tyre okay",))] * 60)
    spoken = plan.planned(load_language(), [], 60, 1)
    blends = [one.setting for one in spoken if one.engine == "kokoro english"]
    assert len(set(blends)) == len(blends) > 20
    tested = {voice.setting for voice in VOICES}
    for setting in blends:
        parts = [part.split(":") for part in setting.partition("%")[0].split("~")]
        assert {name for name, _ in parts} <= set(takes_module.NATURAL_STYLES) - tested
        assert sum(float(weight) for _, weight in parts) == pytest.approx(1.0, abs=1e-3)
    assert not tested & {one.setting for one in spoken if one.engine != "kokoro english"}


def test_a_blend_is_a_mixture_moved_a_little() -> None:
    styles = {"a": np.full((4, 1, 256), 1.0, np.float32), "b": np.zeros((4, 1, 256), np.float32)}
    blend = chosen_style(styles, "a:0.75~b:0.25%7", 2)
    assert blend.shape == (1, 256)
    assert blend.mean() == pytest.approx(0.75, abs=0.02)
    assert 0.01 < blend.std() < 0.05
    assert np.array_equal(blend, chosen_style(styles, "a:0.75~b:0.25%7", 2))
    assert not np.array_equal(blend, chosen_style(styles, "a:0.75~b:0.25%8", 2))


def test_general_sentences_are_plain(tmp_path: Path) -> None:
    file = tmp_path / "text"
    file.write_text("A cat sat there. Room 101 is shut.\n%\nNow!\n%\nNASA flew to it.\n")
    assert general([file], random.Random(1)) == [("general", "A cat sat there.")]


def _takes(count: int) -> list[Take]:
    rng = np.random.default_rng(3)
    kinds = ["phrase", "half", "general"]
    return [
        Take(
            kinds[n % 3],
            "Good day to you." if n % 3 == 2 else "rear tyre okay",
            "kokoro af_kore" if n % 2 else "flite rms",
            (8000 * rng.standard_normal(12_000)).astype(np.int16),
        )
        for n in range(count)
    ]


def test_takes_are_read_as_they_were_written(tmp_path: Path) -> None:
    made = _takes(5)
    takes_module.write_takes(tmp_path / "one.npz", made)
    read = takes(tmp_path)
    assert [(t.kind, t.words, t.voice) for t in read] == [(t.kind, t.words, t.voice) for t in made]
    assert all(np.array_equal(a.sound, b.sound) for a, b in zip(read, made, strict=True))
    with pytest.raises(UsageError, match="holds no takes"):
        takes(tmp_path / "nowhere")


@pytest.fixture
def short_noises(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fieldlog.lab.adapting.shop._NOISE_S", 8.0)  # takes here last 0.75 s


@pytest.mark.usefixtures("short_noises")
def test_additions_that_are_written_among_the_takes_are_no_takes(tmp_path: Path) -> None:
    """`adapt train --out takes/first.npz`, and again with more steps."""
    sound = np.zeros(16000, np.int16)
    made = [Take("finding", "chain dry", "kokoro x", sound)]
    takes_module.write_takes(tmp_path / "natural-00000.npz", made)
    additions: dict[str, Any] = {"x|A": np.zeros((2, 2), np.float16)}
    np.savez_compressed(tmp_path / "first.npz", **additions)
    assert [path.name for path in shards(tmp_path)] == ["natural-00000.npz"]
    assert [take.words for take in takes(tmp_path)] == ["chain dry"]
    (tmp_path / "cut.npz").write_bytes(b"PK")
    with pytest.raises(UsageError, match=r"cut\.npz"):
        takes(tmp_path)


@pytest.mark.usefixtures("short_noises")
def test_batches_hold_what_the_takes_say(tmp_path: Path) -> None:
    takes_module.write_takes(tmp_path / "one.npz", _takes(9))
    batch = next(iter(Batches(tmp_path, plain(), 4, seed=2)))
    again = next(iter(Batches(tmp_path, plain(), 4, seed=2)))
    assert batch.features.shape[:2] == (4, 80)
    assert np.array_equal(batch.features, again.features)
    assert np.isfinite(batch.features).all()
    end = plain().special.end
    for row in batch.wanted:
        text = plain().decode([int(t) for t in row if t >= 0 and t != end])
        assert text in ("rear tire okay", "Good day to you.", "good day to you", "")
        assert (row == end).sum() == 1


@pytest.mark.usefixtures("short_noises")
def test_the_shop_is_noisy_to_the_ratio_that_was_drawn() -> None:
    shop = Shop(_takes(6))
    rng = np.random.default_rng(1)
    heard = [shop.heard(_takes(1)[0], rng) for _ in range(12)]
    assert len({len(sound) for sound in heard}) > 6
    assert all(np.isfinite(sound).all() and np.abs(sound).max() <= 1.2 for sound in heard)
    assert 16_000 <= len(shop.nothing(rng)) <= 3 * 16_000


@pytest.mark.skipif(
    importlib.util.find_spec("torch") is None,
    reason="PyTorch is not installed (pip install 'fieldlog[adapting]'): training cannot be tried",
)
def test_the_ear_that_is_trained_hears_as_the_one_that_listens() -> None:
    import torch

    from fieldlog.lab.adapting.ear import Ear

    model = plain()
    ear = Ear(model.weights, rank=4)
    features = (0.3 * np.random.default_rng(0).standard_normal((80, 300))).astype(np.float32)
    with torch.no_grad():
        encoded = ear.encode(torch.from_numpy(features[None]))[0].numpy()
    expected = Encoder(model.path, 2, "float32").encode(features)
    assert np.abs(encoded - expected).max() < 1e-3
    tokens = [*model.special.prompt, *model.encode(" front brake pads")]
    decoder = Decoder(model.weights, np.arange(51_864))
    logits, _ = decoder.prefill(decoder.listen(expected), np.array(tokens), every=True)
    with torch.no_grad():
        hidden = ear.decode(torch.tensor([tokens]), torch.from_numpy(expected[None]))
        assert np.abs(ear.logits(hidden[0]).numpy() - logits).max() < 1e-3


@pytest.mark.skipif(
    importlib.util.find_spec("torch") is None,
    reason="PyTorch is not installed (pip install 'fieldlog[adapting]'): training cannot be tried",
)
def test_a_training_goes_on_from_an_earlier_one() -> None:
    from fieldlog.lab.adapting.ear import Ear

    model = plain()
    before = {
        name: np.full(values.shape, 0.5, np.float16)
        for name, values in Ear(model.weights, rank=4).additions().items()
    }
    ear = Ear(model.weights, rank=4)
    ear.go_on_from(before)
    after = ear.additions()
    assert all((after[name] == values).all() for name, values in before.items())
    with pytest.raises(ModelError, match="another rank"):
        Ear(model.weights, rank=5).go_on_from(before)


@pytest.mark.skipif(
    importlib.util.find_spec("torch") is None,
    reason="PyTorch is not installed (pip install 'fieldlog[adapting]'): training cannot be tried",
)
def test_a_training_grows_from_one_of_a_smaller_rank() -> None:
    from fieldlog.lab.adapting.ear import Ear

    model = plain()
    before = {
        name: np.full(values.shape, 0.5, np.float16)
        for name, values in Ear(model.weights, rank=4).additions().items()
    }
    ear = Ear(model.weights, rank=6)
    ear.grow_from(before, 2.0)
    name = next(key.removesuffix("|B") for key in before if key.endswith("|B"))
    up, down = (part.detach().numpy() for part in ear.maps[name])
    assert np.allclose(up @ down, 4 * 1.0 * 0.5)
    with pytest.raises(ModelError, match="have rank 4"):
        Ear(model.weights, rank=3).grow_from(before, 1.0)


@pytest.mark.skipif(
    importlib.util.find_spec("torch") is None,
    reason="PyTorch is not installed (pip install 'fieldlog[adapting]'): training cannot be tried",
)
@pytest.mark.usefixtures("short_noises")
def test_features_on_a_card_are_those_of_the_listener(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import torch

    from fieldlog.lab.adapting.card import CardBatches

    takes_module.write_takes(tmp_path / "one.npz", _takes(9))
    batches = CardBatches(tmp_path, plain(), 4, 2, "cpu")
    features, tokens, wanted = next(iter(batches))
    assert features.shape[:2] == (4, 80)
    assert tokens.shape == wanted.shape
    assert torch.isfinite(features).all()
    sound = (0.1 * np.random.default_rng(0).standard_normal((1, 48_000))).astype(np.float32)
    never = type("Never", (), {"random": lambda _, n: np.ones(n)})()
    never.integers = lambda low, high, size: np.full(size, low)
    monkeypatch.setattr(batches, "_rng", never)
    made = batches._log_mel(torch.from_numpy(sound), np.array([300])).numpy()[0]
    assert np.abs(made[:, 10:310] - log_mel(sound[0])).max() < 1e-5
    assert (made[:, 310:] == np.float32(-0.6)).all()
