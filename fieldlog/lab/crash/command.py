"""``python -m fieldlog.lab crash``: sessions killed and disks filled, and what the next start finds."""

from __future__ import annotations

import random
import tempfile
import time
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from fieldlog.lab.crash.evidence import Rows
    from fieldlog.lab.crash.rounds import Fell

SECONDS = 24.0


@click.command("crash")
@click.option("--kills", type=int, default=50, show_default=True, help="Sessions killed, in all.")
@click.option(
    "--disks", type=int, default=20, show_default=True, help="Disks that fill, in all (as root)."
)
@click.option("--seed", type=int, default=1, show_default=True)
@click.option(
    "--minutes", type=float, default=None, help="Begin no further session behind so many."
)
@click.option(
    "--rows",
    type=click.Path(path_type=Path, dir_okay=False),
    help="A row for each session, kept here: the next run goes on from them.",
)
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="Write the page here.")
def crash(
    kills: int, disks: int, seed: int, minutes: float | None, rows: Path | None, out: Path | None
) -> None:
    """Kill `fieldlog listen` at random instants, and fill its disk: is anything lost, doubled or wrong?

    Each session hears the first seconds of one of the demo's recordings; every second one at the pace of
    speech, the others as fast as they are heard. A kill counts only between the first sound and the
    last commit. After each the next start takes what was left, and the record is held against
    that of a session which nobody cut off. A disk is a small file system in memory, which needs root.

    With --rows it may be done in pieces: what stands there is not done again, whatever became of it, and the
    page sums up all of it and names the code that each was of.

    \b
    Examples:
      python -m fieldlog.lab crash --kills 4 --disks 0
      python -m fieldlog.lab crash --rows docs/hearing/crash.jsonl --minutes 8 --out docs/hearing/crash.md
    """
    from fieldlog.lab.crash.evidence import Rows

    kept = Rows(rows)
    if kept.missing("kill", kills) or kept.missing("disk", disks):
        _go_on(
            kept, kills, disks, seed, None if minutes is None else time.monotonic() + 60 * minutes
        )
    command = f"python -m fieldlog.lab crash --kills {kills} --disks {disks} --seed {seed}"
    page = report(kept.of("kill"), kept.of("disk"), kept.late, command, kept.codes)
    if out is not None:
        out.write_text(page, encoding="utf-8")
        click.echo(f"{out}: written", err=True)
    else:
        click.echo(page, nl=False)


def _go_on(kept: Rows, kills: int, disks: int, seed: int, until: float | None) -> None:
    """Kill and fill until there are so many of each, or it is late."""
    from fieldlog import config
    from fieldlog.cli.ears import open_ears
    from fieldlog.cli.terminal import Terminal
    from fieldlog.lab.crash import rounds
    from fieldlog.language.files import load_language

    language = load_language()
    recordings = sorted(config.demo_media().glob("*.flac"))
    with (
        tempfile.TemporaryDirectory(prefix="fieldlog-crash-") as scratch,
        open_ears(language, "whisper", None) as ears,
        Terminal.here().progress() as bar,
    ):
        sounds = [
            rounds.excerpt(path, SECONDS, Path(scratch) / f"{path.stem}.wav") for path in recordings
        ]
        wholes: dict[tuple[Path, bool], rounds.Whole] = {}

        def whole(sound: Path, *, paced: bool) -> rounds.Whole:
            """The session that nobody cuts off, once for each."""
            if (sound, paced) not in wholes:
                folder = Path(scratch) / f"{sound.stem}-{paced}"
                wholes[sound, paced] = rounds.whole(folder, sound, language, paced=paced)
            return wholes[sound, paced]

        def is_late() -> bool:
            return until is not None and time.monotonic() > until

        task = bar.add_task("killed", total=kills + disks, completed=kept.count)
        while kept.missing("kill", kills) and not is_late():
            number = len(kept.of("kill")) + 1
            chance = random.Random(f"{seed} kill {number} {kept.late}")
            sound, paced = chance.choice(sounds), number % 2 == 1
            of = whole(sound, paced=paced)
            fell = rounds.killed(number, sound, of, ears, chance, paced=paced)
            if fell is None:
                kept.add_late()
                continue
            kept.add("kill", fell)
            click.echo(_row(fell, "spoken" if paced else "fast"), err=True)
            bar.advance(task)
        bar.update(task, description="full disks")
        tries = 0
        while kept.missing("disk", disks) and not is_late():
            number = len(kept.of("disk")) + 1
            chance = random.Random(f"{seed} disk {number} {tries}")
            sound, paced = chance.choice(sounds), number % 2 == 1
            tries += 1
            of = whole(sound, paced=paced)
            fell = rounds.filled(number, sound, of, ears, chance, paced=paced)
            if fell is None:
                continue
            kept.add("disk", fell)
            click.echo(_row(fell, "spoken" if paced else "fast"), err=True)
            bar.advance(task)


def report(
    fallen: Sequence[Fell],
    full: Sequence[Fell],
    late: int,
    command: str,
    codes: Mapping[str, int] = MappingProxyType({}),
) -> str:
    """The page (pure); ``codes``: sessions by the code that they ran."""
    stages = Counter(each.stage for each in fallen)
    where = ", ".join(f"{stage} {count}" for stage, count in stages.most_common())
    of = ", ".join(f"{code} {count}" for code, count in codes.items())
    lines = [
        "# Sessions that were cut off",
        "",
        f"Printed by `{command}`. `fieldlog listen` itself is killed with signal 9 while it hears the first",
        f"{SECONDS:.0f} s of one of the demo's recordings, or its disk (a file system in memory) fills; then the next",
        "start takes what was left, and the record is held against that of a session nobody cut off.",
        "Sessions with odd numbers are spoken in real time, the others as fast as they are heard. A full disk is",
        "followed by more room, a next start, and the command that the session ended with.",
        "",
        "| | sessions | announced as saved | taken at the next start | of these asked about or not understood | lost | doubled | wrong |",
        "|---|---|---|---|---|---|---|---|",
        _sum("killed", fallen),
        _sum("full disk", full),
        "",
        f"Killed while: {where or 'none'}. {late} more were over before they were killed, and count for nothing.",
        *([f"Sessions of each commit: {of}."] if of else []),
        "",
        "| killed | pace | sound on disk | while | announced | taken after | asked | lost, doubled, wrong |",
        "|---|---|---|---|---|---|---|---|",
        *(_row(each, "spoken" if each.paced else "fast") for each in fallen),
        "",
        "| full disk | pace | sound on disk | ended | announced | taken after | asked | lost, doubled, wrong |",
        "|---|---|---|---|---|---|---|---|",
        *(_row(each, "spoken" if each.paced else "fast") for each in full),
        "",
    ]
    return "\n".join(lines)


def _sum(name: str, rounds: Sequence[Fell]) -> str:
    numbers = (
        len(rounds), sum(each.announced for each in rounds), sum(each.recovered for each in rounds),
        sum(each.asked for each in rounds), sum(len(each.lost) for each in rounds),
        sum(len(each.doubled) for each in rounds), sum(len(each.wrong) for each in rounds),
    )  # fmt: skip
    return f"| {name} | {' | '.join(map(str, numbers))} |"


def _row(each: Fell, pace: str) -> str:
    faults = "; ".join((*each.lost, *each.doubled, *each.wrong)) or "none"
    return (
        f"| {each.number} | {pace} | {each.at_s:.1f} s | {each.stage} | {each.announced} | "
        f"{each.recovered} | {each.asked} | {faults} |"
    )
