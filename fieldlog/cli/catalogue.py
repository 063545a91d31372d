"""``fieldlog catalogue``: what can be inspected, how it is checked, how it is said."""

from __future__ import annotations

from pathlib import Path

import click

from fieldlog.catalogue.component import Catalogue
from fieldlog.catalogue.files import load_catalogue
from fieldlog.catalogue.page import component_lines, components_page
from fieldlog.cli.terminal import page_out
from fieldlog.config import grammars
from fieldlog.errors import UsageError


@click.group()
def catalogue() -> None:
    """Components: their names, places, measures, conditions and how to check them.

    \b
    Examples:
      fieldlog catalogue list --system brakes
      fieldlog catalogue show "brake pads"
    """


@catalogue.command(name="list")
@click.option("--system", help="Only this system, e.g. brakes.")
def list_(system: str | None) -> None:
    """List the components, system by system.

    \b
    Example:
      fieldlog catalogue list --system "final drive"
    """
    shipped = load_catalogue(grammars())
    systems = shipped.systems if system is None else (_system(shipped, system),)
    for each in systems:
        names = ", ".join(component.name for component in shipped.of_system(each))
        click.echo(f"{each}: {names}")


@catalogue.command()
@click.argument("component", nargs=-1, required=True)
def show(component: tuple[str, ...]) -> None:
    """Show one COMPONENT: how it is said, checked and judged, and what follows.

    \b
    Example:
      fieldlog catalogue show brake pads
    """
    shipped = load_catalogue(grammars())
    name = " ".join(component).lower()
    found = shipped.get(name)
    if found is None:
        raise UsageError(
            f"there is no component '{name}'",
            where="catalogue show",
            todo="see fieldlog catalogue list",
        )
    click.echo("\n".join(component_lines(found)))


@catalogue.command()
@click.option("--out", type=click.Path(path_type=Path), help="Write here instead of printing.")
def docs(out: Path | None) -> None:
    """Write the page that lists every component.

    \b
    Example:
      fieldlog catalogue docs --out docs/components.md
    """
    text = components_page(load_catalogue(grammars()))
    page_out(text, out)


def _system(shipped: Catalogue, name: str) -> str:
    if name not in shipped.systems:
        raise UsageError(
            f"there is no system '{name}'",
            where="catalogue list",
            todo="use one of " + ", ".join(shipped.systems),
        )
    return name
