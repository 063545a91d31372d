"""``python -m fieldlog.lab speed``: how long the same clips take an earlier code and today's, in turn."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import click
import numpy as np

from fieldlog.errors import UsageError

_HERE = Path(__file__).resolve()
_SEED = 7


@dataclass(frozen=True, slots=True)
class HeardIn:
    """What one code heard: file -> least processor time (ms) of its turns, and the texts, best first."""

    ms: Mapping[str, float]
    texts: Mapping[str, tuple[str, ...]]
    answered_ms: Mapping[str, float]
    """File -> the least time (ms) until it answered."""


def timed_by(checkout: Path, grammar: Path, files: Sequence[Path]) -> HeardIn:
    """The files heard by the code in ``checkout``; ``UsageError`` where it cannot."""
    done = subprocess.run(
        [
            sys.executable,
            "-P",
            str(_HERE.with_name("speed_heard.py")),
            str(grammar),
            *map(str, files),
        ],
        env={**os.environ, "PYTHONPATH": str(checkout)},
        capture_output=True,
        text=True,
        check=False,
    )
    told = [json.loads(line) for line in done.stdout.splitlines() if line.startswith("{")]
    if done.returncode or len(told) != len(files):
        raise UsageError(f"hears nothing: {done.stderr[-500:]}", where=str(checkout))
    return HeardIn(
        {each["file"]: each["ms"] for each in told},
        {each["file"]: tuple(each["texts"]) for each in told},
        {each["file"]: each["answered_ms"] for each in told},
    )


def least(turns: Sequence[HeardIn]) -> HeardIn:
    """Of several turns the least time of each clip (pure)."""
    first = turns[0]
    return HeardIn(
        {file: min(turn.ms[file] for turn in turns) for file in first.ms},
        first.texts,
        {file: min(turn.answered_ms[file] for turn in turns) for file in first.ms},
    )


def lines(before: HeardIn, now: HeardIn) -> list[str]:
    """The two side by side (pure)."""
    found = [
        "| code | clips | processor median | p95 | answered median | p95 |",
        "|---|---|---|---|---|---|",
    ]
    for name, one in (("earlier", before), ("today", now)):
        cells = [f"{name} | {len(one.ms)}"]
        for times in (one.ms, one.answered_ms):
            took = np.array([*times.values()])
            cells.append(f"{np.median(took):.0f} ms | {np.quantile(took, 0.95):.0f} ms")
        found.append(f"| {' | '.join(cells)} |")
    ratio = np.array([now.ms[file] / before.ms[file] for file in before.ms])
    sooner = np.array([now.answered_ms[file] / before.answered_ms[file] for file in before.ms])
    other = [file for file in before.texts if before.texts[file] != now.texts[file]]
    found += [
        "",
        f"Today's processor time over the earlier one's, clip by clip: median {np.median(ratio):.2f}, most {ratio.max():.2f};"
        f" time to the answer: median {np.median(sooner):.2f}, most {sooner.max():.2f}.",
        f"All hypotheses the same to the letter: {len(before.texts) - len(other)} of {len(before.texts)}.",
    ]
    for file in other:
        found.append(f"- {Path(file).name}: {before.texts[file]} | {now.texts[file]}")
    return found


@click.command()
@click.option("--orders", type=click.Path(path_type=Path), required=True, help="Spoken orders.")
@click.option(
    "--checkout", type=click.Path(path_type=Path), required=True, help="Where the earlier code is."
)
@click.option("--clips", default=60, show_default=True, help="Clips, drawn with a fixed seed.")
@click.option("--turns", default=2, show_default=True, help="Times each code hears them.")
def speed(orders: Path, checkout: Path, clips: int, turns: int) -> None:
    """Processor time and time to the answer of the same clips with an earlier code and with today's, in turn.

    A grammar of one's own (spoken orders, the weights without additions), whole clips, the least of several
    turns; and whether the two heard the same, to the letter.

    \b
    Example:
      git worktree add ../before d912665
      python -m fieldlog.lab speed --orders orders --checkout ../before
    """
    files = sorted((orders / "audio").glob("*.flac")) or sorted((orders / "audio").iterdir())
    some = random.Random(_SEED).sample(files, min(clips, len(files)))
    codes = (checkout.resolve(), _HERE.parents[3])
    heard: list[list[HeardIn]] = [[], []]
    for _ in range(turns):
        for code, found in zip(codes, heard, strict=True):
            found.append(timed_by(code, orders / "orders.jsgf", some))
    for text in lines(least(heard[0]), least(heard[1])):
        click.echo(text)
