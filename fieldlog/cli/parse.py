"""``fieldlog parse``: what typed or spoken words mean, and how it stands against the limits."""

from __future__ import annotations

import json
from pathlib import Path

import click
from rich.console import Console
from rich.text import Text

from fieldlog.assess import Assessment
from fieldlog.cli.json_view import understanding_view
from fieldlog.cli.limits import own_packs
from fieldlog.cli.verdict_lines import assessor, limit_text, outcome_text
from fieldlog.inspection_language import InspectionLanguage
from fieldlog.language import tell
from fieldlog.limits.packs import shipped_limits, with_own
from fieldlog.model import Understanding


@click.command()
@click.argument("words", nargs=-1, required=True)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.option("--jurisdiction", metavar="CC", help="ISO 3166 code: US, US-VA, US-MD, GB, DE, FR.")
@click.option(
    "--set", "settings", metavar="KEY=VALUE", multiple=True, help="Context, e.g. rim=alloy."
)
@click.option(
    "--limits",
    "own",
    multiple=True,
    type=click.Path(exists=True, path_type=Path),
    help="A limit pack of your own (file or folder); an id of ours in it replaces ours.",
)
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
    language = InspectionLanguage.load()
    limits = with_own(shipped_limits(), own_packs(own)) if own else None
    assess = assessor(language, jurisdiction, settings, limits)
    understood = language.understand(" ".join(words))
    assessment = assess(understood)
    if as_json:
        click.echo(json.dumps(understanding_view(understood, assessment)))
    else:
        _print(understood, assessment)


def _print(understood: Understanding, assessment: Assessment | None) -> None:
    console = Console(highlight=False, soft_wrap=True)
    console.print(outcome_text(understood, assessment))
    for candidate in understood.candidates:
        console.print(f"  - {tell.finding(candidate)}")
    if assessment is not None:
        verdict = assessment.verdict
        if verdict.reason and verdict.gate is not None:  # else it is in the line above
            console.print(Text(f"  {verdict.reason}"))
        for derived, _ in assessment.derived:
            console.print(Text(f"  {derived.finding.characteristic}: {derived.arithmetic}"))
        for other in verdict.others:
            told = other.reason if other.reason.startswith("not judged") else ""
            console.print(Text(f"  also {told or other.state.value}: {limit_text(other)}"))
        for caution in verdict.cautions:
            console.print(Text(f"  caution: {caution}"))
    if understood.flags:
        console.print(f"  look at: {', '.join(understood.flags)}")
