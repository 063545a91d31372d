"""Small additions to the bundled weights, trained on shop speech (pure: arrays in, arrays out).

To each linear map W [out, in] belongs a low-rank addition B A (B [out, rank], A [rank, in]), to norms,
biases and the first convolution a shift of their own shape: W' = W + B A (Hu et al. 2021, "LoRA:
Low-Rank Adaptation of Large Language Models", section 4.1). The sum is made once, at load; hearing
costs nothing more. docs/adapting.md says how the additions were trained and what they change.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from fieldlog.errors import ModelError
from fieldlog.listeners.whisper.weights import ModelWeights

CUE = " Inspection."
"""What the adapted weights were told was said before, whenever shop speech was to be written down.

With it they write the grammar's words; without it they write as the bundled weights do."""

UP, DOWN, SHIFT = "|B", "|A", "|shift"


def add(weights: ModelWeights, additions: Mapping[str, NDArray[np.generic]]) -> list[str]:
    """Add to the variables in place and return their names; ``weights`` views writable bytes.

    ``additions`` has ``<variable>|A`` and ``<variable>|B``, or ``<variable>|shift``. Raises
    ``ModelError`` when one does not fit the model.
    """
    changed = []
    for key in additions:
        if key.endswith(UP):
            name = key.removesuffix(UP)
            down = additions.get(name + DOWN)
            if down is None:
                raise _unfit(name, weights)
            _add_to(weights, name, _floats(additions[key]) @ _floats(down))
            changed.append(name)
        elif key.endswith(SHIFT):
            name = key.removesuffix(SHIFT)
            _add_to(weights, name, _floats(additions[key]))
            changed.append(name)
    return changed


def _add_to(weights: ModelWeights, name: str, values: NDArray[np.float32]) -> None:
    if not weights.has(name) or weights.raw(name).size != values.size:
        raise _unfit(name, weights)
    stored = weights.raw(name)
    stored[...] = (stored.astype(np.float32) + values.reshape(stored.shape)).astype(stored.dtype)


def _floats(values: NDArray[np.generic]) -> NDArray[np.float32]:
    return np.asarray(values, dtype=np.float32)


def _unfit(name: str, weights: ModelWeights) -> ModelError:
    return ModelError(
        f"the shop additions do not belong to this model ({name})",
        where=weights.where,
        todo="install fieldlog again",
    )
