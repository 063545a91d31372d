"""The rows of ``python -m fieldlog.lab echo``: which there are, and one of them counted, in whatever process."""

from __future__ import annotations

import atexit
from contextlib import ExitStack
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from fieldlog.lab.benchmarks import echo as bench
from fieldlog.lab.speech_set.items import KITCHEN, TALK, Item, SpeechSet
from fieldlog.lab.speech_set.noises import NOISES
from fieldlog.language.files import load_language
from fieldlog.model.finding import Finding
from fieldlog.shop.ears import open_ears


@dataclass(frozen=True)
class Draw:
    """Which takes."""

    items: int
    """Of people who speak over it."""
    part: str = "test"
    number: int = 0
    """Another one has other people, read-backs, rooms and noises."""


def owns_planned() -> list[bench.Own]:
    """Read-backs with nobody speaking: what is to be counted."""
    all_layers = bench.Layers.ALL
    plan = [bench.Own(all_layers, level) for level in bench.LEVELS_DB]
    plan += [bench.Own(all_layers, bench.LOUD_DB, hard=True)]
    plan += [bench.Own(all_layers, level, gives_way=True) for level in (-6.0, None)]
    return plan + [bench.Own(layers, -6.0) for layers in bench.Layers if layers is not all_layers]


def overs_planned() -> list[bench.Over]:
    """Somebody speaks, with and without a read-back: what is to be counted."""
    plan = []
    for where, noisy in (("clean", False), (f"noise at {bench.NOISE_DB:.0f} dB", True)):
        plan += [
            bench.Over(f"nobody else speaks, {where}", noisy=noisy, echoes=False),
            bench.Over(f"over a read-back, {where}", noisy=noisy),
            bench.Over(f"over the second read-back, {where}", noisy=noisy, second=True),
            bench.Over(f"over a read-back that goes on, {where}", noisy=noisy, gives_way=False),
        ]
    return plan


def measured(
    folder: str, listener: str, model: str | None, draw: Draw, row: bench.Own | bench.Over
) -> bench.Own | bench.Over:
    """``row``, counted."""
    room, spoken = _opened(folder, listener, model, draw.part)
    findings = [finding for _, finding in spoken]
    kinds = (*NOISES, TALK, *(("kitchen",) if (Path(folder) / KITCHEN).is_file() else ()))
    if isinstance(row, bench.Own):
        some = kinds if row.layers is bench.Layers.ALL else kinds[::4]
        for says, heard, cuts in bench.own_takes(room, findings, row, some, draw.number):
            bench.count_own(row, says, heard, cuts)
        return row
    step = max(1, len(spoken) // max(1, draw.items))
    taken = spoken[draw.number % step :: step][: draw.items]
    for number, (item, own) in enumerate(taken, draw.number):
        others = [one for one in findings if one.component != own.component]
        delay = bench.DELAYS_S[number % len(bench.DELAYS_S)]
        bench.over_take(
            room,
            row,
            item,
            others[(item.seed + draw.number) % len(others)],
            noise=kinds[number % len(kinds)] if row.noisy else None,
            echo_s=delay if row.echoes else None,
            gives_way=row.gives_way,
            after=findings[(item.seed + draw.number + 1) % len(findings)] if row.second else None,
        )
    return row


@lru_cache(maxsize=1)
def _opened(
    folder: str, listener: str, model: str | None, part: str
) -> tuple[bench.Room, list[tuple[Item, Finding]]]:
    """Once in each process, for as long as that lasts."""
    language, opened = load_language(), SpeechSet(Path(folder))
    opening = ExitStack()
    ears = opening.enter_context(open_ears(language, listener, Path(model) if model else None))
    atexit.register(opening.close)
    return bench.Room(ears, opened, part), bench.findings_of(opened, language, part)
