"""Whether two stretches of sound hold the same."""

from __future__ import annotations

import numpy as np
import pytest

from fieldlog.audio.same_sound import is_same_sound
from tests.spoken import sentence


def test_the_same_speech_is_known_however_it_was_cut_and_other_speech_is_not() -> None:
    said = sentence()
    third, rng = len(said) // 4, np.random.default_rng(3)
    noisy = said + rng.normal(0.0, 0.7 * said.std(), len(said)).astype(np.float32)
    for other in (said, 0.3 * said, noisy, said[third:], said[:-third], np.pad(said, (9000, 4000))):
        assert is_same_sound(said, other.astype(np.float32))
        assert is_same_sound(other.astype(np.float32), said)
    assert not is_same_sound(said, said[::-1])
    assert not is_same_sound(said, rng.normal(0.0, 0.1, len(said)).astype(np.float32))


@pytest.mark.parametrize("samples", [0, 16_000])
def test_silence_is_like_silence_alone(samples: int) -> None:
    nothing = np.zeros(samples, dtype=np.float32)
    assert is_same_sound(nothing, np.zeros(8_000, dtype=np.float32))
    assert not is_same_sound(nothing, sentence())
