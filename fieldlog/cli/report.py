"""``fieldlog report``: one inspection as HTML, PDF, JSON and CSV."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fieldlog.cli.language_option import language_option
from fieldlog.cli.store_option import store_option, workshop
from fieldlog.errors import PartialError

if TYPE_CHECKING:
    from fieldlog.report.copies import Progress


@click.command()
@click.argument("key", metavar="[INSPECTION]", default="last")
@click.option("--html", "formats", flag_value="html", multiple=True, help="One HTML file.")
@click.option("--pdf", "formats", flag_value="pdf", multiple=True, help="One PDF file.")
@click.option("--json", "formats", flag_value="json", multiple=True, help="The whole record.")
@click.option("--csv", "formats", flag_value="csv", multiple=True, help="One line per finding.")
@click.option(
    "--form",
    "forms",
    multiple=True,
    metavar="NAME",
    help="A form that was added (fieldlog added list).",
)
@click.option("--paper", type=click.Choice(["a4", "letter"]), help="[default: as used there]")
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path(),
    help="Folder for the files.  [default: this one]",
)
@store_option
@language_option
def report(
    key: str,
    formats: tuple[str, ...],
    forms: tuple[str, ...],
    paper: str | None,
    out: Path,
    folder: Path | None,
) -> None:
    """Write the report of an INSPECTION (number, id or `last`); HTML and PDF when none is named.

    It is told in the language of the inspection; JSON and CSV keep the canonical names.
    The HTML file holds everything it needs, pictures and speech included. Where photos were taken
    is in none of the files.

    \b
    Example:
      fieldlog report last --html --pdf --out reports/
    """
    named = (*formats, *forms) or ("html", "pdf")
    with workshop(folder, reading=True) as shop, _progress() as progress:
        written = shop.report(key, out, named, paper=paper, progress=progress)
    for path in written.files:
        click.echo(str(path))
    if written.problems:
        raise PartialError(
            "; ".join(f"{name}: {why}" for name, why in written.problems.items()),
            where=f"{len(written.problems)} originals could not be shown",
            todo="see `fieldlog inspection verify`",
        )


@contextmanager
def _progress() -> Iterator[Progress]:
    """A bar on the terminal while copies are made; nothing where the output is not one."""
    from rich.progress import TaskID

    from fieldlog.cli.terminal import Terminal

    with Terminal.here().progress() as bar:
        tasks: dict[str, TaskID] = {}

        def show(what: str, done: int, total: int) -> None:
            if what not in tasks:
                tasks[what] = bar.add_task(what, total=total)
            bar.update(tasks[what], completed=done)

        yield show
