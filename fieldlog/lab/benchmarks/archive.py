"""What one bundle costs an archive's work, how it scales from one process to two, and what that plans."""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import click

from fieldlog.archive.job import ArchiveJob, Chore
from fieldlog.archive.run import Spread, alone, go_through
from fieldlog.archive.spread import over_processes
from fieldlog.archive.work import AtWork, hash_of, program
from fieldlog.lab.proofs.shops import fill, ticking
from fieldlog.shop.workshop import Workshop

_MILLION = 1_000_000
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
    first, *others = sorted(folder.glob("*.zip"))
    work.result(first, hash_of(first))
    before = os.times()
    sizes = [len(work.result(each, hash_of(each))) for each in others]
    after = os.times()
    spent = sum(after[:4]) - sum(before[:4])
    return Cost(kind, spent / len(others), sum(sizes) // len(sizes))


def took(spread: Spread, folder: Path, out: Path) -> float:
    """Seconds for all of ``folder``, from the first bundle that came back to the last.

    What is before the first is starting: the same for ten bundles and for a million.
    """
    seen: list[float] = []
    shutil.rmtree(out, ignore_errors=True)
    job = ArchiveJob(Chore.RECHECK, program())
    gone = go_through(
        job, folder, out, spread=spread, progress=lambda *_: seen.append(time.monotonic())
    )
    assert not gone.faults, gone.faults[0]
    return (seen[-1] - seen[0]) / (len(seen) - 1)


def page(size: float, costs: list[Cost], one: float, two: float, plain: float) -> str:
    """The page ``docs/archive-plan.md``."""
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
        "| recheck over | s a bundle | |",
        "|---|---:|---|",
        f"| one process, without Dask | {plain:.3f} | |",
        f"| one worker | {one:.3f} | {plain / one:.0%} of that without Dask |",
        f"| two workers | {two:.3f} | efficiency {one / two / 2:.2f} |",
        "",
        "Efficiency: the rate of two workers over twice that of one, starting left out. Days and hours above suppose that it stays so: beyond",
        "two it was not measured.",
    ]
    return "\n".join(lines) + "\n"


@click.command()
@click.option("--count", default=40, show_default=True, help="Bundles that are made.")
@click.option(
    "--bundles",
    "own",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    help="Bundles of your own instead.",
)
@click.option("--page", "target", type=click.Path(path_type=Path, dir_okay=False))
def archive(count: int, own: Path | None, target: Path | None) -> None:
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
        plain = took(alone, folder, out)
        one, two = (took(over_processes(workers), folder, out) for workers in (1, 2))
        costs = [cost(kind, folder) for kind in Chore]
    text = page(size, costs, one, two, plain)
    if target is not None:
        target.write_text(text, encoding="utf-8")
    click.echo(text, nl=False)
