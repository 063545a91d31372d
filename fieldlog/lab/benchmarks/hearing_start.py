"""Cold start, warm latency and memory of recognisers, each run in a fresh process, side by side.

A run is ``python -m fieldlog.lab.benchmarks.hearing_start NAME [MODEL]``: it makes ready what ``fieldlog
listen`` makes ready (its own code does it), says "listening", and then hears the demo's utterances.
The parent's clock runs from before the process is started to the moment that word arrives. The
recognisers take turns, so that whatever else the machine does falls on all of them.
"""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from fieldlog import config
from fieldlog.errors import FieldlogError, ModelError

LISTENING = "listening"
SOUND_FILE = "01-fluids-battery-drive.flac"
UTTERANCES = 12
"""Of the demo's recording; the first is heard cold and has a row of its own."""


@dataclass(frozen=True, slots=True)
class Run:
    """One fresh process. Times in seconds and milliseconds, memory in MB (resident, peak)."""

    start_s: float
    """From before the process was started to listening."""
    first_ms: float
    """The first utterance, from its end to what it means."""
    warm_ms: tuple[float, ...]
    """The others."""
    ready_mb: float
    """Peak memory when it was listening."""
    memory_mb: float
    """Peak memory after the last utterance."""


@dataclass(frozen=True, slots=True)
class Row:
    """Medians over the runs of one recogniser."""

    recogniser: str
    runs: int
    utterances: int
    start_s: float
    slowest_start_s: float
    first_ms: float
    median_ms: float
    p95_ms: float
    """Of all warm utterances of all runs."""
    ready_mb: float
    memory_mb: float


def measure(
    recognisers: Sequence[tuple[str, Path | None]],
    runs: int,
    progress: Callable[[str, int], None] = lambda name, done: None,
    *,
    once: Callable[[str, Path | None], Run] | None = None,
) -> tuple[list[Row], dict[str, str]]:
    """A row for each recogniser (name, model folder or None), and why others have none.

    ``once`` makes one run; by default a fresh process does.
    """
    one = once or fresh_run
    found: dict[str, list[Run]] = {name: [] for name, _ in recognisers}
    absent: dict[str, str] = {}
    done = 0
    for _ in range(runs):
        for name, model in recognisers:
            if name not in absent:
                try:
                    found[name].append(one(name, model))
                except FieldlogError as error:
                    absent[name] = str(error)
            done += 1
            progress(name, done)
    return [summary(name, each) for name, each in found.items() if name not in absent], absent


def summary(name: str, runs: Sequence[Run]) -> Row:
    """The medians of ``runs``, at least one (pure)."""
    warm = sorted(ms for run in runs for ms in run.warm_ms)
    return Row(
        recogniser=name,
        runs=len(runs),
        utterances=len(warm),
        start_s=statistics.median(run.start_s for run in runs),
        slowest_start_s=max(run.start_s for run in runs),
        first_ms=statistics.median(run.first_ms for run in runs),
        median_ms=statistics.median(warm) if warm else 0.0,
        p95_ms=warm[min(len(warm) - 1, int(0.95 * len(warm)))] if warm else 0.0,
        ready_mb=statistics.median(run.ready_mb for run in runs),
        memory_mb=statistics.median(run.memory_mb for run in runs),
    )


def fresh_run(name: str, model: Path | None) -> Run:
    """One run in a process of its own. Raises ``ModelError`` with its last words when it fails."""
    command = [sys.executable, "-m", __name__, name, *([str(model)] if model else [])]
    began = time.perf_counter()
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        said = process.stdout.readline().strip()
        start_s = time.perf_counter() - began
        rest, faults = process.communicate()
    if said != LISTENING or process.returncode != 0:
        last = faults.strip().splitlines()[-1:] or [f"ended with code {process.returncode}"]
        raise ModelError(f"cannot be measured ({last[0]})", where=name, todo="see fieldlog ready")
    told = json.loads(rest)
    return Run(start_s, told["first_ms"], tuple(told["warm_ms"]), told["ready_mb"], told["mb"])


def work(name: str, model: Path | None) -> None:
    """What the fresh process does: ready as ``fieldlog listen`` is, then the demo's utterances."""
    # The command's own imports are part of its start, so they are made here as there.
    import fieldlog.cli
    import fieldlog.cli.listen  # noqa: F401
    from fieldlog.audio.endpointer import Endpointer, utterances
    from fieldlog.cli.ears import open_ears
    from fieldlog.hearing import hear_clip
    from fieldlog.lab.benchmarks.hearing import peak_mb
    from fieldlog.language.files import load_language

    language = load_language()
    with open_ears(language, name, model) as ears:
        Endpointer()  # loads the voice activity
        print(LISTENING, flush=True)
        ready_mb = peak_mb()
        times = []
        for clip, _ in zip(
            utterances(config.demo_media() / SOUND_FILE), range(UTTERANCES), strict=False
        ):
            heard = hear_clip(clip, ears.listener, ears.language, ears.judge)
            times.append(heard.latency_ms)
        told = {"first_ms": times[0], "warm_ms": times[1:], "ready_mb": ready_mb, "mb": peak_mb()}
        print(json.dumps(told), flush=True)


def page(rows: Sequence[Row], absent: dict[str, str], command: str) -> str:
    """The rows as a Markdown page, which is what the command prints."""
    load = f" Load of the machine: {os.getloadavg()[0]:.1f}." if hasattr(os, "getloadavg") else ""
    lines = [
        "# Cold start, warm latency, memory",
        "",
        f"Printed by `{command}`. Medians of fresh processes that take turns.{load}",
        "",
        "| recogniser | runs | start to listening s | slowest s | first utterance ms | warm median ms "
        "| warm p95 ms | warm utterances | MB when listening | peak MB |",
        "|---|" + "---:|" * 9,
    ]
    lines += [
        f"| {row.recogniser} | {row.runs} | {row.start_s:.2f} | {row.slowest_start_s:.2f} "
        f"| {row.first_ms:.0f} | {row.median_ms:.0f} | {row.p95_ms:.0f} | {row.utterances} "
        f"| {row.ready_mb:.0f} | {row.memory_mb:.0f} |"
        for row in rows
    ]
    if absent:
        lines += ["", *(f"{name} left out: {reason}" for name, reason in absent.items())]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    work(sys.argv[1], Path(sys.argv[2]) if len(sys.argv) > 2 else None)
