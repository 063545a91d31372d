"""What the decoder keeps of what it was fed: many beginnings at once are heard as each of them alone."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from fieldlog.listeners.whisper.decoder import Decoder
from fieldlog.listeners.whisper.memory import Memory
from fieldlog.listeners.whisper.weights import ModelWeights

LAYERS, HEADS, WIDTH, TOKENS, FRAMES = 2, 2, 8, 11, 9
FOLLOW = ((0, 1), (1, 0), (1, 1))


def small_decoder() -> Decoder:
    """A decoder of random weights, the layout that of a model file."""
    rng = np.random.default_rng(3)

    def floats(*shape: int) -> NDArray[np.float32]:
        return rng.standard_normal(shape).astype(np.float32) * np.float32(0.6)

    found: dict[str, NDArray[np.generic]] = {
        "decoder/num_heads": np.array([HEADS], np.int16),
        "decoder/position_encodings/encodings": floats(40, WIDTH),
        "decoder/embeddings/weight": floats(TOKENS, WIDTH),
    }
    norms = ["decoder"]
    for index in range(LAYERS):
        block = f"decoder/layer_{index}"
        norms += [f"{block}/{part}" for part in ("self_attention", "attention", "ffn")]
        for name, out, into in (
            ("self_attention/linear_0", 3 * WIDTH, WIDTH),
            ("self_attention/linear_1", WIDTH, WIDTH),
            ("attention/linear_0", WIDTH, WIDTH),
            ("attention/linear_1", 2 * WIDTH, WIDTH),
            ("attention/linear_2", WIDTH, WIDTH),
            ("ffn/linear_0", 4 * WIDTH, WIDTH),
            ("ffn/linear_1", WIDTH, 4 * WIDTH),
        ):
            found[f"{block}/{name}/weight"] = floats(out, into)
            found[f"{block}/{name}/bias"] = floats(out)
    for norm in norms:
        found[f"{norm}/layer_norm/gamma"] = 1 + floats(WIDTH)
        found[f"{norm}/layer_norm/beta"] = floats(WIDTH)
    weights = ModelWeights("WhisperSpec", found)
    return Decoder(weights, np.arange(TOKENS), follow=FOLLOW)


DECODER = small_decoder()
SOUND = DECODER.listen(np.random.default_rng(4).standard_normal((FRAMES, WIDTH)).astype(np.float32))
TOKEN = st.integers(0, TOKENS - 1)
PASSES = st.lists(
    st.lists(st.tuples(st.integers(0, 99), TOKEN), min_size=1, max_size=4), min_size=1, max_size=6
)


@settings(max_examples=40)
@given(opening=st.lists(TOKEN, min_size=1, max_size=4), passes=PASSES, capacity=st.integers(4, 9))
def test_beginnings_fed_together_are_heard_as_each_alone(
    opening: list[int], passes: list[list[tuple[int, int]]], capacity: int
) -> None:
    logits, memory = DECODER.prefill(SOUND, np.array(opening), capacity)
    paths: list[tuple[int, ...]] = [()]
    for each in passes:
        new = {(parent % len(paths), token): None for parent, token in each}
        parents, columns = (np.array(part, np.intp) for part in zip(*new, strict=True))
        logits = DECODER.step(SOUND, memory, parents, columns)
        paths = [(*paths[parent], token) for parent, token in new]
    for row, path in zip(logits, paths, strict=True):
        whole = np.array([*opening, *path])
        alone, fed = DECODER.prefill(SOUND, whole, every=True)
        assert np.abs(row - alone[-1]).max() < 1e-4
        assert np.abs(DECODER.prefill(SOUND, whole)[0] - alone[-1:]).max() < 1e-4
        looked = memory.looked_along(path)
        assert np.abs(looked - fed.looked[len(opening) - 1 : len(whole)]).max() < 1e-5
        assert np.abs(looked.sum(axis=1) - 1).max() < 1e-5, "a mean of shares"


def test_what_was_never_fed_was_never_looked_for() -> None:
    memory = Memory.of(LAYERS, HEADS, WIDTH, FRAMES, 4)
    memory.open([3, 4])
    memory.take([1, 1], [5, 6])
    assert memory.looked_along((6,)).shape == (2, FRAMES)
    with pytest.raises(KeyError):
        memory.looked_along((6, 5))
