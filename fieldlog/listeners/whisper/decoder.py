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
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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

    @classmethod
    def of(cls, linear: _Linear) -> _Blocked:
        """The same map."""
        size, width = linear.weight.shape
        count = -(-width // _BLOCK)
        blocks = np.zeros((count, size, _BLOCK), np.float32)
        for index in range(count):
            part = linear.weight[:, index * _BLOCK : (index + 1) * _BLOCK]
            blocks[index, :, : part.shape[1]] = part
        return cls(blocks, linear.bias)

    def __call__(self, x: Array) -> Array:
        product = np.matmul(x, self.blocks).transpose(1, 0, 2).reshape(len(x), -1)
        whole: Array = product[:, : len(self.bias)] + self.bias
        return whole


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


@dataclass(frozen=True, slots=True)
class Opening:
    """Self-attention keys and values of what was fed first: one copy for every row."""

    keys: tuple[Array, ...]
    """Per layer [heads, 64, positions]."""
    values: tuple[Array, ...]
    """Per layer [heads, positions, 64]."""
    length: int


@dataclass(slots=True)
class Memory:
    """Self-attention keys and values of the rows decoded so far, behind one shared opening.

    ``keys`` and ``values``: [layers, rows, heads, capacity, 64]; ``length`` positions are filled.
    """

    opening: Opening
    keys: Array
    values: Array
    length: int


class Decoder:
    """The decoder's weights, for one set of tokens that may be asked for."""

    def __init__(
        self, weights: ModelWeights, vocabulary: Ints, layers: tuple[_Layer, ...] | None = None
    ) -> None:
        """Keep float32 copies of the layers and of the rows ``vocabulary`` of the embedding.

        ``layers`` are those of a decoder of the same weights, which need not be copied again.
        """
        count = sum(1 for name in weights.variables if _is_layer_marker(name))
        self.heads = weights.number("decoder/num_heads")
        self.positions = weights.floats("decoder/position_encodings/encodings")
        self.width = self.positions.shape[1]
        scale = np.float32((self.width // self.heads) ** -0.5)
        self.layers = layers or tuple(
            _read_layer(weights, index, self.width, scale) for index in range(count)
        )
        self.vocabulary = np.asarray(vocabulary, dtype=np.intp)
        self._weights = weights
        rows = weights.floats(_EMBEDDING, self.vocabulary)
        self.projection = _Blocked.of(
            _folded(weights, "decoder/layer_norm", np.ascontiguousarray(rows.T), None)
        )
        self.column = {int(token): index for index, token in enumerate(self.vocabulary)}

    def listen(self, encoded: Array) -> Sound:
        """Cross keys and values of one encoded clip ``[frames, width]``."""
        frames = encoded.shape[0]
        keys, values = [], []
        for layer in self.layers:
            both = layer.cross_kv(encoded).reshape(frames, 2, self.heads, -1)
            keys.append(np.ascontiguousarray(both[:, 0].transpose(1, 2, 0)))
            values.append(np.ascontiguousarray(both[:, 1].transpose(1, 0, 2)))
        return Sound(tuple(keys), tuple(values))

    def prefill(
        self, sound: Sound, columns: Ints, capacity: int = 32, *, every: bool = False
    ) -> tuple[Array, Memory]:
        """Feed the opening at once; returns the logits after its last token ``[1, vocabulary]``.

        With ``every`` they are those after each of its tokens ``[tokens, vocabulary]``.

        ``columns`` are places in ``vocabulary``; the memory has one row, with room for ``capacity``
        tokens before it must grow.
        """
        x, opening = self._fed(sound, columns, every=every)
        shape = (len(self.layers), 1, self.heads, capacity, self.width // self.heads)
        memory = Memory(opening, np.empty(shape, np.float32), np.empty(shape, np.float32), 0)
        return self.projection(_normed(x)), memory

    def _fed(
        self, sound: Sound, columns: Ints, *, every: bool, looked: list[Array] | None = None
    ) -> tuple[Array, Opening]:
        """What the last layer makes of ``columns`` (of the last of them, or of ``every`` one).

        ``looked`` takes where in the sound each layer looked ``[heads, tokens, frames]``.
        """
        count = len(columns)
        kept_keys, kept_values = [], []
        hidden = np.triu(np.full((count, count), -np.inf, np.float32), 1)
        x = self._embedded(columns) + self.positions[:count]
        for index, layer in enumerate(self.layers):
            qkv = layer.self_qkv(_normed(x)).reshape(count, 3, self.heads, -1)
            if index == len(self.layers) - 1 and not every:
                x, hidden = x[-1:], hidden[-1:]
            query = qkv[-len(x) :, 0].transpose(1, 0, 2)
            key = np.ascontiguousarray(qkv[:, 1].transpose(1, 2, 0))
            value = np.ascontiguousarray(qkv[:, 2].transpose(1, 0, 2))
            kept_keys.append(key)
            kept_values.append(value)
            weights = _softmax(query @ key + hidden)
            mixed = (weights @ value).transpose(1, 0, 2).reshape(len(x), self.width)
            x = x + layer.self_out(mixed)
            x = x + self._cross(layer, index, sound, x, looked)
            x = x + layer.feed_out(gelu(layer.feed_in(_normed(x))))
        return x, Opening(tuple(kept_keys), tuple(kept_values), count)

    def step(self, sound: Sound, memory: Memory, parents: Ints, columns: Ints) -> Array:
        """Feed one token to each of several rows; returns logits ``[rows, vocabulary]``.

        ``parents[i]`` is the row of ``memory`` that row i continues, ``columns[i]`` the place of
        its token in ``vocabulary``. ``memory`` then holds the new rows.
        """
        rows = len(parents)
        at = memory.length
        if at >= memory.keys.shape[3]:
            memory.keys, memory.values = _lengthened(memory.keys), _lengthened(memory.values)
        if rows != memory.keys.shape[1] or not np.array_equal(parents, np.arange(rows)):
            keys = np.empty((memory.keys.shape[0], rows, *memory.keys.shape[2:]), np.float32)
            values = np.empty_like(keys)
            keys[:, :, :, :at] = memory.keys[:, parents, :, :at]
            values[:, :, :, :at] = memory.values[:, parents, :, :at]
            memory.keys, memory.values = keys, values
        memory.length = at + 1
        x = self._embedded(columns) + self.positions[memory.opening.length + at]
        for index, layer in enumerate(self.layers):
            qkv = layer.self_qkv(_normed(x)).reshape(rows, 3, self.heads, -1)
            memory.keys[index, :, :, at] = qkv[:, 1]
            memory.values[index, :, :, at] = qkv[:, 2]
            x = x + layer.self_out(self._own(memory, index, qkv[:, 0]))
            x = x + self._cross(layer, index, sound, x)
            x = x + layer.feed_out(gelu(layer.feed_in(_normed(x))))
        return self.projection(_normed(x))

    def _own(self, memory: Memory, index: int, query: Array) -> Array:
        """Self-attention of ``query`` [rows, heads, 64] over the opening and each row's own past."""
        rows, first = len(query), memory.opening.length
        before = query.transpose(1, 0, 2) @ memory.opening.keys[index]
        own = np.matmul(memory.keys[index, :, :, : memory.length], query[..., None])[..., 0]
        weights = _softmax(np.concatenate([before.transpose(1, 0, 2), own], axis=-1))
        mixed = np.matmul(
            weights[:, :, None, first:], memory.values[index, :, :, : memory.length]
        ).reshape(rows, self.heads, -1)
        shared = weights[:, :, :first].transpose(1, 0, 2) @ memory.opening.values[index]
        both: Array = (mixed + shared.transpose(1, 0, 2)).reshape(rows, self.width)
        return both

    def _embedded(self, columns: Ints) -> Array:
        return self._weights.floats(_EMBEDDING, self.vocabulary[columns])

    def attention(self, sound: Sound, columns: Ints, heads: Sequence[tuple[int, int]]) -> Array:
        """Where ``heads`` (layer, head) looked while each of ``columns`` was fed ``[tokens, frames]``."""
        looked: list[Array] = []
        self._fed(sound, columns, every=True, looked=looked)
        return np.asarray(np.mean([looked[layer][head] for layer, head in heads], axis=0))

    def _cross(
        self,
        layer: _Layer,
        index: int,
        sound: Sound,
        x: Array,
        looked: list[Array] | None = None,
    ) -> Array:
        rows = x.shape[0]
        query = layer.cross_q(_normed(x)).reshape(rows, self.heads, -1).transpose(1, 0, 2)
        weights = _softmax(query @ sound.keys[index])
        if looked is not None:
            looked.append(weights)
        mixed = (weights @ sound.values[index]).transpose(1, 0, 2).reshape(rows, self.width)
        return layer.cross_out(mixed)


def gelu(x: Array) -> Array:
    """x * Phi(x), with erf after Abramowitz and Stegun 7.1.26 (absolute error below 1.5e-7)."""
    scaled = np.abs(x) * np.float32(0.7071067811865476)
    t: Array = 1.0 / (1.0 + np.float32(0.3275911) * scaled)
    series: Array = np.full_like(t, 1.061405429)
    for factor in (-1.453152027, 1.421413741, -0.284496736, 0.254829592):
        series = series * t + np.float32(factor)
    erf = 1.0 - series * t * np.exp(-scaled * scaled)
    return np.asarray(0.5 * (x + np.abs(x) * erf), dtype=np.float32)


def _softmax(scores: Array) -> Array:
    raised = np.exp(scores - scores.max(axis=-1, keepdims=True))
    return np.asarray(raised / raised.sum(axis=-1, keepdims=True))


def _lengthened(cache: Array) -> Array:
    longer = np.empty((*cache.shape[:3], cache.shape[3] * 2, cache.shape[4]), np.float32)
    longer[:, :, :, : cache.shape[3]] = cache
    return longer


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
