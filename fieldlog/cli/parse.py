"""``fieldlog parse``: what typed or spoken words mean, and how it stands against the limits."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click
from rich.console import Console
from rich.text import Text

from fieldlog import config
from fieldlog.cli.json_view import breath_view
from fieldlog.cli.language_option import language_option
from fieldlog.cli.limit_option import limits_with, own_limits_option
from fieldlog.cli.verdict_lines import assessor, understood_lines
from fieldlog.language.files import load_language

if TYPE_CHECKING:
    from fieldlog.language.other import OtherLanguage


@click.command()
@click.argument("words", nargs=-1, required=True)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object for each finding.")
@click.option("--jurisdiction", metavar="CC", help="ISO 3166 code: US, US-VA, US-MD, GB, DE, FR.")
@click.option(
    "--set", "settings", metavar="KEY=VALUE", multiple=True, help="Context, e.g. rim=alloy."
)
@own_limits_option
@language_option
def parse(
    words: tuple[str, ...],
    as_json: bool,
    jurisdiction: str | None,
    settings: tuple[str, ...],
    own: tuple[Path, ...],
) -> None:
    """Say what WORDS mean: each finding with its verdict, or what has to be asked.

    Several findings may be said in one breath; all of them count, or none does.

    \b
    Examples:
      fieldlog parse "rear tread four thirty-seconds"
      fieldlog parse "front pads two millimetres" --jurisdiction US-VA --json
      fieldlog parse "front rim run out 1.2 mm" --set rim=steel
      fieldlog parse "Bremsbelag vorne 2,5 mm" --language de
      fieldlog parse "left mirror cracked, right loose and the chain dry"
    """
    other = _other()
    language = other or load_language()
    assess = assessor(language, jurisdiction, settings, limits_with(own))
    breath = language.typed(" ".join(words))
    judged = [(part, assess(part)) for part in breath.parts]
    if as_json:
        for view in breath_view(judged, breath.left_over):
            click.echo(json.dumps(view))
        return
    console = Console(highlight=False, soft_wrap=True)
    if other is not None:
        for part, assessment in judged:
            for told in other.told.understood(part, assessment.verdict if assessment else None):
                console.print(Text(told))
        return
    cautioned: set[str] = set()
    for part, assessment in judged:
        for line in understood_lines(part, assessment, cautioned):
            console.print(line)


def _other() -> OtherLanguage | None:
    """The language that is spoken where it is not ours; what reads one is loaded for no other."""
    if not config.language():
        return None
    from fieldlog.language.other import OtherLanguage
    from fieldlog.language.tongues import language_of

    found = language_of()
    return found if isinstance(found, OtherLanguage) else None
