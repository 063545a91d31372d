"""Weights, features, decoder, written forms and token trees of the embedded recogniser."""

from __future__ import annotations

import errno
import random
import struct
import tempfile
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from hypothesis import given
from hypothesis import strategies as st
from tokenizers import Tokenizer

from fieldlog.errors import ModelError
from fieldlog.language.files import load_language
from fieldlog.listeners.choose import PARTS_OF_BASE
from fieldlog.listeners.whisper import written
from fieldlog.listeners.whisper.byte_pairs import BytePairs
from fieldlog.listeners.whisper.decoder import Decoder, gelu
from fieldlog.listeners.whisper.encoder import _laid_down
from fieldlog.listeners.whisper.features import log_mel, mel_filters, pad_features
from fieldlog.listeners.whisper.fingerprint import TINY_EN, verify
from fieldlog.listeners.whisper.folder import ModelFolder, open_folder
from fieldlog.listeners.whisper.tokens import PAUSED, SPACED, START, Node, TokenGraph, vocabulary
from fieldlog.listeners.whisper.weights import read_weights
from tests.phrase_language import PhraseLanguage

CLIPS = Path(__file__).parent / "data" / "speech"


@lru_cache(maxsize=1)
def bundled() -> ModelFolder:
    return open_folder(None, adapt=False)


# --- weights ---


def name(text: str) -> bytes:
    return struct.pack("<H", len(text) + 1) + text.encode() + b"\0"


def variable(title: str, array: np.ndarray, kind: int) -> bytes:
    shape = b"".join(struct.pack("<I", size) for size in array.shape)
    data = array.tobytes()
    return (
        name(title)
        + struct.pack("<B", array.ndim)
        + shape
        + struct.pack("<BI", kind, len(data))
        + data
    )


def model_bytes() -> bytes:
    half = np.array([[1.5, -2.0], [0.25, 8.0]], dtype="<f2")
    eighth = np.array([[127, -64], [10, 0]], dtype="i1")
    scale = np.array([127.0, 10.0], dtype="<f4")
    count = np.array(6, dtype="<i2")
    return (
        struct.pack("<I", 6)
        + name("WhisperSpec")
        + struct.pack("<II", 3, 4)
        + variable("a/weight", half, 4)
        + variable("b/weight", eighth, 1)
        + variable("b/weight_scale", scale, 0)
        + variable("decoder/num_heads", count, 2)
        + struct.pack("<I", 1)
        + name("c/weight")
        + name("a/weight")
    )


def test_variables_are_read_in_every_type_and_under_their_alias() -> None:
    weights = read_weights(model_bytes())
    assert weights.spec == "WhisperSpec"
    assert weights.floats("a/weight").tolist() == [[1.5, -2.0], [0.25, 8.0]]
    assert weights.floats("c/weight", np.array([1])).tolist() == [[0.25, 8.0]]
    assert weights.floats("b/weight").tolist() == [
        [1.0, pytest.approx(-64 / 127)],
        [1.0, 0.0],
    ]
    assert weights.floats("b/weight", np.array([1])).tolist() == [[1.0, 0.0]]
    assert weights.number("decoder/num_heads") == 6
    with pytest.raises(ModelError, match="no variable 'd/weight'"):
        weights.raw("d/weight")


@given(st.integers(min_value=0, max_value=len(model_bytes()) - 1))
def test_a_file_cut_short_anywhere_is_named_never_a_traceback(length: int) -> None:
    with pytest.raises(ModelError):
        read_weights(model_bytes()[:length])


def test_another_binary_version_is_refused() -> None:
    with pytest.raises(ModelError, match="binary version 5"):
        read_weights(struct.pack("<I", 5) + model_bytes()[4:])


def test_a_changed_model_is_not_loaded(tmp_path: Path) -> None:
    (tmp_path / "model.bin").write_bytes(model_bytes())
    with pytest.raises(ModelError, match="not the one"):
        verify(tmp_path / "model.bin", TINY_EN)


def test_a_folder_without_the_files_says_which(tmp_path: Path) -> None:
    (tmp_path / "config.json").write_text("{}")
    with pytest.raises(ModelError, match=r"no model.bin, tokenizer.json"):
        open_folder(tmp_path)


def test_a_folder_with_an_empty_model_is_named(tmp_path: Path) -> None:
    for file in ("model.bin", "config.json", "tokenizer.json"):
        (tmp_path / file).write_bytes(b"")
    with pytest.raises(ModelError, match="empty"):
        open_folder(tmp_path)


def test_special_tokens_of_the_bundled_model() -> None:
    # openai/whisper, tokenizer.py: English-only vocabulary, 50257 start, 50362 no timestamps.
    special = bundled().special
    assert special.prompt == (50257, 50362)
    assert special.closing == (50256, 13, 30, 0)


# --- byte pairs ---


def oracles() -> list[tuple[BytePairs, Tokenizer]]:
    """Ours and the library's, of the bundled weights and of those of many languages."""
    there = [spec for name in PARTS_OF_BASE if (spec := find_spec(name)) is not None]
    folders = [
        Path(place, "data") for spec in there for place in spec.submodule_search_locations or ()
    ]
    files = [f for folder in (bundled().path, *folders) for f in folder.glob("tokenizer.json")]
    return [(BytePairs.read(file), Tokenizer.from_file(str(file))) for file in files]


def test_tokens_are_those_of_the_library() -> None:
    """Every word that is listened for, as it is written in a sentence, and texts of all kinds of characters."""
    words = sorted(load_language().words())
    of = random.Random(0)
    others = (
        "don't",
        " 's",
        "we'll",
        "1/2",
        "½",
        "ß",
        "Öl",
        "日本",
        "\u0301",
        "_",
        "—",
        "  ",
        "\n",
    )
    kinds = [*words[::9], *others]
    texts = [form for word in words for form in (word, f" {word}", f" {word.title()}.")]
    texts += ["".join(of.choices([*kinds, " ", ",", "3"], k=6)) for _ in range(500)]
    texts += ["".join(chr(of.randrange(1, 0xD800)) for _ in range(8)) for _ in range(300)]
    for ours, theirs in oracles():
        for text, known in zip(
            texts, theirs.encode_batch_fast(texts, add_special_tokens=False), strict=True
        ):
            assert ours.encode(text) == tuple(known.ids), text
        for _ in range(300):
            tokens = of.choices(range(50_363), k=6)  # behind them stand times
            assert ours.decode(tokens) == theirs.decode(tokens, skip_special_tokens=True)
        assert ours.id_of("<|nothing|>") is theirs.token_to_id("<|nothing|>") is None


@pytest.mark.parametrize(
    "text", ["", "[]", '{"model": {"type": "Unigram"}, "pre_tokenizer": null}', "{}"]
)
def test_another_tokenizer_is_refused_in_words(tmp_path: Path, text: str) -> None:
    (tmp_path / "tokenizer.json").write_text(text)
    with pytest.raises(ModelError, match=r"the tokenizer cannot be read.*install the model again"):
        BytePairs.read(tmp_path / "tokenizer.json")


# --- features ---


def sweep() -> np.ndarray:
    steps = np.arange(16000)
    phase = 2 * np.pi * (200 * steps / 16000 + 1500 * (steps / 16000) ** 2)
    return (0.3 * np.sin(phase)).astype(np.float32)


# (band, frame, value) of ``sweep()`` by transformers 5's WhisperFeatureExtractor (numpy path,
# feature_size=80, no padding), printed once with four digits.
PUBLISHED = [
    (0, 0, 1.0549),
    (10, 20, -0.6524),
    (20, 40, -0.6640),
    (40, 60, -0.3034),
    (60, 80, -0.6640),
    (79, 99, -0.4851),
    (33, 50, -0.3540),
]


def test_features_agree_with_the_published_extractor() -> None:
    mel_filters.cache_clear()  # made here, whatever was heard before
    features = log_mel(sweep())
    assert features.shape == (80, 100)
    for band, frame, value in PUBLISHED:
        assert features[band, frame] == pytest.approx(value, abs=1e-4)


def test_mel_filters_sum_as_slaney_normalised_triangles_do() -> None:
    filters = mel_filters(80)
    assert filters.shape == (80, 201)
    # area normalisation: the sum over bins times the bin width of 40 Hz is 1 where bins are dense
    assert filters[60:].sum(axis=1) * 40.0 == pytest.approx(np.ones(20), abs=0.05)


@pytest.mark.parametrize("samples", [0, 1, 100, 200, 201, 400, 16000])
def test_any_length_gives_finite_features(samples: int) -> None:
    features = log_mel(np.zeros(samples, np.float32))
    assert features.shape[0] == 80
    assert features.shape[1] >= 1
    assert np.isfinite(features).all()


@given(st.integers(min_value=1, max_value=3200), st.sampled_from([0, 30]))
def test_padding_keeps_the_sound_and_stays_in_30_seconds(frames: int, lead: int) -> None:
    padded = pad_features(np.ones((2, frames), np.float32), value=-0.6, lead=lead)
    kept = min(frames, 3000 - lead)
    assert padded.shape[1] == min(3000, -(-(lead + kept + 100) // 50) * 50)
    assert padded.shape[1] % 2 == 0
    assert (padded[:, lead : lead + kept] == 1).all()
    assert (padded[:, :lead] == np.float32(-0.6)).all()
    assert (padded[:, lead + kept :] == np.float32(-0.6)).all()


# --- decoder ---


def test_gelu_is_the_exact_one() -> None:
    # scipy.special.erf is the reference for x * Phi(x).
    from scipy.special import erf

    x = np.linspace(-6, 6, 1001).astype(np.float32)
    exact = 0.5 * x * (1 + erf(x.astype(np.float64) / np.sqrt(2)))
    assert gelu(x) == pytest.approx(exact, abs=2e-6)


@pytest.mark.parametrize("adapt", [False, True])
@pytest.mark.uncounted
def test_decoder_gives_ctranslate2s_own_logits(adapt: bool) -> None:
    """Forward scoring of given tokens, in float32, against CTranslate2's own decoder."""
    import ctranslate2

    folder = open_folder(None, adapt=adapt)
    model = ctranslate2.models.Whisper(
        str(folder.path),
        compute_type="float32",
        intra_threads=2,
        inter_threads=1,
        files=folder.files,
    )
    samples, _ = sf.read(CLIPS / "small_latte.flac", dtype="float32")
    features = pad_features(log_mel(samples))
    view = ctranslate2.StorageView.from_array(features[None])
    encoded = np.array(model.encode(view, to_cpu=True))
    result = model.generate(
        ctranslate2.StorageView.from_array(encoded),
        [list(folder.special.prompt)],
        beam_size=1,
        max_length=12,
        return_logits_vocab=True,
        suppress_tokens=[],
        suppress_blank=False,
    )[0]
    theirs = np.array([np.array(row) for row in result.logits[0]])
    vocabulary = np.arange(theirs.shape[1])
    decoder = Decoder(folder.weights, vocabulary)
    sound = decoder.listen(encoded[0])
    fed = np.array([*folder.special.prompt, *result.sequences_ids[0]])
    at_once, _ = decoder.prefill(sound, fed, every=True)
    last = len(folder.special.prompt) - 1
    assert len(theirs) >= 6
    assert np.abs(at_once[last : last + len(theirs)] - theirs).max() < 1e-3
    assert np.abs(decoder.prefill(sound, fed)[0] - at_once[-1:]).max() < 1e-3
    # one token at a time, two rows at once, from a shared beginning: the same again
    _, memory = decoder.prefill(sound, fed[:2], capacity=2)
    for index, token in enumerate(fed[2:], start=2):
        parents = np.zeros(2, np.intp) if index == 2 else np.array([1, 0])
        logits = decoder.step(sound, memory, parents, np.array([token, token]))
        assert np.abs(logits - at_once[index]).max() < 1e-3


# --- written forms and token trees ---


@pytest.mark.parametrize(
    ("run", "said"),
    [
        ("7", {"seven"}),
        ("0", {"zero", "oh", "nought"}),
        ("12", {"twelve", "one two"}),
        ("35", {"thirty five", "three five"}),
        ("05", {"zero five", "oh five", "nought five"}),
        ("075", {"oh seven five", "zero seventy five"}),
        ("105", {"one hundred and five", "one hundred five", "a hundred and five", "one oh five"}),
        ("120", {"one hundred and twenty", "one twenty", "one two zero"}),
        ("300", {"three hundred"}),
    ],
)
def test_readings_of_a_run_of_digits(run: str, said: set[str]) -> None:
    found = {" ".join(words) for words in written.readings(run)}
    assert said <= found
    assert found == said or len(run) > 1
    assert not any(words.startswith(("hundred", "and")) for words in found)


def test_no_written_form_is_empty_and_every_phrase_is_plain_words() -> None:
    for words, forms in written.PHRASES.items():
        assert forms
        for form in forms:
            assert form.strip()
        assert all(word == word.lower() for word in words)


def graph_of(*phrases: str) -> tuple[TokenGraph, dict[int, int]]:
    language = PhraseLanguage(phrases)
    tokens = sorted(vocabulary(language.words(), bundled().encode))
    column = {token: index for index, token in enumerate(tokens)}
    return TokenGraph(language.word_graph(), bundled().encode, column), column


def follow(graph: TokenGraph, text: str) -> set[tuple[str, ...]]:
    """Every word sequence that the token trees give for a written text (all of it, in a final)."""
    places: list[tuple[Node, tuple[str, ...]]] = [(graph.root, ())]
    for token in bundled().encode(text):
        following: list[tuple[Node, tuple[str, ...]]] = []
        for node, words in places:
            if token not in node.tokens:
                continue
            kid = node.kid(node.tokens.index(token), graph.column)
            following.append((kid, words))
            following += [
                (graph.at(out.state, out.joining), words + out.words) for out in kid.exits
            ]
        places = following
    return {words for node, words in places if node.final}


@pytest.mark.parametrize(
    ("spoken", "text"),
    [
        ("rear tread four thirty seconds", " Rear tread 4/32"),
        ("rear tread four thirty seconds", " rear tread four thirty seconds"),
        ("rear tread four thirty seconds", " Rear tread, 4 32nds"),
        ("battery twelve point six volts", " Battery 12.6 V"),
        ("battery twelve point six volts", " battery 12.6V"),
        ("front pads three millimetres", " Front pads 3mm"),
        ("front pads three millimetres", " Front pads three millimeters"),
        ("front tyre thirty five p s i", " Front tire 35 psi"),
        ("front tyre thirty five p s i", " Front tire 35 PSI"),
        ("a light roast twelve ounce coffee", " A light-roast 12-ounce coffee"),
        ("cell three twelve sixty five", " Cell 3, 1265"),
        ("fork oil four hundred and eighty", " Fork oil 480"),
        ("i'd like tea", " I'd like tea"),
    ],
)
def test_words_are_carried_on_the_arcs(spoken: str, text: str) -> None:
    graph, _ = graph_of(spoken)
    assert follow(graph, text) == {tuple(spoken.split())}


def test_the_sixteenth_is_never_sixteen() -> None:
    graph, _ = graph_of("tread three sixteenths", "tread three sixteen")
    assert follow(graph, " Tread 3/16") == {("tread", "three", "sixteenths")}


def test_a_tree_is_built_once() -> None:
    graph, _ = graph_of("front brake", "rear brake")
    assert graph.root is graph.at(0, START)
    assert graph.at(0, SPACED) is graph.at(0, SPACED)


def test_behind_a_comma_stands_a_word_not_another_comma() -> None:
    graph, _ = graph_of("front brake worn")
    state = graph.root.kid(0, graph.column).exits[0].state
    spaced, paused = graph.at(state, SPACED), graph.at(state, PAUSED)
    assert set(spaced.tokens) - set(paused.tokens) == {
        token for mark in ",-" for token in bundled().encode(mark)
    }
    assert follow(graph, " Front, brake worn") == {("front", "brake", "worn")}
    assert follow(graph, " Front,, brake worn") == set()


def test_a_graph_that_has_grown_too_large_starts_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fieldlog.listeners.whisper.tokens._MOST_TREES", 2)
    graph, _ = graph_of("front brake worn")
    assert follow(graph, " Front brake worn")
    before = graph.root
    graph.tidy(graph._graph)
    assert graph.root is not before
    assert follow(graph, " Front brake worn") == {("front", "brake", "worn")}


def test_trees_go_along_a_word_graph_that_was_begun_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """The states of the two have other numbers: a tree of one would lead into any place of the other."""
    graph, _ = graph_of("front brake worn", "rear brake dry")
    assert follow(graph, " Front brake worn") == {("front", "brake", "worn")}
    first = graph.root
    other = PhraseLanguage(["rear brake dry", "front brake worn"]).word_graph()
    graph.tidy(other)
    assert graph.root is not first
    assert follow(graph, " Rear brake dry") == {("rear", "brake", "dry")}
    assert follow(graph, " Front brake worn") == {("front", "brake", "worn")}
    kept = graph.root
    graph.tidy(other)
    assert graph.root is kept


def test_words_that_say_nothing_are_only_heard_so_where_a_breath_may_go_on() -> None:
    """ "Oh" is a digit elsewhere: "oh seven" must never be heard as seven."""
    graph, _ = graph_of("seven", "oh seven")
    assert follow(graph, " oh seven") == {("oh", "seven")}
    words = PhraseLanguage(["chain dry"])
    column = {t: n for n, t in enumerate(sorted(vocabulary(words.words(), bundled().encode)))}
    breath = words.word_graph()
    assert follow(TokenGraph(breath, bundled().encode, column), " okay chain um dry") == set()
    breath.further = breath.start
    found = follow(TokenGraph(breath, bundled().encode, column), " okay chain um dry")
    assert found == {("chain", "dry")}


# --- weights with additions, on their way to CTranslate2 ---


def test_what_is_laid_down_for_loading_is_whole_and_gone_after(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    files = {"model.bin": bytes(range(256)) * 40, "config.json": b"{}"}
    laid = _laid_down(files)
    assert laid is not None
    assert {each.name: each.read_bytes() for each in Path(laid.name).iterdir()} == files
    laid.cleanup()
    assert not list(tmp_path.iterdir())
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "none"))
    assert _laid_down(files) is None, "it is given in memory then"


def test_what_the_disk_takes_in_part_is_not_loaded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(path: Path, content: bytes) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    monkeypatch.setattr(Path, "write_bytes", full)
    assert _laid_down({"model.bin": b"x"}) is None
    assert not list(tmp_path.iterdir())
