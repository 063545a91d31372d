"""What one bundle costs an archive's work, how it scales from one process to two, and what that plans."""

from __future__ import annotations

import os
import shutil
import tempfile
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue

import click

from fieldlog.archive.bench import Bench
from fieldlog.archive.job import ArchiveJob, Chore, Ended
from fieldlog.archive.run import Spread, go_through
from fieldlog.archive.spread import over_processes
from fieldlog.archive.work import AtWork, hash_of, program
from fieldlog.lab.proofs.shops import fill, ticking
from fieldlog.shop.workshop import Workshop

_MILLION = 1_000_000
_TOGETHER_S = 0.02
_COUNTED = 30
"""Bundles whose processor time is measured, for each kind of work."""
_SETTINGS = {
    Chore.RECHECK: (),
    Chore.REHEAR: (("listener", "whisper"), ("policy", "balanced")),
    Chore.REALIGN: (),
    Chore.REPORT: (("formats", "html pdf json csv"),),
}


@dataclass(frozen=True, slots=True)
class Cost:
    """What one kind of work costs a bundle."""

    kind: Chore
    cpu_s: float
    """Processor time, children included, once it is made ready."""
    result_bytes: int


def bundles(folder: Path, count: int) -> Path:
    """``count`` bundles of an inspection with two clips and a photo each."""
    out = folder / "bundles"
    with Workshop.open(folder / "shop", now=ticking()) as shop:
        for number in range(count):
            shop.bundle(fill(shop.store, f"vehicle {number}", number), out=out)
    return out


def cost(kind: Chore, folder: Path) -> Cost:
    """Measured in this process, over the bundles of ``folder`` but the first."""
    work = AtWork(ArchiveJob(kind, program(), _SETTINGS[kind]))
    first, *others = sorted(folder.glob("*.zip"))[:_COUNTED]
    work.result(first, hash_of(first))
    before = os.times()
    sizes = [len(work.result(each, hash_of(each))) for each in others]
    after = os.times()
    spent = sum(after[:4]) - sum(before[:4])
    return Cost(kind, spent / len(others), sum(sizes) // len(sizes))


def took(spread: Spread, folder: Path, out: Path) -> float:
    """Seconds a bundle over all of ``folder``, from the first that came back to the last.

    What is before the first is starting: the same for ten bundles and for a million. Bundles of one task
    come back together.
    """
    seen: list[float] = []
    shutil.rmtree(out, ignore_errors=True)
    job = ArchiveJob(Chore.RECHECK, program())
    gone = go_through(
        job, folder, out, spread=spread, progress=lambda *_: seen.append(time.monotonic())
    )
    assert not gone.faults, gone.faults[0]
    behind = sum(at > seen[0] + _TOGETHER_S for at in seen)
    return (seen[-1] - seen[0]) / behind


def side_by_side(count: int) -> Spread:
    """So many processes apart that take the next bundle from one list, without Dask: what a machine can do."""

    def spread(
        job: ArchiveJob, folder: Path, bundles: tuple[str, ...], out: Path, longest_s: float
    ) -> Iterator[Ended]:
        waiting, done = deque(bundles), SimpleQueue[Ended]()

        def work() -> None:
            with Bench(job, out, longest_s) as bench, suppress(IndexError):
                while True:
                    done.put(bench.done(folder, waiting.popleft()))

        threads = [threading.Thread(target=work, daemon=True) for _ in range(count)]
        for each in threads:
            each.start()
        for _ in bundles:
            yield done.get()
        for each in threads:
            each.join()

    return spread


def on_one_core(spread: Spread) -> Spread:
    """``spread`` with all that it starts on one core, where the system can say so (Linux)."""

    def pinned(
        job: ArchiveJob, folder: Path, bundles: tuple[str, ...], out: Path, longest_s: float
    ) -> Iterator[Ended]:
        before = os.sched_getaffinity(0)
        os.sched_setaffinity(0, {min(before)})  # of this thread; what it starts inherits it
        try:
            yield from spread(job, folder, bundles, out, longest_s)
        finally:
            os.sched_setaffinity(0, before)

    return pinned if hasattr(os, "sched_setaffinity") else spread


WAYS: dict[str, Callable[[], Spread]] = {
    "one process, without Dask": lambda: side_by_side(1),
    "two processes, without Dask": lambda: side_by_side(2),
    "one worker, with all that serves it on one core": lambda: on_one_core(over_processes(1)),
    "one worker": lambda: over_processes(1),
    "two workers": lambda: over_processes(2),
}
"""What is measured, in turns: on a machine with other work each is taken at its least disturbed."""


def rates(folder: Path, out: Path, rounds: int) -> list[list[float]]:
    """Seconds a bundle for each of ``WAYS``, once a round."""
    return [[took(way(), folder, out) for way in WAYS.values()] for _ in range(rounds)]


def page(size: float, costs: list[Cost], rounds: list[list[float]]) -> str:
    """The page ``docs/archive-plan.md``."""
    least = [min(way) for way in zip(*rounds, strict=True)]
    plain, both, alone, one, two = least
    lines = [
        "# A million inspections",
        "",
        f"Printed by `python -m fieldlog.lab archive` on {os.cpu_count()} cores. The bundles have two clips of a tenth of a second, a photo of",
        f"320 x 240 and three findings ({size / 1e3:.0f} kB each): a real one has more of each, so put your own bundles in with `--bundles DIR`.",
        "",
        "| work | processor, s a bundle | result, kB | 10^6 on 1 core, days | on 64 cores, hours | results, GB |",
        "|---|---:|---:|---:|---:|---:|",
    ]
    lines += [
        f"| {each.kind} | {each.cpu_s:.3f} | {each.result_bytes / 1e3:.1f} | {each.cpu_s * _MILLION / 86400:.1f} "
        f"| {each.cpu_s * _MILLION / 3600 / 64:.1f} | {each.result_bytes * _MILLION / 1e9:.0f} |"
        for each in costs
    ]
    lines += [
        "",
        f"Disk: 10^6 bundles of this size are {size * _MILLION / 1e9:.0f} GB, each is read twice; 64 cores need at most "
        f"{2 * size * 64 / min(each.cpu_s for each in costs) / 1e6:.0f} MB/s of it.",
        "",
        f"| recheck over | s a bundle, least of {len(rounds)} | each round | |",
        "|---|---:|---|---|",
    ]
    said = (
        "",
        f"the machine's own efficiency: {plain / both / 2:.2f}",
        f"{plain / alone:.0%} of the rate without Dask",
        f"{plain / one:.0%}",
        f"**efficiency {alone / two / 2:.2f}** from one core to two; {one / two / 2:.2f} against one worker that has "
        f"both; {both / two:.0%} of the rate of two without Dask",
    )
    for name, way, seconds, text in zip(WAYS, zip(*rounds, strict=True), least, said, strict=True):
        each = " ".join(f"{one_round:.3f}" for one_round in way)
        lines.append(f"| {name} | {seconds:.3f} | {each} | {text} |")
    lines += [
        "",
        "Efficiency: the rate of two over twice that of one, starting left out. One worker on a machine of two cores has the second one for the",
        "scheduler, the client and the process that opens its photos; two workers share these two cores with all of that. The two without Dask are the same processes, which take the",
        "next bundle from one list: what they miss of twice the rate of one is the machine's (memory, caches, clock, disk, other work on it).",
        "Days and hours above suppose that it stays so: beyond two it was not measured.",
    ]
    return "\n".join(lines) + "\n"


@click.command()
@click.option("--count", default=100, show_default=True, help="Bundles that are made.")
@click.option("--rounds", default=3, show_default=True, help="How often each way is measured.")
@click.option(
    "--bundles",
    "own",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    help="Bundles of your own instead.",
)
@click.option("--page", "target", type=click.Path(path_type=Path, dir_okay=False))
def archive(count: int, rounds: int, own: Path | None, target: Path | None) -> None:
    """Measure work over an archive of bundles and plan a million.

    \b
    Example:
      python -m fieldlog.lab archive --page docs/archive-plan.md
    """
    with tempfile.TemporaryDirectory(prefix="fieldlog-") as made:
        folder = own or bundles(Path(made), count)
        files = sorted(folder.glob("*.zip"))
        size = sum(file.stat().st_size for file in files) / len(files)
        out = Path(made) / "out"
        measured = rates(folder, out, rounds)
        costs = [cost(kind, folder) for kind in Chore]
    text = page(size, costs, measured)
    if target is not None:
        target.write_text(text, encoding="utf-8")
    click.echo(text, nl=False)
