"""Other throats made of those that are there: formants, pitch and an engine's flaws by signal processing."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fieldlog.lab.adapting.throats import TRACTS, changed, drawn, unchanged

_TORCH = pytest.mark.skipif(
    importlib.util.find_spec("torch") is None,
    reason="PyTorch is not installed (pip install 'fieldlog[adapting]'): throats cannot be tried",
)


def test_formants_come_to_lie_within_a_tract_however_fast_a_take_is_played() -> None:
    speeds = np.linspace(0.8, 1.25, 400)
    throats = drawn(np.random.default_rng(1), speeds, np.ones(400, bool))
    moved = throats.envelope != 1.0
    assert 0.3 < moved.mean() < 0.7
    reached = (throats.envelope * speeds)[moved]
    assert reached.min() >= TRACTS[0] - 1e-9
    assert reached.max() <= TRACTS[1] + 1e-9
    assert 0.5 < throats.changes.mean() < 1.0


def test_what_is_no_speech_stays_as_it_is() -> None:
    throats = drawn(np.random.default_rng(1), np.full(200, 1.1), np.zeros(200, bool))
    assert not throats.changes.any()
    assert not unchanged(5).changes.any()


@_TORCH
@pytest.mark.parametrize(("factor", "formant"), [(0.82, 840), (1.1, 1080), (1.22, 1200)])
def test_formants_move_and_the_pitch_stays(factor: float, formant: float) -> None:
    top, lag = _heard(envelope=factor)
    assert abs(top - formant) < 10
    assert lag == 133  # 120 Hz


@_TORCH
def test_what_is_not_changed_stays_to_the_bit_and_the_way_there_and_back_loses_nothing() -> None:
    import torch

    vowel = _vowel()
    random = torch.Generator().manual_seed(1)
    assert torch.equal(changed(torch, vowel, unchanged(1), random), vowel)
    through = changed(torch, vowel, replace(unchanged(1), tilt=np.array([1e-9])), random)
    assert float((through - vowel).abs().max()) < 1e-4


@_TORCH
def test_a_tilt_and_an_edge_take_away_what_lies_above() -> None:
    import torch

    random = torch.Generator().manual_seed(1)
    white = torch.randn((1, 32_000), generator=random) * 0.1
    dull = changed(torch, white, replace(unchanged(1), tilt=np.array([-6.0])), random)
    cut = changed(torch, white, replace(unchanged(1), edge=np.array([4000.0])), random)

    def above_5_khz(sound: Any) -> float:
        power = torch.fft.rfft(sound[0]).abs() ** 2
        return float(power[10_000:].sum() / power[2000:4000].sum())

    assert above_5_khz(dull) < 0.1 * above_5_khz(white)
    assert above_5_khz(cut) < 0.1 * above_5_khz(white)


@_TORCH
def test_everything_at_once_is_finite_and_about_as_loud() -> None:
    import torch

    speech = _vowel().repeat(64, 1)
    throats = drawn(np.random.default_rng(2), np.ones(64), np.ones(64, bool))
    other = changed(torch, speech, throats, torch.Generator().manual_seed(2))
    assert torch.isfinite(other).all()
    loudness = other.pow(2).mean(1).sqrt() / speech.pow(2).mean(1).sqrt()
    assert float(loudness.min()) > 0.2
    assert float(loudness.max()) < 4.0


def _vowel() -> Any:
    """A voice of 120 Hz through one resonance at 1 kHz: ``[1, 16000]``."""
    import torch

    pulses = torch.zeros(1, 1, 16_000)
    pulses[..., ::133] = 1.0
    t = torch.arange(400) / 16_000
    ring = torch.exp(-300 * t) * torch.sin(2 * torch.pi * 1000 * t)
    return (
        0.3
        * torch.nn.functional.conv1d(pulses, ring.flip(0)[None, None], padding=399)[0, :, :16_000]
    )


def _heard(**changes: float) -> tuple[float, int]:
    """The strongest partial in hertz and the period in samples of a vowel that was changed so."""
    import torch

    throats = replace(unchanged(1), **{name: np.array([to]) for name, to in changes.items()})
    sound = changed(torch, _vowel(), throats, torch.Generator().manual_seed(1))[0]
    size = torch.fft.rfft(sound[2000:14_000] * torch.hann_window(12_000)).abs()
    echo = torch.fft.irfft(size**2)
    return float(size.argmax()) * 16_000 / 12_000, 60 + int(echo[60:250].argmax())
