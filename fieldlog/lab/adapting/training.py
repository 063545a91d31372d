"""The fit: AdamW on the additions alone, cross-entropy of the text, warm-up and a cosine."""

from __future__ import annotations

import math
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


def train(
    ear: Ear,
    batches: Iterable[Batch],
    steps: int,
    out: Path,
    told: Told,
    every: int = 25,
    rate: float = RATE,
) -> None:
    """Train ``ear`` for ``steps`` batches; the additions are saved to ``out`` as it goes on.

    ``rate`` is the learning rate at its highest.
    """
    torch = torch_library()
    maps = [part for pair in ear.maps.values() for part in pair]
    shifts = list(ear.shifts.values())
    groups = [{"params": maps, "lr": rate}, {"params": shifts, "lr": rate * _SHIFT_RATE}]
    optimizer = torch.optim.AdamW(groups, betas=(0.9, 0.98), weight_decay=0.01)
    schedule = torch.optim.lr_scheduler.LambdaLR(optimizer, lambda step: _share(step, steps))
    total, count = 0.0, 0
    for step, batch in zip(range(1, steps + 1), _ahead(batches), strict=False):
        wanted = torch.from_numpy(batch.wanted)
        counts = wanted >= 0
        with torch.autocast("cpu", dtype=torch.bfloat16):
            encoded = ear.encode(torch.from_numpy(batch.features))
            hidden = ear.decode(torch.from_numpy(batch.tokens), encoded)
            logits = ear.logits(hidden[counts])
        loss = torch.nn.functional.cross_entropy(logits.float(), wanted[counts])
        loss.backward()
        torch.nn.utils.clip_grad_norm_([*maps, *shifts], 1.0)
        optimizer.step()
        optimizer.zero_grad()
        schedule.step()
        total, count = total + float(loss.detach()), count + 1
        if step == 1 or step % every == 0 or step == steps:
            told(step, total / count)
            total, count = 0.0, 0
        if step % _SAVED_EVERY == 0 or step == steps:
            save(ear, out)


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


def _ahead(batches: Iterable[Batch]) -> Iterator[Batch]:
    """The batches, made beside the training (numpy lets go of the interpreter)."""
    waiting: Queue[Batch] = Queue(_AHEAD)

    def fill() -> None:
        for batch in batches:
            waiting.put(batch)

    Thread(target=fill, daemon=True).start()
    while True:
        yield waiting.get()
