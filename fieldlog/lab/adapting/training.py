"""The fit: AdamW on the additions alone, cross-entropy of the text, warm-up and a cosine."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from queue import Queue
from threading import Thread
from typing import Any

import numpy as np

from fieldlog.lab.adapting.batches import Batch
from fieldlog.lab.adapting.ear import Ear, torch_library

Told = Callable[[int, float], None]
"""(step, mean cross-entropy in nats a token since the last time)."""

RATE = 1e-3
_WARM = 60
_FLOOR = 0.05
_SHIFT_RATE = 0.3
"""Norms, biases and the first convolution learn more slowly."""
_AHEAD = 12
_SAVED_EVERY = 100
_MEASURED = 100
"""Steps after which the card is warm; after twice as many more it is known how long one takes."""


def train(
    ear: Ear,
    batches: Iterable[tuple[Any, Any, Any]],
    steps: int,
    out: Path,
    told: Told,
    every: int = 25,
    rate: float = RATE,
    device: str = "cpu",
    seconds: float = math.inf,
) -> int:
    """Train ``ear`` for ``steps`` batches; the additions are saved to ``out`` as it goes on.

    ``rate`` is the learning rate at its highest. ``seconds``: where that many would not do for all
    steps, there are fewer of them, and the rate falls the sooner. Returns how many there were.
    """
    torch = torch_library()
    maps = [part for pair in ear.maps.values() for part in pair]
    shifts = list(ear.shifts.values())
    groups = [{"params": maps, "lr": rate}, {"params": shifts, "lr": rate * _SHIFT_RATE}]
    optimizer = torch.optim.AdamW(groups, betas=(0.9, 0.98), weight_decay=0.01)
    schedule = torch.optim.lr_scheduler.LambdaLR(optimizer, lambda step: _share(step, steps))
    total, count = 0.0, 0
    began, warm = time.monotonic(), 0.0
    step = 0
    for features, tokens, wanted in batches:
        step += 1
        counts = wanted >= 0
        with torch.autocast(device, dtype=torch.bfloat16):
            encoded = ear.encode(features)
            hidden = ear.decode(tokens, encoded)
            logits = ear.logits(hidden[counts])
        loss = torch.nn.functional.cross_entropy(logits.float(), wanted[counts])
        loss.backward()
        torch.nn.utils.clip_grad_norm_([*maps, *shifts], 1.0)
        optimizer.step()
        optimizer.zero_grad()
        schedule.step()
        total, count = total + loss.detach(), count + 1
        now = time.monotonic() - began
        if step == _MEASURED:
            warm = now
        if step == 3 * _MEASURED and seconds < math.inf:
            each = (now - warm) / (2 * _MEASURED)
            steps = max(step + 1, min(steps, step + int((seconds - now) / each)))
        if step == 1 or step % every == 0 or step == steps:
            told(step, float(total) / count)
            total, count = 0.0, 0
        if step % _SAVED_EVERY == 0 or step == steps:
            save(ear, out)
        if step == steps:
            break
    return step


def save(ear: Ear, out: Path) -> None:
    """Write the additions; never a half-written file."""
    partial = out.with_suffix(".part.npz")
    arrays: dict[str, Any] = dict(ear.additions())
    np.savez_compressed(partial, **arrays)
    partial.replace(out)


def _share(step: int, steps: int) -> float:
    """Share of the full rate at a step."""
    fall = 0.5 * (1.0 + math.cos(math.pi * min(1.0, step / steps)))
    return min(1.0, (step + 1) / _WARM) * (fall * (1.0 - _FLOOR) + _FLOOR)


def on_cores(batches: Iterable[Batch]) -> Iterator[tuple[Any, Any, Any]]:
    """The batches, made beside the training (numpy lets go of the interpreter)."""
    waiting: Queue[Batch] = Queue(_AHEAD)

    def fill() -> None:
        for batch in batches:
            waiting.put(batch)

    Thread(target=fill, daemon=True).start()
    put = torch_library().from_numpy
    while True:
        batch = waiting.get()
        yield put(batch.features), put(batch.tokens), put(batch.wanted)
