"""Part of the way to trained weights, and the middle of several trainings (pure)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from fieldlog.listeners.whisper.adapter import DOWN, SHIFT, UP


def part_of_way(
    additions: Mapping[str, NDArray[np.generic]], share: float
) -> dict[str, NDArray[np.float16]]:
    """Additions that lead ``share`` of the way from the bundled weights to the trained ones.

    Part of the way hears more than the whole: what the bundled weights know of real voices stays
    (Wortsman et al. 2021, "Robust fine-tuning of zero-shot models", section 3).
    """
    return {
        name: np.asarray(
            np.asarray(values, dtype=np.float32)
            * np.float32(1.0 if name.endswith(DOWN) else share),
            dtype=np.float16,
        )
        for name, values in additions.items()
    }


def averaged(
    trainings: Sequence[Mapping[str, NDArray[np.generic]]], rank: int
) -> dict[str, NDArray[np.float16]]:
    """The mean of what several trainings add, as additions of ``rank``.

    The mean of products is no product: it is brought back to one of the given rank by its largest
    singular values, which leaves out the least (Eckart and Young 1936).
    """
    count = len(trainings)
    found: dict[str, NDArray[np.float16]] = {}
    for key in trainings[0]:
        parts = [np.asarray(one[key], np.float32) for one in trainings]
        if key.endswith(SHIFT):
            found[key] = np.asarray(sum(parts) / np.float32(count), np.float16)
        if not key.endswith(UP):
            continue
        name = key.removesuffix(UP)
        ups = np.concatenate(parts, axis=1) / np.float32(count)
        downs = np.concatenate([np.asarray(one[name + DOWN], np.float32) for one in trainings])
        left, up = np.linalg.qr(ups)
        right, down = np.linalg.qr(downs.T)
        u, size, v = np.linalg.svd(up @ down.T)
        root = np.sqrt(size[:rank])
        found[key] = np.asarray((left @ u[:, :rank]) * root, np.float16)
        found[name + DOWN] = np.asarray(root[:, None] * (v[:rank] @ right.T), np.float16)
    return found
