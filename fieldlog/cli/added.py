"""``fieldlog added list``: what other packages add, and whether each keeps what is asked of it."""

from __future__ import annotations

import json

import click

from fieldlog.words.english import counted


@click.group()
def added() -> None:
    """Recognisers, limit packs and forms of the report that other installed packages add.

    docs/adding.md has a worked example of each.

    \b
    Examples:
      fieldlog added list
      fieldlog added check limits coastal
    """


@added.command("list")
@click.option("--json", "as_json", is_flag=True, help="One JSON object per part.")
def list_(as_json: bool) -> None:
    """List them by kind and name; none is imported for it.

    \b
    Example:
      fieldlog added list
    """
    from fieldlog.added.entries import added as found

    parts = found()
    for each in parts:
        kind = each.adds.name.lower()
        if as_json:
            row = {
                "adds": kind,
                "name": each.name,
                "package": each.package,
                "version": each.version,
            }
            click.echo(json.dumps(row))
        else:
            click.echo(f"{kind:<9} {each.name}  ({each.package} {each.version})")
    if not parts and not as_json:
        click.echo("no installed package adds anything")


@added.command()
@click.argument("kind", type=click.Choice(["listener", "limits", "report"]))
@click.argument("name")
def check(kind: str, name: str) -> None:
    """Check the part of KIND called NAME against what every such part owes; each rule is printed.

    A listener is run in a process of its own, on odd sound and on sound with nothing in it. Packs are read and held
    against the catalogue. A form prints a made-up inspection, which must be in it whole.

    \b
    Examples:
      fieldlog added check limits coastal
      fieldlog added check report card
    """
    from fieldlog.added.entries import Adds
    from fieldlog.errors import PartialError
    from fieldlog.shop.owed import checked

    failed = 0
    for rule, fault in checked(Adds[kind.upper()], name):
        click.echo(
            f"{'kept' if fault is None else 'NOT KEPT':<9} {rule}{f': {fault}' if fault else ''}"
        )
        failed += fault is not None
    if failed:
        raise PartialError(
            f"{counted(failed, 'rule is', 'rules are')} not kept",
            where=name,
            todo="tell who made it",
        )
