"""When each word was said: spans from attention whose answer is known."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from fieldlog.listeners.whisper.times import STEP_S, _gain, token_spans, word_times


def looking(*spans: tuple[int, int], frames: int) -> np.ndarray:
    """Attention that looks at each of ``spans`` in turn, and faintly everywhere."""
    rows = np.full((len(spans), frames), 0.1, np.float32)
    for row, (begin, end) in zip(rows, spans, strict=True):
        row[begin:end] = 5.0
    return np.asarray(rows / rows.sum(axis=1, keepdims=True))


def test_each_token_has_the_frames_it_looked_at() -> None:
    attention = looking((0, 20), (20, 50), (50, 60), (60, 100), frames=100)
    assert token_spans(attention) == [(0, 20), (20, 50), (50, 60), (60, 100)]


@pytest.mark.parametrize("seed", range(8))
def test_no_other_way_to_lay_the_frames_keeps_more(seed: int) -> None:
    """Against every way to cut few frames among few tokens, tried one after the other."""
    rng = np.random.default_rng(seed)
    attention = rng.random((3, 12)).astype(np.float32)
    gain = _gain(attention)

    def kept(cuts: tuple[int, int]) -> float:
        bounds = (0, *cuts, gain.shape[1])
        return float(sum(gain[row, bounds[row] : bounds[row + 1]].sum() for row in range(3)))

    best = max(combinations(range(1, 12), 2), key=kept)
    assert [begin for begin, _ in token_spans(attention)][1:] == list(best)


def test_words_of_several_tokens_and_tokens_of_several_words() -> None:
    """ "rear", "tread" in two tokens, "um", and "4/32" as one token: four words and a half."""
    attention = looking((0, 10), (10, 20), (20, 30), (30, 40), (40, 60), (60, 80), frames=80)
    times = word_times(attention, (1, -1, 2, 2, 5), lead_s=0.1)
    wanted = [(0, 10), (10, 30), (40, 60), (40, 60), (40, 60)]
    assert times == [
        (pytest.approx(begin * STEP_S - 0.1), pytest.approx(end * STEP_S - 0.1))
        for begin, end in wanted
    ]


def test_fewer_frames_than_tokens_give_no_times_but_no_error() -> None:
    assert token_spans(np.ones((5, 3), np.float32)) == [(0, 0)] * 5
