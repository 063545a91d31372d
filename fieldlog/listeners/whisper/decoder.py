"""Whisper's text decoder in numpy float32, many continuations of one sound at a time.

x = E[token] + P[position]; each layer: self-attention, cross-attention to the encoded sound,
feed-forward with the exact (erf) GELU, each behind a layer norm (eps 1e-5) and added to x; a final
norm; logits = h E^T, the same E, no bias (Radford et al. 2022; Vaswani et al. 2017; names of the
variables as CTranslate2 writes them). The factor 1/sqrt(64) of the attention is folded into Q.

Only the rows of E that can be asked for are kept (``vocabulary``), as one contiguous float32 output
projection; the few rows needed as input are taken from the file's own float16 when they are fed.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldlog.listeners.whisper.memory import Memory
from fieldlog.listeners.whisper.weights import ModelWeights

Array = NDArray[np.float32]
Ints = NDArray[np.intp]

_EPS = np.float32(1e-5)
_EMBEDDING = "decoder/embeddings/weight"


_BLOCK = 32
"""Columns of a block: a product of few rows with one is small enough that BLAS does not copy the weights
first. Of 8 rows all maps of a step took 2.6 ms, 6.0 as one product each, 6.7 row by row (best of 30)."""


@dataclass(frozen=True, slots=True)
class _Linear:
    weight: Array
    """[in, out], transposed once at load."""
    bias: Array

    def __call__(self, x: Array) -> Array:
        product: Array = x @ self.weight
        product += self.bias
        return product


@dataclass(frozen=True, slots=True)
class _Blocked:
    """A linear map for few rows at a time."""

    blocks: Array
    """[blocks, in, columns of a block]; the last one filled up with zeros."""
    bias: Array
    """As wide as the blocks together."""
    width: int

    @classmethod
    def of(cls, linear: _Linear) -> _Blocked:
        """The same map."""
        size, width = linear.weight.shape
        count = -(-width // _BLOCK)
        blocks = np.zeros((count, size, _BLOCK), np.float32)
        for index in range(count):
            part = linear.weight[:, index * _BLOCK : (index + 1) * _BLOCK]
            blocks[index, :, : part.shape[1]] = part
        bias = np.zeros(count * _BLOCK, np.float32)
        bias[:width] = linear.bias
        return cls(blocks, bias, width)

    def __call__(self, x: Array) -> Array:
        product: Array = np.matmul(x, self.blocks).transpose(1, 0, 2).reshape(len(x), -1)
        product += self.bias
        return product[:, : self.width]


@dataclass(frozen=True, slots=True)
class _Layer:
    """The norms' scales and shifts are folded into the linear maps behind them."""

    self_qkv: _Blocked
    self_out: _Blocked
    cross_q: _Blocked
    cross_kv: _Linear
    """For all of a sound at once."""
    cross_out: _Blocked
    feed_in: _Blocked
    feed_out: _Blocked


@dataclass(frozen=True, slots=True)
class Sound:
    """Cross-attention keys and values of one encoded clip, shared by every continuation."""

    keys: tuple[Array, ...]
    """Per layer [heads, 64, frames]."""
    values: tuple[Array, ...]
    """Per layer [heads, frames, 64]."""

    @property
    def seconds(self) -> float:
        """Length, padding included: the encoder gives a frame for each 20 ms."""
        return int(self.keys[0].shape[2]) * 0.02


class Decoder:
    """The decoder's weights, for one set of tokens that may be asked for."""

    def __init__(
        self,
        weights: ModelWeights,
        vocabulary: Ints,
        layers: tuple[_Layer, ...] | None = None,
        follow: Sequence[tuple[int, int]] = (),
    ) -> None:
        """Keep float32 copies of the layers and of the rows ``vocabulary`` of the embedding.

        ``layers`` are those of a decoder of the same weights, which need not be copied again. ``follow``: the
        (layer, head) of the cross-attention that follow the sound.
        """
        count = sum(1 for name in weights.variables if _is_layer_marker(name))
        self.heads = weights.number("decoder/num_heads")
        self.positions = weights.floats("decoder/position_encodings/encodings")
        self.width = self.positions.shape[1]
        scale = np.float32((self.width // self.heads) ** -0.5)
        self.layers = layers or tuple(
            _read_layer(weights, index, self.width, scale) for index in range(count)
        )
        self._two = ThreadPoolExecutor(2, "listens")
        self._follow = [[head for at, head in follow if at == layer] for layer in range(count)]
        self._following = np.float32(len(follow))
        self.vocabulary = np.asarray(vocabulary, dtype=np.intp)
        self._weights = weights
        rows = weights.floats(_EMBEDDING, self.vocabulary)
        self.projection = _Blocked.of(
            _folded(weights, "decoder/layer_norm", np.ascontiguousarray(rows.T), None)
        )
        self.column = {int(token): index for index, token in enumerate(self.vocabulary)}

    def listen(self, encoded: Array) -> Sound:
        """Cross keys and values of one encoded clip ``[frames, width]``."""

        def heard(layer: _Layer) -> tuple[Array, Array]:
            both = layer.cross_kv(encoded).reshape(len(encoded), 2, self.heads, -1)
            keys = np.ascontiguousarray(both[:, 0].transpose(1, 2, 0))
            return keys, np.ascontiguousarray(both[:, 1].transpose(1, 0, 2))

        keys, values = zip(*self._two.map(heard, self.layers), strict=True)
        return Sound(keys, values)

    def prefill(
        self, sound: Sound, columns: Ints, capacity: int = 128, *, every: bool = False
    ) -> tuple[Array, Memory]:
        """Feed the opening at once; returns the logits after its last token ``[1, vocabulary]``.

        With ``every`` they are those after each of its tokens ``[tokens, vocabulary]``.

        ``columns`` are places in ``vocabulary``; the memory has room for ``capacity`` tokens before it must grow.
        """
        frames = sound.keys[0].shape[2]
        memory = Memory.of(len(self.layers), self.heads, self.width, frames, capacity)
        x = self._fed(sound, memory, memory.open(columns.tolist()), every=every)
        return self.projection(_normed(x)), memory

    def step(self, sound: Sound, memory: Memory, parents: Ints, columns: Ints) -> Array:
        """Feed one token to each of several rows; returns logits ``[rows, vocabulary]``.

        ``parents[i]`` is the row of what was fed last that row i continues (0: the opening), ``columns[i]`` the
        place of its token in ``vocabulary``.
        """
        taken = memory.take((parents + memory.newest).tolist(), columns.tolist())
        return self.projection(_normed(self._fed(sound, memory, taken)))

    def _fed(self, sound: Sound, memory: Memory, taken: slice, *, every: bool = True) -> Array:
        """What the last layer makes of the tokens in the places ``taken`` (of ``every`` one, or of the last)."""
        rows = taken.stop - taken.start
        hidden = memory.hidden[taken, : taken.stop]
        columns = np.array(memory.columns[taken], np.intp)
        x = self._embedded(columns) + self.positions[memory.depths[taken]]
        for index, layer in enumerate(self.layers):
            qkv = layer.self_qkv(_normed(x)).reshape(rows, 3, self.heads, -1).transpose(1, 2, 0, 3)
            memory.keys[index, :, :, taken] = qkv[1].transpose(0, 2, 1)
            memory.values[index, :, taken] = qkv[2]
            if index == len(self.layers) - 1 and not every:
                x, hidden, qkv = x[-1:], hidden[-1:], qkv[:, :, -1:]
            weights, total = _raised(qkv[0] @ memory.keys[index, :, :, : taken.stop] + hidden)
            mixed = (weights @ memory.values[index, :, : taken.stop]) / total
            x = x + layer.self_out(_side_by_side(mixed))
            x = x + self._cross(layer, index, sound, x, memory.looked[: taken.stop][-len(x) :])
            x = x + layer.feed_out(gelu(layer.feed_in(_normed(x))))
        return x

    def _cross(self, layer: _Layer, index: int, sound: Sound, x: Array, looked: Array) -> Array:
        """Attention to the sound; adds to ``looked`` [rows, frames] where the heads that follow it looked."""
        query = layer.cross_q(_normed(x)).reshape(len(x), self.heads, -1).transpose(1, 0, 2)
        weights, total = _raised(query @ sound.keys[index])
        for head in self._follow[index]:
            looked += weights[head] / (total[head] * self._following)
        mixed = (weights @ sound.values[index]) / total
        return layer.cross_out(_side_by_side(mixed))

    def _embedded(self, columns: Ints) -> Array:
        return self._weights.floats(_EMBEDDING, self.vocabulary[columns])


def gelu(x: Array) -> Array:
    """x * Phi(x), with erf after Abramowitz and Stegun 7.1.26 (absolute error below 1.5e-7)."""
    size = np.abs(x)
    scaled = size * np.float32(0.7071067811865476)
    t: Array = scaled * np.float32(0.3275911)
    t += 1.0
    np.reciprocal(t, out=t)
    series: Array = t * np.float32(1.061405429)
    for factor in (-1.453152027, 1.421413741, -0.284496736):
        series += np.float32(factor)
        series *= t
    series += np.float32(0.254829592)
    series *= t
    np.multiply(scaled, scaled, out=scaled)
    np.exp(np.negative(scaled, out=scaled), out=scaled)
    series *= scaled  # 1 - erf
    np.subtract(np.float32(1.0), series, out=series)
    series *= size
    series += x
    series *= np.float32(0.5)
    return series


def _raised(scores: Array) -> tuple[Array, Array]:
    """The softmax of the last axis as it is before its sum is made 1, in place, and that sum."""
    scores -= scores.max(axis=-1, keepdims=True)
    np.exp(scores, out=scores)
    return scores, np.add.reduce(scores, axis=-1, keepdims=True)


def _side_by_side(mixed: Array) -> Array:
    """[heads, rows, 64] -> [rows, width]."""
    whole: Array = mixed.transpose(1, 0, 2).reshape(mixed.shape[1], -1)
    return whole


def _is_layer_marker(name: str) -> bool:
    return name.startswith("decoder/layer_") and name.endswith("/self_attention/linear_0/bias")


def _normed(x: Array) -> Array:
    """Layer norm without scale and shift."""
    share = np.float32(1.0 / x.shape[-1])
    centred = x - np.add.reduce(x, axis=-1, keepdims=True) * share
    variance = np.einsum("ij,ij->i", centred, centred)[:, None] * share
    centred /= np.sqrt(variance + _EPS)
    return np.asarray(centred)


def _folded(weights: ModelWeights, norm: str, matrix: Array, bias: Array | None) -> _Linear:
    """The linear map ``matrix`` [in, out] with the scale and shift of the norm before it."""
    shift = weights.floats(f"{norm}/beta") @ matrix
    matrix *= weights.floats(f"{norm}/gamma")[:, None]
    return _Linear(matrix, shift if bias is None else shift + bias)


def _read_linear(weights: ModelWeights, block: str, norm: str = "") -> _Linear:
    matrix = np.ascontiguousarray(weights.floats(f"{block}/weight").T)
    bias = weights.floats(f"{block}/bias")
    return _folded(weights, norm, matrix, bias) if norm else _Linear(matrix, bias)


def _read_layer(weights: ModelWeights, index: int, width: int, scale: np.float32) -> _Layer:
    block = f"decoder/layer_{index}"
    own, cross, feed = (f"{block}/{part}" for part in ("self_attention", "attention", "ffn"))
    qkv = _read_linear(weights, f"{own}/linear_0", f"{own}/layer_norm")
    cross_q = _read_linear(weights, f"{cross}/linear_0", f"{cross}/layer_norm")
    for linear in (qkv, cross_q):
        linear.weight[:, :width] *= scale
        linear.bias[:width] *= scale
    return _Layer(
        self_qkv=_Blocked.of(qkv),
        self_out=_Blocked.of(_read_linear(weights, f"{own}/linear_1")),
        cross_q=_Blocked.of(cross_q),
        cross_kv=_read_linear(weights, f"{cross}/linear_1"),
        cross_out=_Blocked.of(_read_linear(weights, f"{cross}/linear_2")),
        feed_in=_Blocked.of(_read_linear(weights, f"{feed}/linear_0", f"{feed}/layer_norm")),
        feed_out=_Blocked.of(_read_linear(weights, f"{feed}/linear_1")),
    )
