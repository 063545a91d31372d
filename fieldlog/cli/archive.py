"""``fieldlog archive``: one kind of work over a whole folder of bundles, on one machine or many."""

from __future__ import annotations

import importlib.util
import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from fieldlog.cli.limit_option import own_limits_option
from fieldlog.cli.store_option import RecordFolder, is_record, workshop
from fieldlog.words.english import counted

if TYPE_CHECKING:
    from fieldlog.archive.job import Chore

_C = TypeVar("_C", bound=Callable[..., Any])
_MOST_NAMED = 20


def _over(command: _C) -> _C:
    """What every kind of work over an archive asks for."""
    for decorate in (
        click.option("--scheduler", metavar="ADDRESS", help="A Dask cluster, tcp://HOST:PORT."),
        click.option(
            "--workers",
            type=click.IntRange(1, 512),
            help="Processes of this machine; 1 needs no Dask.  [default: one for each core]",
        ),
        click.option(
            "--longest",
            "longest_s",
            type=click.FloatRange(1),
            default=600.0,
            show_default=True,
            help="Seconds that one bundle may take.",
        ),
        click.option(
            "--out",
            type=click.Path(path_type=Path, file_okay=False),
            required=True,
            help="Folder for results and their index.",
        ),
        click.argument(
            "folder",
            metavar="FOLDER|RECORD",
            type=RecordFolder(path_type=Path, file_okay=False),
        ),
    ):
        command = decorate(command)
    return command


@click.group()
def archive() -> None:
    """Go through a whole folder of bundles: one result for each, or why there is none.

    A result is named by the hash of the bundle, the work and the program: what is there is not done again, so
    a run that was ended goes on. The index (*.jsonl) names every bundle. The bundles are not changed.
    A record, or the address of a server's, in the place of FOLDER: bundles of all its inspections are made in
    DIR/bundles-of-record first, and kept there as long as no row is added.

    \b
    Examples:
      fieldlog archive recheck bundles/ --out checked/ --limits new-rules.toml
      fieldlog archive rehear bundles/ --out heard/ --workers 8
      fieldlog archive report bundles/ --out reports/ --scheduler tcp://10.0.0.5:8786
    """


@archive.command()
@_over
@own_limits_option
def recheck(own: tuple[Path, ...], **over: Any) -> None:
    """Hold every finding that stands against the limits as they are now.

    \b
    Example:
      fieldlog archive recheck bundles/ --out checked/ --limits new-rules.toml
    """
    from fieldlog.archive.job import Chore
    from fieldlog.archive.work import PACK
    from fieldlog.cli.limits import own_packs
    from fieldlog.limits.packs import pack_files

    if own:
        own_packs(own)  # faults are told before anything is begun
    settings: dict[str, str] = {}
    for path in own:
        for file in pack_files(path) if path.is_dir() else [path]:
            name = f"{PACK}{len(settings):03d} {file.name}"
            settings[name] = file.read_text(encoding="utf-8")
    _gone_through(Chore.RECHECK, settings, **over)


@archive.command()
@_over
@click.option(
    "--listener",
    type=click.Choice(("whisper", "pocketsphinx")),
    default="whisper",
    show_default=True,
    help="What hears; its model comes with fieldlog.",
)
def rehear(listener: str, **over: Any) -> None:
    """Hear every clip once more, with the grammar and the levels of doubt as they are now.

    \b
    Example:
      fieldlog archive rehear bundles/ --out heard/
    """
    from fieldlog.archive.job import Chore
    from fieldlog.config import policy_name

    _gone_through(Chore.REHEAR, {"listener": listener, "policy": policy_name()}, **over)


@archive.command()
@_over
def realign(**over: Any) -> None:
    """Find every camera's clock and every photo's finding once more.

    \b
    Example:
      fieldlog archive realign bundles/ --out aligned/
    """
    from fieldlog.archive.job import Chore

    _gone_through(Chore.REALIGN, {}, **over)


@archive.command()
@_over
@click.option("--html", "formats", flag_value="html", multiple=True, help="One HTML file each.")
@click.option("--pdf", "formats", flag_value="pdf", multiple=True, help="One PDF file each.")
@click.option("--json", "formats", flag_value="json", multiple=True, help="The whole record.")
@click.option("--csv", "formats", flag_value="csv", multiple=True, help="One line per finding.")
def report(formats: tuple[str, ...], **over: Any) -> None:
    """Write the reports of every bundle, as one ZIP file each; JSON when no form is named.

    \b
    Example:
      fieldlog archive report bundles/ --out reports/ --html --csv
    """
    from fieldlog.archive.job import Chore

    chosen = " ".join(dict.fromkeys(formats or ("json",)))
    _gone_through(Chore.REPORT, {"formats": chosen}, **over)


def _gone_through(
    kind: Chore,
    settings: dict[str, str],
    folder: Path,
    out: Path,
    longest_s: float,
    workers: int | None,
    scheduler: str | None,
) -> None:
    from fieldlog.archive.job import ArchiveJob
    from fieldlog.archive.run import alone, go_through
    from fieldlog.archive.spread import over_cluster, over_processes
    from fieldlog.archive.work import program
    from fieldlog.cli.terminal import Terminal
    from fieldlog.errors import PartialError, UsageError

    if scheduler and workers:
        raise UsageError("--workers are this machine's: a scheduler has its own")
    refused: tuple[str, ...] = ()
    if is_record(folder):
        folder, refused = _bundles_of(folder, out)
    without = workers is None and importlib.util.find_spec("distributed") is None
    count = 1 if without else workers or os.cpu_count() or 1
    if without:
        click.echo("one process: several need pip install 'fieldlog[archive]'", err=True)
    spread = (
        over_cluster(scheduler) if scheduler else alone if count == 1 else over_processes(count)
    )
    job = ArchiveJob(kind, program(), tuple(sorted(settings.items())))
    with Terminal.here().progress() as bar:
        task = bar.add_task(str(kind), total=None)

        def show(done: int, total: int, faults: int) -> None:
            told = f"{kind}, {faults} left out" if faults else str(kind)
            bar.update(task, description=told, completed=done, total=total)

        gone = go_through(job, folder, out, spread=spread, longest_s=longest_s, progress=show)
    kept = f", {gone.kept} of them were there already" if gone.kept else ""
    click.echo(f"{counted(gone.done, 'result')}{kept}: {gone.index}")
    if gone.faults or refused:
        named = [
            each.fault if each.bundle in each.fault else f"{each.bundle}: {each.fault}"
            for each in gone.faults[:_MOST_NAMED]
        ]
        more = len(gone.faults) - len(named)
        named += [f"and {more} more, each in the index"] if more else []
        named += [f"could not be bundled: {each}" for each in refused]
        have = counted(len(gone.faults) + len(refused), "bundle has", "bundles have")
        raise PartialError(
            f"{have} no result\n  " + "\n  ".join(named),
            todo="see to what is named, and give the command again: what is done is kept",
        )


def _bundles_of(record: Path, out: Path) -> tuple[Path, tuple[str, ...]]:
    """The folder of the bundles of a record, and what could not be bundled."""
    from fieldlog.errors import UsageError
    from fieldlog.shop.handing_over import bundles_into

    if any(record.rglob("*.zip")):
        raise UsageError(
            "is a record, and bundles lie in it",
            where=str(record),
            todo="name the folder of the bundles, or put them elsewhere",
        )
    target = out / "bundles-of-record"
    with workshop(record) as shop:
        refused = bundles_into(shop, target, lambda name: click.echo(name, err=True))
    return target, refused
