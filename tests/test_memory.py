"""What a listener keeps in memory, and what is given back."""

from __future__ import annotations

import sys
from typing import Any

import numpy as np
import pytest

from fieldlog.apart.memory import give_back
from fieldlog.listeners.whisper.weights import ModelWeights


def test_free_memory_is_given_back_where_the_system_can() -> None:
    assert give_back() is sys.platform.startswith("linux")


def test_a_system_without_it_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fieldlog.apart.memory._trim", lambda: None)
    assert not give_back()


def test_the_matrices_of_the_layers_are_let_go_and_nothing_else() -> None:
    kept: dict[str, Any] = {
        "decoder/embeddings/weight": np.zeros((4, 2), np.float16),
        "decoder/layer_0/self_attention/linear_0/bias": np.zeros(6, np.float16),
        "decoder/num_heads": np.zeros((), np.int8),
    }
    gone = {"decoder/layer_0/self_attention/linear_0/weight": np.zeros((6, 2), np.float16)}
    assert ModelWeights("WhisperSpec", {**kept, **gone}).without_layers().variables == kept
