"""The figures by which voices are told apart: fitted, kept, and read again."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from fieldlog.lab.benchmarks.whose_voice import fitted, write
from fieldlog.listeners.timbre import cepstral_figures, shipped
from tests.test_whose_voice import hum


def test_the_matrix_is_kept_as_it_was_fitted(tmp_path: Path) -> None:
    clips = [hum(110.0 + n, (500.0, 1500.0 + 40 * (n % 3)), n) for n in range(8)]
    figures = [cepstral_figures(clip) for clip in clips]
    rows = np.array([each for each in figures if each is not None])
    turning = fitted(rows, list("aaaabbbb"))
    write(turning, tmp_path / "timbre.npz")
    with np.load(tmp_path / "timbre.npz") as kept:
        assert np.allclose(kept["matrix"], turning.matrix, rtol=1e-5)
    assert shipped().matrix.shape == (48, 48)
