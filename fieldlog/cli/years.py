"""``fieldlog years``: what years of a record say, as tables that are asked in SQL."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fieldlog.cli.store_option import store_option, workshop
from fieldlog.words.english import counted

if TYPE_CHECKING:
    from fieldlog.years.ask import YearsAnswer


@click.group()
def years() -> None:
    """Ask over years: what fails, how fast things wear, how well words are heard.

    The tables are Parquet files, which other programs read too; needs pip install 'fieldlog[years]'.

    \b
    Examples:
      fieldlog years write --out years
      fieldlog years ask beyond --of years
    """


@years.command("write")
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    required=True,
    help="Folder for the tables; those in it are replaced.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@store_option
def write_(out: Path, as_json: bool, folder: Path | None) -> None:
    """Write findings, utterances and wear of the whole record as tables.

    \b
    Example:
      fieldlog years write --out years
    """
    from fieldlog.cli.terminal import Terminal
    from fieldlog.errors import PartialError
    from fieldlog.years.write import write

    with workshop(folder) as shop, Terminal.here().progress() as bar:
        task = bar.add_task("reading inspections", total=None)
        written = write(
            shop,
            out,
            date.today(),
            lambda done, of: bar.update(task, completed=done, total=of),
        )
    if as_json:
        click.echo(json.dumps({"rows": dict(written.rows), "left_out": list(written.left_out)}))
    else:
        told = ", ".join(f"{count} {name}" for name, count in written.rows.items())
        click.echo(f"{out}: {told}")
    for line in written.left_out:
        click.echo(f"fieldlog: {line}", err=True)
    if written.left_out:
        raise PartialError(
            f"the noise of {counted(len(written.left_out), 'clip')} is not known",
            todo="see `fieldlog inspection verify`",
        )


@years.command("ask")
@click.argument("question", metavar="QUESTION")
@click.option(
    "--of",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    required=True,
    help="Folder with the tables.",
)
@click.option(
    "--picture", type=click.Path(path_type=Path, dir_okay=False), help="Write an SVG picture."
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object per row.")
def ask_(question: str, folder: Path, picture: Path | None, as_json: bool) -> None:
    """Ask QUESTION: beyond, wear or asked, or any in SQL over findings, utterances and wear.

    \b
    beyond  what is found beyond its limit or faulty most often, by component and model
    wear    how fast parts wear in 1,000 km, by component and model
    asked   how much is asked about and not understood, by inspector and noise

    \b
    Examples:
      fieldlog years ask wear --of years --picture wear.svg
      fieldlog years ask "SELECT year, count(*) FROM findings GROUP BY year ORDER BY year" --of years
    """
    from fieldlog.errors import UsageError
    from fieldlog.years.ask import QUESTIONS, ask, picture_of

    known = QUESTIONS.get(question)
    if known is None and not any(each.isspace() for each in question):
        raise UsageError(
            f"there is no question {question!r}", todo=f"{', '.join(QUESTIONS)}, or write it in SQL"
        )
    if picture is not None and known is None:
        raise UsageError("a picture is made of beyond, wear and asked only", where="--picture")
    answer = ask(folder, known.sql if known else question)
    if picture is not None and known is not None:
        picture.write_text(picture_of(known, answer), encoding="utf-8")
    if as_json:
        for row in answer.rows:
            click.echo(json.dumps(dict(zip(answer.columns, row, strict=True)), default=str))
        return
    for line in _lines(answer):
        click.echo(line)
    if not answer.rows:
        click.echo("fieldlog: nothing in the tables answers this", err=True)


def _lines(answer: YearsAnswer) -> list[str]:
    """The answer in columns, figures to the right."""
    cells = [answer.columns, *(tuple(_cell(each) for each in row) for row in answer.rows)]
    widths = [max(len(row[at]) for row in cells) for at in range(len(answer.columns))]
    right = [
        all(isinstance(row[at], int | float | None) for row in answer.rows)
        for at in range(len(answer.columns))
    ]
    return [
        "  ".join(
            cell.rjust(width) if to_right else cell.ljust(width)
            for cell, width, to_right in zip(row, widths, right, strict=True)
        ).rstrip()
        for row in cells
    ]


def _cell(value: object) -> str:
    if value is None:
        return ""
    return f"{value:.4g}" if isinstance(value, float) else str(value)
