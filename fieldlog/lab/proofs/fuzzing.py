"""Hostile input: every reader of a file or an argument ends in an outcome or in a clean error.

Each case runs in a process of its own, so that its time and its peak of memory are its own. A case fails when
it raises anything but a ``FieldlogError`` (or click's word for a bad argument), takes more than 2 s of
processor or 120 s of clock, or more than 200 MB beyond what the process had before.
"""

from __future__ import annotations

import os
import random
import resource
import signal
import tempfile
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import click

from fieldlog.errors import FieldlogError
from fieldlog.lab.proofs.inputs import Campaign, campaigns

MOST_S = 2.0
MOST_WALL_S = 120
MOST_BYTES = 200 << 20
_TAKEN, _REFUSED, _FAULT = 0, 1, 2


@dataclass
class Tally:
    """What came of one campaign."""

    taken: int = 0
    refused: int = 0
    slowest_s: float = 0.0
    most_bytes: int = 0
    faults: list[str] = field(default_factory=list)

    @property
    def cases(self) -> int:
        """How many there were."""
        return self.taken + self.refused + len(self.faults)


def run(campaign: Campaign, cases: int, seed: int) -> Tally:
    """Every special case of ``campaign``, then ``cases`` changed ones."""
    chance = random.Random(f"{campaign.name} {seed}")
    tally = Tally()
    idle = _child(lambda: None)[2]
    for name, make in campaign.special.items():
        _case(campaign, name, make, tally, idle)
    for number in range(cases // campaign.share):
        _case(campaign, f"case {number}", _writing(mutated(campaign, chance)), tally, idle)
    return tally


def _writing(data: bytes) -> Callable[[Path], None]:
    def make(path: Path) -> None:
        path.write_bytes(data)

    return make


def mutated(campaign: Campaign, chance: random.Random) -> bytes:
    """One of the campaign's good inputs, changed in one to six places."""
    data = bytearray(chance.choice(campaign.seeds))
    for _ in range(chance.randint(1, 6)):
        at, length = chance.randrange(len(data) + 1), chance.choice((1, 2, 4, 16, 200))
        match chance.randrange(7):
            case 0:
                data[at : at + 1] = bytes([chance.randrange(256)])
            case 1:
                data[at : at + length] = b""
            case 2:
                data[at:at] = data[at : at + length] * chance.choice((1, 3, 300))
            case 3:
                data[at : at + length] = b"\xff" * length
            case 4:
                data[at:at] = chance.choice(campaign.words)
            case 5:
                other = chance.choice(campaign.seeds)
                begin = chance.randrange(len(other) + 1)
                data[at:at] = other[begin : begin + length]
            case _:
                del data[at:]
    return bytes(data)


def _case(
    campaign: Campaign, name: str, make: Callable[[Path], None], tally: Tally, idle: int
) -> None:
    with tempfile.TemporaryDirectory(prefix="fieldlog-") as made:
        path = Path(made) / campaign.file
        make(path)
        how, told, peak, seconds = _child(lambda: campaign.run(path))
    tally.slowest_s = max(tally.slowest_s, seconds)
    tally.most_bytes = max(tally.most_bytes, peak - idle)
    if how == _FAULT:
        tally.faults.append(f"{name}: {told}")
    elif seconds > MOST_S:
        tally.faults.append(f"{name}: {seconds:.1f} s")
    elif peak - idle > MOST_BYTES:
        tally.faults.append(f"{name}: {(peak - idle) >> 20} MB")
    elif how == _TAKEN:
        tally.taken += 1
    else:
        tally.refused += 1


def _child(work: Callable[[], object]) -> tuple[int, str, int, float]:
    """``work`` in a process of its own: outcome, what was told, peak of memory in bytes, seconds."""
    reading, writing = os.pipe()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # 3.12: of a process with threads
        child = os.fork()
    if child == 0:
        os.close(reading)
        how, told = _FAULT, ""
        try:
            signal.alarm(MOST_WALL_S)
            nowhere = os.open(os.devnull, os.O_RDWR)
            for stream in (1, 2):
                os.dup2(nowhere, stream)
            work()
            how = _TAKEN
        except (FieldlogError, click.ClickException, click.exceptions.Exit) as error:
            how, told = _REFUSED, str(error)
        except BaseException as error:
            where = traceback.extract_tb(error.__traceback__)[-1]
            told = f"{type(error).__name__}: {error} ({Path(where.filename).name}:{where.lineno})"
        os.write(writing, told[:500].encode("utf-8", "replace"))
        os._exit(how)
    os.close(writing)
    with os.fdopen(reading, "rb") as pipe:
        told = pipe.read().decode("utf-8", "replace")
    _, status, used = os.wait4(child, 0)
    how = os.WEXITSTATUS(status) if os.WIFEXITED(status) else _FAULT
    if not os.WIFEXITED(status):
        told = f"ended by signal {os.WTERMSIG(status)}"
    return how, told, used.ru_maxrss * 1024, used.ru_utime + used.ru_stime


def page(results: Sequence[tuple[Campaign, Tally]], cases: int, seed: int) -> str:
    """The counts as a page."""
    lines = [
        "# Hostile input",
        "",
        f"Printed by `python -m fieldlog.lab fuzz --cases {cases} --seed {seed} --page > docs/fuzzing.md`. Each case is a file or an",
        "argument, changed at random in up to six places, or one of the special ones below, and runs in a process of its own. It must",
        f"end in an outcome or in one clean error, within {MOST_S:.0f} s of processor and {MOST_BYTES >> 20} MB.",
        "",
        "| input | what reads it | cases | taken | clean error | slowest | most memory | faults |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for campaign, tally in results:
        lines.append(
            f"| {campaign.name} | {campaign.reads} | {tally.cases} | {tally.taken} | {tally.refused} | "
            f"{tally.slowest_s:.2f} s | {max(0, tally.most_bytes) >> 20} MB | {len(tally.faults)} |"
        )
    lines += ["", "Special cases:", ""]
    lines += [f"- {campaign.name}: {', '.join(campaign.special)}" for campaign, _ in results]
    found = [f"- {c.name}, {fault}" for c, tally in results for fault in tally.faults[:10]]
    return "\n".join([*lines, "", *(["Faults:", "", *found, ""] if found else [])])


@click.command()
@click.option("--cases", default=500, show_default=True, help="Changed inputs for each campaign.")
@click.option("--seed", default=1, show_default=True)
@click.option("--only", default="", help="One campaign, such as bundle.")
@click.option("--page", "as_page", is_flag=True, help="Print the page.")
def fuzz(cases: int, seed: int, only: str, as_page: bool) -> None:
    """Give hostile files and arguments to everything that reads one.

    \b
    Examples:
      python -m fieldlog.lab fuzz --cases 100
      python -m fieldlog.lab fuzz --only bundle --cases 2000
    """
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    results = []
    with tempfile.TemporaryDirectory(prefix="fieldlog-") as made:
        for campaign in campaigns(Path(made)):
            if only not in {"", campaign.name}:
                continue
            tally = run(campaign, cases, seed)
            results.append((campaign, tally))
            if not as_page:
                click.echo(
                    f"{campaign.name:<10} {tally.cases} cases: {tally.taken} taken, {tally.refused} clean errors, "
                    f"{tally.slowest_s:.2f} s, {tally.most_bytes >> 20} MB, {len(tally.faults)} faults"
                )
                for fault, count in Counter(tally.faults).most_common(12):
                    click.echo(f"  {count} x {fault}")
    if as_page:
        click.echo(page(results, cases, seed), nl=False)
    if any(tally.faults for _, tally in results):
        raise SystemExit(1)
