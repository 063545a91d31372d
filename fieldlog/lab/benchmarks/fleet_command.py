"""``python -m fieldlog.lab fleet``."""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import click

from fieldlog.errors import FieldlogError, StoreError


@click.command()
@click.option("--bays", type=int, default=20, show_default=True, help="Processes that write.")
@click.option("--reviewers", type=int, default=10, show_default=True, help="That read and decide.")
@click.option("--seconds", type=float, default=60.0, show_default=True)
@click.option("--every", "every_s", type=float, default=1.0, show_default=True, help="Seconds between two saves of a bay.")  # fmt: skip
@click.option("--server", metavar="URL", help="An empty database.  [default: a server of its own]")
@click.option("--stop", is_flag=True, help="The server loses its power at half time, for a second.")
@click.option("--only", type=click.Choice(["postgresql", "sqlite"]), help="One of them alone.")
def fleet(
    bays: int,
    reviewers: int,
    seconds: float,
    every_s: float,
    server: str | None,
    stop: bool,
    only: str | None,
) -> None:
    """Let bays write one record while reviewers read it and decide, on a server and in a file.

    Needs a checkout: the server is the one that the tests start. The exit code says whether anything was lost.

    \b
    Examples:
      python -m fieldlog.lab fleet
      python -m fieldlog.lab fleet --bays 5 --reviewers 3 --seconds 10 --stop --only postgresql
    """
    from fieldlog.lab.benchmarks.fleet import Load, at_share, run

    load = Load(bays, reviewers, seconds, every_s)
    bad = 0
    for name in [only] if only else ["postgresql", "sqlite"]:
        with (
            tempfile.TemporaryDirectory(prefix="fieldlog-") as made,
            _record(Path(made), name, server) as (folder, cut),
        ):
            found = run(folder, load, cut if stop else lambda: None)
        click.echo(
            f"{name}: {found.announced} announced, {found.lost} lost, {found.doubled} doubled, "
            f"{found.retries} tried again, {found.changed} decisions refused as overtaken, "
            f"{len(found.faults)} faults"
        )
        for what, times in found.times_ms.items():
            click.echo(
                f"  {what:<34} n={len(times):<6} median {at_share(times, 0.5):7.1f} ms   "
                f"p95 {at_share(times, 0.95):7.1f} ms   worst {times[-1]:7.1f} ms"
            )
        for fault in found.faults[:5]:
            click.echo(f"  {fault}")
        bad += found.lost + found.doubled + len(found.faults)
    if bad:
        raise FieldlogError("something was lost, doubled or damaged")


@contextlib.contextmanager
def _record(made: Path, name: str, url: str | None) -> Iterator[tuple[Path, Callable[[], None]]]:
    """A folder with an empty record, and what cuts its power for a moment."""
    folder = made / "record"
    folder.mkdir()
    if name == "sqlite":
        yield folder, lambda: None
        return
    from fieldlog.config import ADDRESS

    if url is not None:
        (folder / ADDRESS).write_text(f"{url}\n")
        yield folder, lambda: None
        return
    import time

    from tests import postgres_server

    if reason := postgres_server.why_not():
        raise StoreError(reason, todo="name an empty database with --server")
    with postgres_server.running(postgres_server.AS_IN_USE) as one:
        (folder / ADDRESS).write_text(f"{one.empty()}\n")

        def cut() -> None:
            one.stop()
            time.sleep(1.0)
            one.start()

        yield folder, cut
