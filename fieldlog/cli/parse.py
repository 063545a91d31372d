"""``fieldlog parse``: what typed or spoken words mean, and how it stands against the limits."""

from __future__ import annotations

import json
from pathlib import Path

import click
from rich.console import Console

from fieldlog.cli.json_view import understanding_view
from fieldlog.cli.limit_option import limits_with, own_limits_option
from fieldlog.cli.verdict_lines import assessor, understood_lines
from fieldlog.language.files import load_language


@click.command()
@click.argument("words", nargs=-1, required=True)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.option("--jurisdiction", metavar="CC", help="ISO 3166 code: US, US-VA, US-MD, GB, DE, FR.")
@click.option(
    "--set", "settings", metavar="KEY=VALUE", multiple=True, help="Context, e.g. rim=alloy."
)
@own_limits_option
def parse(
    words: tuple[str, ...],
    as_json: bool,
    jurisdiction: str | None,
    settings: tuple[str, ...],
    own: tuple[Path, ...],
) -> None:
    """Say what WORDS mean: the finding with its verdict, or what has to be asked.

    \b
    Examples:
      fieldlog parse "rear tread four thirty-seconds"
      fieldlog parse "front pads two millimetres" --jurisdiction US-VA --json
      fieldlog parse "front rim run out 1.2 mm" --set rim=steel
    """
    language = load_language()
    assess = assessor(language, jurisdiction, settings, limits_with(own))
    understood = language.understand(" ".join(words))
    assessment = assess(understood)
    if as_json:
        click.echo(json.dumps(understanding_view(understood, assessment)))
    else:
        console = Console(highlight=False, soft_wrap=True)
        for line in understood_lines(understood, assessment):
            console.print(line)
