"""A share of trained additions: part of the way to the new weights (pure)."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from fieldlog.listeners.whisper.adapter import DOWN


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
