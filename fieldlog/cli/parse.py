"""``fieldlog parse``: what typed or spoken words mean, and how it stands against the limits."""

from __future__ import annotations

import json
from datetime import date

import click
from rich.console import Console
from rich.text import Text

from fieldlog.assess import Assessment, assess
from fieldlog.catalogue.component import Catalogue
from fieldlog.cli.json_view import understanding_view
from fieldlog.inspection_language import InspectionLanguage
from fieldlog.language import tell
from fieldlog.limits.context import parse_context
from fieldlog.limits.packs import shipped_limits
from fieldlog.model import Context, Decision, Finding, Judgement, State, Understanding

_COLOURS = {
    State.WITHIN: "green",
    State.MARGINAL: "yellow",
    State.BEYOND: "bold red",
    State.UNDECIDED: "cyan",
}
_SIGNS = {State.WITHIN: "+", State.MARGINAL: "~", State.BEYOND: "!", State.UNDECIDED: "?"}


@click.command()
@click.argument("words", nargs=-1, required=True)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.option("--jurisdiction", metavar="CC", help="ISO 3166 code: US, US-VA, US-MD, GB, DE, FR.")
@click.option(
    "--set", "settings", metavar="KEY=VALUE", multiple=True, help="Context, e.g. rim=alloy."
)
def parse(
    words: tuple[str, ...], as_json: bool, jurisdiction: str | None, settings: tuple[str, ...]
) -> None:
    """Say what WORDS mean: the finding with its verdict, or what has to be asked.

    \b
    Examples:
      fieldlog parse "rear tread four thirty-seconds"
      fieldlog parse "front pads two millimetres" --jurisdiction US-VA --json
      fieldlog parse "front rim run out 1.2 mm" --set rim=steel
    """
    context = parse_context(jurisdiction, settings)
    language = InspectionLanguage.load()
    understood = language.understand(" ".join(words))
    assessment = _assessed(understood, context, language.catalogue)
    if as_json:
        click.echo(json.dumps(understanding_view(understood, assessment)))
    else:
        _print(understood, assessment)


def _assessed(
    understood: Understanding, context: Context, catalogue: Catalogue
) -> Assessment | None:
    """The verdict of a finding that was accepted; what has to be asked first is not judged."""
    if understood.decision is not Decision.ACCEPT or understood.finding is None:
        return None
    day = context.settings.get("date")
    today = date.fromisoformat(day) if day else date.today()
    return assess(understood.finding, shipped_limits(), context, catalogue, today)


def _print(understood: Understanding, assessment: Assessment | None) -> None:
    console = Console(highlight=False, soft_wrap=True)
    if understood.decision is Decision.REFUSE:
        console.print(f"not understood: {understood.reason}")
        return
    if understood.decision is Decision.ASK:
        console.print(f"asked: {understood.question}  ({understood.reason})")
        for candidate in understood.candidates:
            console.print(f"  - {tell.finding(candidate)}")
    elif understood.finding is None:
        told = " ".join(value for value in understood.slots.values() if value)
        console.print(f"{understood.dialogue or understood.kind.value}: {told}".rstrip(": "))
    elif assessment is not None:
        _print_finding(console, understood.finding, assessment)
    if understood.flags:
        console.print(f"  look at: {', '.join(understood.flags)}")


def _print_finding(console: Console, finding: Finding, assessment: Assessment) -> None:
    verdict = assessment.verdict
    line = Text(tell.finding(finding) + "  ")
    line.append(f"[{_SIGNS[verdict.state]}] {verdict.state.value}", _COLOURS[verdict.state])
    if verdict.severity is not None:
        line.append(f" ({verdict.severity.value})")
    console.print(line)
    if verdict.reason:
        console.print(Text(f"  {verdict.reason}"))
    if verdict.gate is not None:
        console.print(Text(f"  limit: {_limit(verdict.gate)}"))
    for other in verdict.others:
        console.print(Text(f"  also:  {other.state.value}: {_limit(other)}"))
    for caution in verdict.cautions:
        console.print(Text(f"  caution: {caution}"))


def _limit(judgement: Judgement) -> str:
    limit = judgement.limit
    value = "" if limit.value is None else f" {tell.number(limit.value)} {limit.unit}".rstrip(" 1")
    margin = ""
    if judgement.margin is not None:
        margin = f", margin {float(judgement.margin):+.3g} {limit.unit}".rstrip(" 1")
    return f"{limit.relation}{value}{margin}; {limit.source} ({limit.status.value})"
