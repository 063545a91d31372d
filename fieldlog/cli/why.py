"""``fieldlog why``: source and arithmetic of a verdict, and what was considered."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from fieldlog.catalogue.component import Catalogue
    from fieldlog.limits.assess import Assessment
    from fieldlog.model.context import Context
    from fieldlog.model.finding import Finding
    from fieldlog.model.limit import Limit
    from fieldlog.model.verdict import Verdict


@click.command()
@click.argument("words", nargs=-1, required=True)
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
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def why(
    words: tuple[str, ...],
    jurisdiction: str | None,
    settings: tuple[str, ...],
    own: tuple[Path, ...],
    as_json: bool,
) -> None:
    """Show why WORDS get their verdict: reading, conversion, limit, margin, guard band, source.

    \b
    Examples:
      fieldlog why "rear tread four thirty-seconds" --jurisdiction US-VA
      fieldlog why "front rim run out 3 mm" --jurisdiction GB --set rim=alloy --set uncertainty=0
    """
    from fieldlog.cli.limits import own_packs
    from fieldlog.errors import UsageError
    from fieldlog.language.files import load_language
    from fieldlog.limits.assess import assess
    from fieldlog.limits.context import parse_context
    from fieldlog.limits.packs import shipped_limits, with_own
    from fieldlog.model.understanding import Decision

    context = parse_context(jurisdiction, settings)
    limits = with_own(shipped_limits(), own_packs(own) if own else ())
    language = load_language()
    understood = language.understand(" ".join(words))
    if understood.decision is not Decision.ACCEPT or understood.finding is None:
        told = (understood.question_text or understood.reason).rstrip("?. ")
        raise UsageError(
            f"these words are not one finding: {told}",
            where=" ".join(words),
            todo="say component, position and value, e.g. 'rear tread four thirty-seconds'",
        )
    day = context.settings.get("date")
    today = date.fromisoformat(day) if day else date.today()
    assessment = assess(understood.finding, limits, context, language.catalogue, today)
    if as_json:
        view = _view(understood.finding, assessment, context, limits, language.catalogue)
        click.echo(json.dumps(view))
        return
    for line in _lines(understood.finding, assessment, context, limits, language.catalogue):
        click.echo(line)


def _lines(
    finding: Finding,
    assessment: Assessment,
    context: Context,
    limits: tuple[Limit, ...],
    catalogue: Catalogue,
) -> list[str]:
    lines = _explained(finding, assessment.verdict, context, limits, catalogue)
    for derived, verdict in assessment.derived:
        lines += ["", f"derived       {derived.arithmetic}", f"  by          {derived.source}"]
        bare = replace(verdict, cautions=())  # said once, with the verdict itself
        told = _explained(derived.finding, bare, context, limits, catalogue)
        lines += [f"  {line}".rstrip() for line in told]
    lines += [f"not derived   {each.characteristic}: {each.what}" for each in assessment.lacking]
    return lines


def _explained(
    finding: Finding,
    verdict: Verdict,
    context: Context,
    limits: tuple[Limit, ...],
    catalogue: Catalogue,
) -> list[str]:
    from fieldlog.limits.assess import usual_uncertainty
    from fieldlog.limits.why import explain

    return explain(finding, verdict, context, limits, usual_uncertainty(finding, catalogue))


def _view(
    finding: Finding,
    assessment: Assessment,
    context: Context,
    limits: tuple[Limit, ...],
    catalogue: Catalogue,
) -> dict[str, Any]:
    from fieldlog.cli.json_view import finding_view
    from fieldlog.limits.why import considered
    from fieldlog.words.as_json import limit_json, picked

    return {
        "finding": finding_view(finding, assessment),
        **picked(context, "jurisdiction", "settings"),
        "not_applied": [
            {"limit": limit_json(each.limit), "why_not": each.why_not}
            for each in considered(finding, limits, context)
        ],
        "lines": _lines(finding, assessment, context, limits, catalogue),
    }
