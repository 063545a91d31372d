"""Whisper in PyTorch, its variables by the names they have in ``model.bin``, with additions to train.

The same mathematics as ``listeners/whisper/decoder.py`` and CTranslate2's encoder (Radford et al.
2022); ``tests/test_adapting.py`` holds the decoder to the one that listens. PyTorch is needed only
here (the extra ``adapting``).
"""

from __future__ import annotations

import importlib
import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldlog.errors import ModelError
from fieldlog.listeners.whisper.weights import ModelWeights

_EMBEDDING = "decoder/embeddings/weight"
_FULL = frozenset({"encoder/conv1/weight"})
"""Small enough to be shifted whole."""


def torch_library() -> Any:
    """PyTorch; raises ``ModelError`` with what brings it."""
    try:
        return importlib.import_module("torch")
    except ImportError as error:
        raise ModelError(
            "PyTorch is needed to train", where="torch", todo="pip install 'fieldlog[adapting]'"
        ) from error


class Ear:
    """The bundled weights and what is added to them."""

    def __init__(self, weights: ModelWeights, rank: int, seed: int = 0) -> None:
        """All additions are zero at first; ``rank`` is that of the added maps."""
        torch = self._torch = torch_library()
        generator = torch.Generator().manual_seed(seed)
        self.heads = weights.number("encoder/num_heads")
        self.base: dict[str, Any] = {}
        self.maps: dict[str, tuple[Any, Any]] = {}
        """(B [out, rank], A [rank, in]) by variable."""
        self.shifts: dict[str, Any] = {}
        for name, stored in weights.variables.items():
            if stored.ndim == 0 or name == "decoder/projection/weight":
                continue
            values = torch.from_numpy(np.array(stored, dtype=np.float32))
            self.base[name] = values
            if name == _EMBEDDING or name.endswith("encodings"):
                continue
            if values.ndim == 1 or name in _FULL:
                self.shifts[name] = torch.zeros_like(values).requires_grad_()
            else:
                outputs, inputs = values.shape[0], values[0].numel()
                down = torch.randn(rank, inputs, generator=generator) / math.sqrt(inputs)
                up = torch.zeros(outputs, rank)
                self.maps[name] = (up.requires_grad_(), down.requires_grad_())
        self.width = self.base[_EMBEDDING].shape[1]

    def to(self, device: str) -> None:
        """Move everything to a device of PyTorch; before an optimizer is made."""
        self.base = {name: values.to(device) for name, values in self.base.items()}
        self.maps = {
            name: (
                up.detach().to(device).requires_grad_(),
                down.detach().to(device).requires_grad_(),
            )
            for name, (up, down) in self.maps.items()
        }
        self.shifts = {
            name: shift.detach().to(device).requires_grad_() for name, shift in self.shifts.items()
        }

    def additions(self) -> dict[str, NDArray[np.float16]]:
        """What ``adapter.add`` takes."""
        found = {}
        for name, (up, down) in self.maps.items():
            found[f"{name}|B"] = up.detach().cpu().numpy().astype(np.float16)
            found[f"{name}|A"] = down.detach().cpu().numpy().astype(np.float16)
        for name, shift in self.shifts.items():
            found[f"{name}|shift"] = shift.detach().cpu().numpy().astype(np.float16)
        return found

    def go_on_from(self, additions: Mapping[str, NDArray[np.generic]]) -> None:
        """Take over what an earlier training came to; raises ``ModelError`` where it does not fit."""
        mine = {f"{name}|B": up for name, (up, _) in self.maps.items()}
        mine |= {f"{name}|A": down for name, (_, down) in self.maps.items()}
        mine |= {f"{name}|shift": shift for name, shift in self.shifts.items()}
        shapes = {name: tuple(values.shape) for name, values in mine.items()}
        if {name: values.shape for name, values in additions.items()} != shapes:
            raise ModelError(
                "these additions belong to another model or have another rank",
                where="additions to go on from",
                todo="start without them, or name the same --rank",
            )
        with self._torch.no_grad():
            for name, values in mine.items():
                values.copy_(self._torch.from_numpy(np.asarray(additions[name], np.float32)))

    def grow_from(self, additions: Mapping[str, NDArray[np.generic]], scale: float) -> None:
        """Begin at ``scale`` times what an earlier training of a smaller rank came to.

        The columns that it did not have begin as those of a new training: zero times something.
        """
        with self._torch.no_grad():
            for name, (up, down) in self.maps.items():
                rank = additions[f"{name}|B"].shape[1]
                if rank > up.shape[1]:
                    raise ModelError(
                        f"these additions have rank {rank}",
                        where="additions to begin from",
                        todo="name a larger --rank",
                    )
                for values, cut, key in (
                    (up, np.s_[:, :rank], "B"),
                    (down, np.s_[:rank], "A"),
                ):
                    stored = np.asarray(additions[f"{name}|{key}"], np.float32)
                    values[cut] = self._torch.from_numpy(stored * (scale if key == "B" else 1.0))
            for name, shift in self.shifts.items():
                stored = np.asarray(additions[f"{name}|shift"], np.float32)
                shift.copy_(self._torch.from_numpy(stored * np.float32(scale)))

    def encode(self, features: Any) -> Any:
        """``[takes, bands, frames]`` -> ``[takes, frames // 2, width]``."""
        gelu, convolve = self._torch.nn.functional.gelu, self._torch.nn.functional.conv1d
        x = gelu(convolve(features, *self._both("encoder/conv1"), padding=1))
        x = gelu(convolve(x, *self._both("encoder/conv2"), stride=2, padding=1)).transpose(1, 2)
        x = x + self.base["encoder/position_encodings/encodings"][: x.shape[1]]
        for block in self._layers("encoder"):
            x = x + self._self_attention(x, block, causal=False)
            x = x + self._feed_forward(x, block)
        return self._norm(x, "encoder/layer_norm")

    def decode(self, tokens: Any, encoded: Any) -> Any:
        """Tokens ``[takes, length]`` -> hidden states ``[takes, length, width]``."""
        positions = self.base["decoder/position_encodings/encodings"][: tokens.shape[1]]
        x = self.base[_EMBEDDING][tokens] + positions
        for block in self._layers("decoder"):
            x = x + self._self_attention(x, block, causal=True)
            query = self._linear(
                self._norm(x, f"{block}/attention/layer_norm"), f"{block}/attention/linear_0"
            )
            key, value = self._linear(encoded, f"{block}/attention/linear_1").split(self.width, -1)
            mixed = self._attend(query, key, value, causal=False)
            x = x + self._linear(mixed, f"{block}/attention/linear_2")
            x = x + self._feed_forward(x, block)
        return self._norm(x, "decoder/layer_norm")

    def logits(self, hidden: Any) -> Any:
        """Hidden states ``[n, width]`` -> ``[n, vocabulary]``."""
        return hidden @ self.base[_EMBEDDING].T

    def _layers(self, side: str) -> list[str]:
        marker = "/self_attention/linear_0/bias"
        return [
            name.removesuffix(marker)
            for name in self.base
            if name.startswith(f"{side}/layer_") and name.endswith(marker)
        ]

    def _weight(self, name: str) -> Any:
        if name in self.shifts:
            return self.base[name] + self.shifts[name]
        if name in self.maps:
            up, down = self.maps[name]
            return self.base[name] + (up @ down).view(self.base[name].shape)
        return self.base[name]

    def _both(self, name: str) -> tuple[Any, Any]:
        return self._weight(f"{name}/weight"), self._weight(f"{name}/bias")

    def _linear(self, x: Any, name: str) -> Any:
        return self._torch.nn.functional.linear(x, *self._both(name))

    def _norm(self, x: Any, name: str) -> Any:
        scale, shift = self._weight(f"{name}/gamma"), self._weight(f"{name}/beta")
        return self._torch.nn.functional.layer_norm(x, (self.width,), scale, shift, 1e-5)

    def _self_attention(self, x: Any, block: str, *, causal: bool) -> Any:
        inner = self._norm(x, f"{block}/self_attention/layer_norm")
        parts = self._linear(inner, f"{block}/self_attention/linear_0").split(self.width, -1)
        mixed = self._attend(*parts, causal=causal)
        return self._linear(mixed, f"{block}/self_attention/linear_1")

    def _feed_forward(self, x: Any, block: str) -> Any:
        inner = self._linear(self._norm(x, f"{block}/ffn/layer_norm"), f"{block}/ffn/linear_0")
        return self._linear(self._torch.nn.functional.gelu(inner), f"{block}/ffn/linear_1")

    def _attend(self, query: Any, key: Any, value: Any, *, causal: bool) -> Any:
        def by_head(x: Any) -> Any:
            return x.view(x.shape[0], x.shape[1], self.heads, -1).transpose(1, 2)

        mixed = self._torch.nn.functional.scaled_dot_product_attention(
            by_head(query), by_head(key), by_head(value), is_causal=causal
        )
        return mixed.transpose(1, 2).reshape(query.shape)
