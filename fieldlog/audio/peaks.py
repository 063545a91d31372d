"""The shape of a sound for the eye: its lowest and highest sample, a hundred times a second (pure)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

PER_SECOND = 100


def peaks(samples: NDArray[np.float32], rate: int) -> bytes:
    """Signed bytes, lowest and highest of each hundredth of a second in turn; full scale is 127."""
    step = max(1, rate // PER_SECOND)
    whole = np.zeros(-(-len(samples) // step) * step, dtype=np.float32)
    whole[: len(samples)] = np.nan_to_num(samples)
    columns = np.clip(whole, -1, 1).reshape(-1, step)
    ends = np.stack([columns.min(axis=1), columns.max(axis=1)], axis=1)
    shape: bytes = np.rint(ends * 127).astype(np.int8).tobytes()
    return shape
